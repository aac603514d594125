"""Robust choice, window and tolerance box of a study, found together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.risk.robust import RobustChoice, RobustQuestion, Standing, choose_robustly
from analysis.risk.tolerance import ToleranceBox, box_ground, tolerance_box
from analysis.risk.window import (
    ProbabilitySlice,
    ProbabilityTriangle,
    WindowBasis,
    leading_settings,
    probability_slice,
    probability_triangle,
)
from analysis.surface.noise import production_of
from doe.model.coding import Coding
from doe.study.finding import Finding
from doe.study.settings import FloatArray

HERE = "these settings"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RobustWindow:
    """What goes beyond the risk of one recipe.

    Attributes:
        choice: Compromise and robust choice side by side.
        box: The tolerance box.
        box_is_around: What it is around: `these settings`, or a robust choice where these miss the
            level.
        slice_: Joint probability over two settings; None where there is no pair.
        triangle: Over three additives; None for a package of fewer.
    """

    choice: RobustChoice
    box: ToleranceBox
    box_is_around: str
    slice_: ProbabilitySlice | None
    triangle: ProbabilityTriangle | None

    @property
    def box_here(self) -> ToleranceBox | None:
        """The box, where there is one and it is around the settings that the team has."""
        return self.box if self.box_is_around == HERE and not self.box.is_empty else None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What to know."""
        return (*self.choice.findings, *self.box.findings)


def find_robust_window(
    question: RobustQuestion, at: FloatArray, pair: tuple[str, str] | None = None
) -> RobustWindow:
    """Find robust choice, window and tolerance box.

    Args:
        question: The study, and the probability that is wanted.
        at: Settings that the team has before it, shape (k,), lab units.
        pair: Two settings to draw the window over; None for those that move it most.

    Raises:
        OptimumError: No recipe keeps the limits where noise factors are at their production mean.
        ValueError: A setting of the pair has no range at this recipe, or both are shares.
    """
    choice = choose_robustly(question, at)
    basis = WindowBasis(
        study=question.study, region=question.region, surfaces=question.surfaces,
        model=question.model, seed=question.seed,
    )  # fmt: skip
    box, around = _box(question, choice, at)
    named = pair or leading_settings(basis, at)
    return RobustWindow(
        choice=choice,
        box=box,
        box_is_around=around,
        slice_=probability_slice(basis, at, *named) if named else None,
        triangle=_triangle(basis, at, question.region.coding),
    )


def _box(
    question: RobustQuestion, choice: RobustChoice, at: FloatArray
) -> tuple[ToleranceBox, str]:
    noise = production_of(question.study, question.region.coding).columns
    ground = box_ground(question.model, question.region, noise, question.seed)
    first = tolerance_box(ground, at, question.level)
    if not first.is_empty:
        return first, HERE
    for standing in _others(choice):
        other = tolerance_box(ground, standing.row, question.level)
        if not other.is_empty:
            return other, standing.name
    return first, HERE


def _others(choice: RobustChoice) -> Iterator[Standing]:
    """Give robust choices that reach the level: the most probable, which has most room, first."""
    for one in (choice.most_probable, choice.best_at_level):
        if one is not None and one.probability.value >= choice.level:
            yield one


def _triangle(basis: WindowBasis, at: FloatArray, coding: Coding) -> ProbabilityTriangle | None:
    shares = sorted(coding.shares, key=lambda axis: axis.low - axis.high)[:3]
    if len(shares) < 3:
        return None
    kept = {axis.name for axis in shares}
    found = probability_triangle(basis, at, [a.name for a in coding.shares if a.name in kept])
    # A package that cannot move in two directions has no triangle to show.
    is_plane = len(found.slice_.outline) >= 3 and bool(found.slice_.inside.any())
    return found if is_plane else None
