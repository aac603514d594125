"""The brief and its region as advice on chemistry looks at them: who is named, what is reached."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from doe.model.region import Piece, Region
from doe.recipe.name_reading import Meaning, names_reading_as, reads_as
from doe.study.brief import Factor, Study
from doe.study.level_ranges import own_ranges
from doe.study.names import fold

Ends = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What an adviser looks at.

    Attributes:
        study: The brief.
        region: What it allows; None to go by the ranges alone.
    """

    study: Study
    region: Region | None = None

    def factors(self, meaning: Meaning) -> tuple[Factor, ...]:
        """Give the factors, held ones too, whose names read so."""
        return tuple(one for one in self.study.factors if reads_as(one.name, meaning))

    def ends(self, factor: Factor, choice: str = "", level: str = "") -> Ends | None:
        """Give the least and greatest setting that is reached, lab units.

        Args:
            factor: Range, numeric levels or held number.
            choice: A named choice, to look at one of its levels only.
            level: That level.

        Returns:
            None for words, and where that level lacks the factor or is never reached.
        """
        if factor.kind == "held":
            held = factor.value
            return None if held is None or isinstance(held, str) else (float(held), float(held))
        if self.region is not None:
            return self._reached(self.region, factor, choice, level)
        if choice and (own := own_ranges(self.study, factor)):
            return own.get(level)
        numbers = [float(one) for one in factor.levels if not isinstance(one, str)]
        return (min(numbers), max(numbers)) if numbers else factor.ends

    def materials(self) -> tuple[str, ...]:
        """Name everything that is in the mill base or could be, controls left out."""
        study = self.study
        return tuple(
            dict.fromkeys(
                [
                    *(one.name for one in study.additives),
                    *(one.name for one in study.materials),
                    *(one.name for one in (study.millbase.ingredients if study.millbase else ())),
                    *(said for _, said in self.words()),
                ]
            )
        )

    def words(self) -> Iterator[tuple[Factor, str]]:
        """Give every level of a named choice, held words and `set_by` too, with its factor."""
        for factor in self.study.factors:
            said = [*factor.levels, factor.value, factor.set_by]
            yield from ((factor, one) for one in said if isinstance(one, str))

    def reading_as(self, meaning: Meaning) -> tuple[str, ...]:
        """Give the materials and levels whose names read so."""
        return names_reading_as(self.materials(), meaning)

    def _reached(self, region: Region, factor: Factor, choice: str, level: str) -> Ends | None:
        names = [axis.name for axis in region.coding.axes]
        if factor.name not in names:
            return None
        column = names.index(factor.name)
        seen = [
            end
            for piece in region.pieces
            if not choice or _is_at(region, piece, choice, level)
            for end in _piece_ends(piece, column)
        ]
        return (min(seen), max(seen)) if seen else None


def _is_at(region: Region, piece: Piece, choice: str, level: str) -> bool:
    for column, axis in enumerate(region.coding.axes):
        if fold(axis.name) == fold(choice):
            levels = [fold(str(one)) for one in getattr(axis, "levels", ())]
            said = piece.fixed.get(column)
            return said is not None and fold(level) in levels and levels.index(fold(level)) == said
    return True


def _piece_ends(piece: Piece, column: int) -> tuple[float, ...]:
    ends = (
        (piece.fixed[column],)
        if column in piece.fixed
        else (float(piece.low[column]), float(piece.high[column]))
    )
    return tuple(one for one in ends if np.isfinite(one))


def quoted(names: Iterable[str]) -> str:
    """Set names in quotes, with commas.

    Example:
        >>> quoted(["chalk", "zinc white"])
        "'chalk', 'zinc white'"
    """
    return ", ".join(f"'{name}'" for name in names)


def span(ends: Ends) -> str:
    """Write two ends as a range, or as the one number that they are.

    Example:
        >>> span((8.0, 9.5)), span((8.8, 8.8))
        ('8 to 9.5', '8.8')
    """
    return f"{ends[0]:g}" if ends[0] == ends[1] else f"{ends[0]:g} to {ends[1]:g}"


def reading(names: tuple[str, ...], meaning: str) -> str:
    """Say that names read as something: a reading of free text, not knowledge.

    Example:
        >>> reading(("chalk",), "calcium")
        "'chalk' reads as calcium"
    """
    if all(fold(name) == fold(meaning) for name in names):
        return f"{quoted(names)} is named"
    return f"{quoted(names)} {'reads' if len(names) == 1 else 'read'} as {meaning}"
