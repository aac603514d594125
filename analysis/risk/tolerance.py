"""The tolerance box: how far settings may be set off the choice, all at once.

The largest box round the choice, inside the region, in which the joint probability stays at a
level wherever in it one sets. Largest is the product of its widths, so that no unit counts for
more than another; where it can, it leaves to both sides of the choice as much as the plant holds
(± 2 standard deviations), or a half or a quarter of that. Production's own scatter comes on top of
where one sets and is in the probability already.

A share is set by its grams: in the box each additive's active grams vary by themselves, the others
making room, at the same dose.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.risk.box_frame import BoxFrame, BoxGround, held_by_plant
from analysis.risk.box_search import BoxSearch
from analysis.risk.draws import DrawPlan, Estimate
from analysis.risk.model import RiskModel
from analysis.risk.smooth import make_chance
from analysis.surface.lines import inside_region
from doe.model.coding import ChoiceAxis, NumericAxis, ShareAxis
from doe.model.region import Region
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# A side without step or scatter is rounded to about this part of the range.
FINE = 0.01
ON_MARK = 1e-9
# Times that a box is drawn in where finer draws or other places show the level missed.
DRAW_IN = 16
SEARCH_DRAWS, FINE_DRAWS = 128, 2_048


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceSide:
    """How far one setting may be set, the others anywhere in theirs.

    Attributes:
        setting: Name.
        unit: Lab unit; `share` for an additive.
        at: The choice.
        low: Lowest, rounded inward.
        high: Highest, rounded inward.
        rounded_to: Multiple that both ends are rounded to; the choice itself where none is nearer.
        rounded_by: Whose multiple that is: `step`, `scatter` or `range`.
        holds: What the plant holds, ± 2 standard deviations, lab unit; None where none is stated.
        is_share: Whether it is an additive's amount, the others making room.
    """

    setting: str
    unit: str
    at: float
    low: float
    high: float
    rounded_to: float
    rounded_by: str
    holds: float | None
    is_share: bool = False

    @property
    def is_point(self) -> bool:
        """Whether it may not be moved at all."""
        return self.high - self.low <= 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ToleranceBox:
    """The largest box round a choice in which the probability stays at a level.

    Attributes:
        level: That probability, 0..1.
        around: Settings of the choice, shape (k,), lab units.
        sides: One a setting that can be moved; none where the box is empty.
        at_choice: Joint probability at the choice.
        least: Lowest found in the box; NaN where it is empty.
        least_at: Settings there, shape (k,).
        tried: Places in the rounded box at which the level was tried.
        why_empty: A sentence; empty where there is a box.
        findings: What to know.
    """

    level: float
    around: FloatArray
    sides: tuple[ToleranceSide, ...]
    at_choice: Estimate
    least: Estimate
    least_at: FloatArray
    tried: int
    why_empty: str = ""
    findings: tuple[Finding, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether there is no box."""
        return bool(self.why_empty)


def box_ground(
    model: RiskModel, region: Region, noise: tuple[int, ...], seed: int = 1
) -> BoxGround:
    """Lay the draws that boxes are sought and told by."""
    few = DrawPlan(draws=SEARCH_DRAWS, scramblings=2, seed=seed)
    many = DrawPlan(draws=FINE_DRAWS, scramblings=8, seed=seed + 1)
    return BoxGround(
        chance=make_chance(model, few), fine=make_chance(model, many), region=region,
        scatter=model.scatter, noise=noise, seed=seed,
    )  # fmt: skip


def tolerance_box(ground: BoxGround, around: FloatArray, level: float) -> ToleranceBox:
    """Find the tolerance box.

    Args:
        ground: The study.
        around: The choice, shape (k,), lab units.
        level: Joint probability of tested values that must hold everywhere in it, 0..1.
    """
    at_choice = ground.fine.estimate(around)
    frame = BoxFrame.of(ground, around)
    why = _why_empty(ground, around, level, at_choice, frame)
    if why:
        return _empty(around, level, at_choice, why)
    search = BoxSearch(ground, frame, level)
    ends = search.run()
    sides, rounded = _rounded(ground, frame, ends)
    least, least_at, tried = search.verify(rounded)
    # Finer draws and other places may still find the level missed: draw in.
    for _ in range(DRAW_IN):
        if least.value >= level:
            break
        ends = search.drawn_in(ends)
        sides, rounded = _rounded(ground, frame, ends)
        least, least_at, tried = search.verify(rounded)
    if least.value < level or all(side.is_point for side in sides):
        why = (
            f"the probability of {at_choice.value:.3f} at the choice leaves no room that is wide "
            "enough for what can be set"
        )
        return _empty(around, level, at_choice, why)
    return ToleranceBox(
        level=level, around=around, sides=sides, at_choice=at_choice, least=least,
        least_at=least_at, tried=tried, findings=tuple(_findings(sides)),
    )  # fmt: skip


