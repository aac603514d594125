"""The compromise of the full models beside that of the reduced ones: does what is out matter?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.choice.compromise import Compromise, SettingsRow
from doe.model.coding import Axis, ChoiceAxis, Coding
from doe.study.finding import Finding

# Half of what a bench would call another setting; common practice, no source.
FAR = 0.10
DESIRABILITY_APART = 0.05
_MOST_TOLD = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One setting in both compromises.

    Attributes:
        setting: Name.
        reduced: With the models in use; None where its level lacks it.
        full: With the full models.
        part: How far apart, as a part of the range; 1 for another level of a choice.
    """

    setting: str
    reduced: float | str | None
    full: float | str | None
    part: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WithFull:
    """Both compromises.

    Attributes:
        responses: Whose models have full ones beside them.
        compromise: Of the full models; None where they find none.
        reduced_desirability: Overall desirability of the one in use, by the models in use.
        moves: Every setting, in the order of the brief.
    """

    responses: tuple[str, ...]
    compromise: Compromise | None
    reduced_desirability: float
    moves: tuple[Move, ...]

    @property
    def finding(self) -> Finding:
        """What to tell: whether the choice of terms moves the choice of settings."""
        named = ", ".join(f"'{name}'" for name in self.responses)
        if self.compromise is None:
            return Finding(
                level="caution",
                what=f"With the full models of {named} no compromise is found; with the reduced "
                "ones there is one.",
                advice="See the full models before you trust it.",
            )
        full = self.compromise.best.desirability
        far = [move for move in self.moves if move.part > FAR]
        apart = abs(full - self.reduced_desirability) > DESIRABILITY_APART
        evidence: dict[str, float | int | str] = {
            "desirability, reduced models": round(self.reduced_desirability, 3),
            "desirability, full models": round(full, 3),
        }
        if not far:
            return Finding(
                level="caution" if apart else "note",
                what=f"The full models of {named} choose nearly the same settings: none moves by "
                f"more than {100 * FAR:g} % of its range"
                + (
                    f", but the overall desirability does by more than {DESIRABILITY_APART:g}."
                    if apart
                    else "."
                ),
                evidence=evidence,
            )
        told = "; ".join(
            f"{move.setting} {_word(move.full)} instead of {_word(move.reduced)}"
            for move in sorted(far, key=lambda one: -one.part)[:_MOST_TOLD]
        )
        return Finding(
            level="caution",
            what=f"The full models of {named} would choose other settings: {told} (told from "
            f"{100 * FAR:g} % of a range on). What was left out of the models decides here, not "
            "the readings alone.",
            evidence=evidence,
            advice="Make a run at both settings before one is agreed.",
        )


def compare_with_full(
    found: Compromise, full: Compromise | None, responses: Sequence[str], coding: Coding
) -> WithFull:
    """Set the compromise of the models in use beside that of the full ones."""
    other = full.best.settings if full is not None else {}
    moves = tuple(
        _move(axis, found.best.settings, other)
        for axis in coding.axes
        if full is not None and (axis.name in found.best.settings or axis.name in other)
    )
    return WithFull(
        responses=tuple(responses), compromise=full,
        reduced_desirability=found.best.desirability, moves=moves,
    )  # fmt: skip


def _move(axis: Axis, reduced: SettingsRow, full: SettingsRow) -> Move:
    a, b = reduced.get(axis.name), full.get(axis.name)
    if isinstance(axis, ChoiceAxis) or not isinstance(a, (int, float)) or isinstance(b, str | None):
        part = 0.0 if a == b else 1.0
    else:
        part = abs(float(a) - float(b)) / ((axis.high - axis.low) or 1.0)
    return Move(setting=axis.name, reduced=a, full=b, part=part)


def _word(value: float | str | None) -> str:
    if value is None:
        return "none"
    return value if isinstance(value, str) else f"{value:.4g}"
