"""The window: the joint probability over two settings, and over the triangle of three additives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.risk.draws import DrawPlan
from analysis.risk.model import RiskModel
from analysis.risk.smooth import SmoothChance, make_chance
from analysis.surface.contour import ContourSlice, PackageSlice, contour_slice, package_slice
from analysis.surface.exact import Surface
from analysis.surface.lines import direction_of
from analysis.surface.noise import NO_NOISE, Production, production_of
from doe.model.coding import ChoiceAxis, NumericAxis, ShareAxis
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.csv_text import write_csv
from doe.study.settings import FloatArray, frozen_array

# Places along each range and side, and draws at each: enough for lines that look smooth.
POINTS, TRIANGLE_POINTS = 33, 37
DRAWS, SCRAMBLINGS = 256, 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProbabilitySlice:
    """The joint probability over two settings, the others as in a recipe.

    Attributes:
        slice_: The grid, what the models predict on it, the limits, what is held.
        probability: Shape (h, g), of tested values, 0..1; NaN outside the region.
    """

    slice_: ContourSlice
    probability: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "probability", frozen_array(self.probability))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProbabilityTriangle:
    """The joint probability over three additives, all else as in a recipe.

    Attributes:
        slice_: The shares, what the models predict there, the limits, what is held.
        probability: Shape (g,), of tested values, 0..1; outside the region too, for lines that
            run up to its edge.
    """

    slice_: PackageSlice
    probability: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "probability", frozen_array(self.probability))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindowBasis:
    """What windows are drawn from.

    Attributes:
        study: The brief.
        region: Its region.
        surfaces: Models and computed responses by name.
        model: Production batches, ready to be drawn.
        seed: Of the draws.
    """

    study: Study
    region: Region
    surfaces: Mapping[str, Surface]
    model: RiskModel
    seed: int = 1

    @property
    def production(self) -> Production:
        """Where the noise factors lie."""
        return production_of(self.study, self.region.coding) if self.study.factors else NO_NOISE

    def chance(self) -> SmoothChance:
        """Lay the draws, the same at every place."""
        plan = DrawPlan(draws=DRAWS, scramblings=SCRAMBLINGS, seed=self.seed)
        return make_chance(self.model, plan)


def probability_slice(
    basis: WindowBasis, at: FloatArray, x: str, y: str, *, points: int = POINTS
) -> ProbabilitySlice:
    """Find the joint probability over two settings through one recipe.

    Args:
        basis: The study.
        at: The recipe, shape (k,), lab units.
        x: Setting across: a factor with a range, or one share (the others make room).
        y: Setting upwards; not a share where `x` is one.
        points: Places along each range.

    Raises:
        ValueError: A setting has no range at this recipe, or both are shares.
    """
    slice_ = contour_slice(
        basis.study, basis.region, basis.surfaces, at, x, y, production=basis.production,
        points=points,
    )  # fmt: skip
    coding = basis.region.coding
    i, j = coding.index(x), coding.index(y)
    grid = np.stack(np.meshgrid(slice_.x_values - at[i], slice_.y_values - at[j]), axis=-1)
    ways = np.array([direction_of(coding, at, c) for c in (i, j)])
    rows = at + grid.reshape(-1, 2) @ ways
    inside = slice_.inside.ravel()
    probability = np.full(len(rows), np.nan)
    probability[inside] = basis.chance().probability(rows[inside])
    return ProbabilitySlice(slice_=slice_, probability=probability.reshape(slice_.inside.shape))


def probability_triangle(
    basis: WindowBasis, at: FloatArray, names: Sequence[str], *, points: int = TRIANGLE_POINTS
) -> ProbabilityTriangle:
    """Find the joint probability over three additives; other additives keep their shares.

    Raises:
        ValueError: There are not three different additives.
    """
    slice_ = package_slice(
        basis.study, basis.region, basis.surfaces, at, names, production=basis.production,
        points=points,
    )  # fmt: skip
    rows = np.tile(at, (len(slice_.shares), 1))
    rows[:, [basis.region.coding.index(name) for name in names]] = slice_.shares
    return ProbabilityTriangle(slice_=slice_, probability=basis.chance().probability(rows))


def leading_settings(basis: WindowBasis, at: FloatArray) -> tuple[str, str] | None:
    """Find the two settings that move the joint probability most, in the brief's order.

    From end to end of each range through the recipe; one share at most. None without a pair.
    """
    coding, chance = basis.region.coding, basis.chance()
    noise = basis.production.columns
    pull: dict[str, float] = {}
    for j, axis in enumerate(coding.axes):
        is_ranged = isinstance(axis, ShareAxis | NumericAxis) and not getattr(axis, "levels", ())
        if j in noise or not is_ranged or np.isnan(at[j]) or isinstance(axis, ChoiceAxis):
            continue
        steps = np.linspace(axis.low, axis.high, 5) - at[j]
        found = chance.deviate(at + np.outer(steps, direction_of(coding, at, j)))
        pull[axis.name] = float(np.ptp(found))
    shares = {axis.name for axis in coding.shares}
    factors = sorted((n for n in pull if n not in shares), key=lambda n: -pull[n])
    best_share = sorted((n for n in pull if n in shares), key=lambda n: -pull[n])[:1]
    chosen = (factors + best_share)[:2]
    if len(chosen) < 2:
        return None
    first, second = sorted(chosen, key=coding.index)
    return first, second


def slice_table(found: ProbabilitySlice) -> str:
    """Write a slice as CSV: two settings and the probability, places inside the region only."""
    one = found.slice_
    places = np.argwhere(one.inside)
    shown = [(one.x_values[i], one.y_values[j], found.probability[j, i]) for j, i in places]
    return write_csv([one.x, one.y, "probability"], map(_told, shown))


def triangle_table(found: ProbabilityTriangle) -> str:
    """Write a triangle as CSV: three shares and the probability, places inside the region only."""
    one = found.slice_
    shown = np.column_stack([one.shares, found.probability])[one.inside]
    return write_csv([*one.names, "probability"], map(_told, shown))


def _told(row: Sequence[float] | FloatArray) -> list[float]:
    """Round settings to eight digits, the probability after them to six places."""
    *settings, probability = row
    return [*(float(f"{x:.8g}") for x in settings), round(float(probability), 6)]