def _empty(around: FloatArray, level: float, at: Estimate, why: str) -> ToleranceBox:
    nothing = Estimate(value=float("nan"), error=float("nan"))
    finding = Finding(level="caution", what=f"There is no tolerance box: {why}.")
    return ToleranceBox(
        level=level, around=around, sides=(), at_choice=at, least=nothing, least_at=around,
        tried=0, why_empty=why, findings=(finding,),
    )  # fmt: skip


def _rounded(
    ground: BoxGround, frame: BoxFrame, ends: FloatArray
) -> tuple[tuple[ToleranceSide, ...], FloatArray]:
    """Round a box inward, in lab units: its sides, and its ends in the frame, (2, d)."""
    lab = frame.lab(ends)
    sides = []
    for i, j in enumerate(frame.columns):
        axis = ground.coding.axes[j]
        assert not isinstance(axis, ChoiceAxis)
        holds = held_by_plant(ground.scatter, j, float(frame.around[j]))
        unit, by = _multiple(axis, holds)
        at = float(frame.around[j])
        start = 0.0 if isinstance(axis, ShareAxis) or axis.step is None else axis.low
        low, high = (_inward(float(lab[e, i]), at, start, unit, e) for e in (0, 1))
        sides.append(
            ToleranceSide(
                setting=axis.name,
                unit="share" if isinstance(axis, ShareAxis) else axis.unit,
                at=at, low=low, high=high, rounded_to=unit, rounded_by=by, holds=holds,
                is_share=isinstance(axis, ShareAxis),
            )
        )  # fmt: skip
    back = np.array([[side.low for side in sides], [side.high for side in sides]])
    return tuple(sides), frame.from_lab(back)


def _inward(end: float, at: float, start: float, unit: float, upper: int) -> float:
    """Round one end towards the choice; the choice itself where no multiple lies between."""
    count = (end - start) / unit
    mark = start + unit * float(np.floor(count + ON_MARK) if upper else np.ceil(count - ON_MARK))
    mark = round(mark, 10)
    return max(mark, at) if upper else min(mark, at)


def _multiple(axis: ShareAxis | NumericAxis, holds: float | None) -> tuple[float, str]:
    """Give what ends are rounded to, and by whom."""
    if axis.step is not None:
        return axis.step, "step"
    if holds:
        return _round_number(holds / 2.0), "scatter"
    return _round_number(FINE * (axis.high - axis.low)), "range"


def _round_number(x: float) -> float:
    """Give the largest of 1, 2, 5 times a power of ten that is not above x."""
    power = 10.0 ** np.floor(np.log10(x) + ON_MARK)
    return float(max(m for m in (1.0, 2.0, 5.0) if m * power <= x * (1.0 + ON_MARK)) * power)


def _why_empty(
    ground: BoxGround, around: FloatArray, level: float, at: Estimate, frame: BoxFrame
) -> str:
    if not bool(inside_region(ground.region, around[None, :], ground.noise)[0]):
        return "the choice lies outside the region of the brief"
    if at.value < level:
        return (
            f"at the choice itself {100 * at.value:.1f} of 100 production batches meet every "
            f"limit, below the {100 * level:g} that are asked for"
        )
    if not frame.columns:
        return "no setting of this recipe has a range"
    return ""


def _findings(sides: Sequence[ToleranceSide]) -> list[Finding]:
    found = []
    tight = [
        side
        for side in sides
        if side.holds and min(side.at - side.low, side.high - side.at) < side.holds
    ]
    points = [side for side in sides if side.is_point]
    if points:
        names = ", ".join(f"'{side.setting}'" for side in points)
        found.append(
            Finding(
                level="caution",
                what=f"In the tolerance box {names} may not be moved by as much as one step of "
                "what can be set.",
                advice="Hold it there, or ask for a lower probability.",
            )
        )
    if tight:
        words = "; ".join(
            f"'{side.setting}' {side.low:g} to {side.high:g} where ± {side.holds:.3g} is held"
            for side in tight
        )
        found.append(
            Finding(
                level="note",
                what=f"The tolerance box is narrower on one side than what the plant holds (± 2 "
                f"standard deviations): {words}. That scatter about the setting is in the "
                "probability already; the box says where one may set.",
            )
        )
    return found
