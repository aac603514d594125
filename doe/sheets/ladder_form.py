"""The form of a ladder's sheets: what stands on them, for the writers and the reader alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doe.sheets.wording import number_text, with_unit
from doe.study.brief import Study
from doe.study.ladder import Ladder

SHEET, README = "Ladder", "Read me"
POT, ORDER, DOSE, REPEAT, FOAM, NOTE = "pot", "order", "dose", "repeat", "foam", "note"
VISCOSITY = "viscosity, mPa·s"
GRAMS = ", g"
# Lines for second readings below the pots.
SPARE_LINES = 6
# Usual for a mill base at one moderate shear rate; common practice.
READING_ADVICE = (
    "Read every pot at the same shear rate, temperature and time after stirring; write them down.",
    "A pot that has gelled is no blank: write gelled, or > 5000 if that is the end of the scale.",
    "Make each pot new: dosing one pot again and again thins it with the additive's own water.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderForm:
    """What the sheets of a ladder are made from.

    Attributes:
        study: The brief.
        ladder: Pots and readings.
        shared: Settings that all pots share, as sentences.
        order_words: How the order of pots was chosen.
    """

    study: Study
    ladder: Ladder
    shared: tuple[str, ...]
    order_words: str

    @property
    def materials(self) -> tuple[str, ...]:
        """The columns of grams, in order of addition."""
        names = dict.fromkeys(name for pot in self.ladder.pots for name in pot.made)
        return tuple(name for name in names if name.endswith(GRAMS))


def shared_words(study: Study, row: Mapping[str, float | str | None]) -> tuple[str, ...]:
    """Say the settings that all pots share, a phrase a setting."""
    units = {one.name: one.unit for one in study.factors}
    return tuple(
        f"{with_unit(name, units.get(name, 'share of the package'))} {_value(value)}"
        for name, value in row.items()
        if value is not None
    )


def material_name(column: str) -> str:
    """Give the material of a column of grams."""
    return column.removesuffix(GRAMS)


def order_sentence(words: str) -> str:
    """Say in which order the pots are made."""
    return f"Order of the pots: {words}." if words else ""


def _value(value: float | str) -> str:
    return number_text(value) if isinstance(value, (int, float)) else value


def joined(parts: Sequence[str]) -> str:
    """Join phrases into one line."""
    return "; ".join(parts)
