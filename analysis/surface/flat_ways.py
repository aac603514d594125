"""Where a surface is flat: how far one may move from a recipe at no loss that can be seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import stats
from scipy.optimize import brentq

from analysis.fits.fit import Fit
from analysis.fits.scales import forward, inverse
from analysis.surface.canonical import canonical_form
from analysis.surface.cox import at_production_mean
from analysis.surface.lines import TOUCH, inside_region, moved, own_range, reach_along
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.predict import mean_df
from analysis.surface.second_order import SecondOrder, second_order
from doe.model.coding import ChoiceAxis, NumericAxis, ShareAxis
from doe.model.matrix import model_matrix
from doe.model.region import Region
from doe.study.settings import FloatArray, frozen_array

# Places looked at from the recipe to each end.
TRACE = 101
# What matters where nobody says, in standard deviations of one new run: a difference that one
# repeat cannot show. Common practice, no source: a visible default.
PRACTICAL_SD = 1.0

TOGETHER = "all factors together"

_Place = Callable[[FloatArray], FloatArray]


class _Line(NamedTuple):
    """A way through the recipe: places along it as whole settings, and how far it goes."""

    name: str
    unit: str
    place: _Place
    here: float
    ends: tuple[float, float]
    marks: tuple[float, ...]
    columns: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatWay:
    """How far one may go from a recipe before a response is seen to change.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        setting: What moves: a factor, an additive along Cox's direction, or all factors together.
        setting_unit: Its unit; empty for shares and for all together.
        joint: Names of the factors that move together; empty where one moves.
        at: Where the recipe stands; 0 where factors move together.
        low: Least place at no loss, lab units; coded distance where factors move together.
        high: Largest place at no loss.
        ends: How far the region goes.
        low_settings: Settings at the least place, of what moves, lab units.
        high_settings: Settings at the largest place.
        practical: Difference that matters, response unit.
        sure: The stretch over which the whole interval of the difference stays within what
            matters: moving there is harmless for sure.
        unseen: Largest difference, response unit, that the runs cannot exclude on that way.
        level: Confidence, 0..1.
    """

    response: str
    unit: str
    setting: str
    setting_unit: str
    joint: tuple[str, ...]
    at: float
    low: float
    high: float
    ends: tuple[float, float]
    low_settings: FloatArray
    high_settings: FloatArray
    practical: float
    sure: tuple[float, float]
    unseen: float
    level: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "low_settings", frozen_array(self.low_settings))
        object.__setattr__(self, "high_settings", frozen_array(self.high_settings))

    @property
    def part(self) -> float:
        """Part of what the region allows that is at no loss, 0..1."""
        whole = self.ends[1] - self.ends[0]
        return (self.high - self.low) / whole if whole > 0.0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatSearch:
    """One model at one recipe, and what counts as no loss.

    Attributes:
        fit: The model.
        region: Its region.
        at: Shape (k,), lab units, inside the region; noise factors at their production mean.
        noise: Columns of noise factors.
        practical: Difference that matters, response unit; None for that of one new run.
        level: Confidence of the differences, 0..1.
    """

    fit: Fit
    region: Region
    at: FloatArray
    noise: tuple[int, ...]
    practical: float | None
    level: float

    def differences(self, settings: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give differences from the recipe on the fitted scale, and half their intervals."""
        fit = self.fit
        rows = model_matrix(np.vstack([self.at, settings]), fit.coding, fit.model)
        contrasts = rows[1:] - rows[0]
        variance = np.einsum("np,pq,nq->n", contrasts, fit.covariance, contrasts)
        error = np.sqrt(np.maximum(variance, 0.0))
        half = np.zeros(len(settings))
        seen = error > 0.0
        if seen.any():
            df = mean_df(fit, contrasts[seen])
            half[seen] = stats.t.ppf(0.5 + self.level / 2.0, df) * error[seen]
        return contrasts @ fit.coefficients, half

    def excess(self, settings: FloatArray) -> FloatArray:
        """Tell by how much a difference is seen or matters: at no loss where it is not above 0."""
        apart, half = self.differences(settings)
        least, most = self.practical_on_scale()
        size = np.abs(apart)
        matters = np.where(apart >= 0.0, apart - most, least - apart)
        slack = 1e-12 * max(1.0, float(size.max(initial=0.0)))
        excess: FloatArray = np.maximum(size - half - slack, matters)
        return excess

    def doubt(self, settings: FloatArray) -> FloatArray:
        """Tell by how much a difference could matter: surely harmless where it is below 0."""
        apart, half = self.differences(settings)
        least, most = self.practical_on_scale()
        doubt: FloatArray = np.maximum(apart + half - most, least - apart + half)
        return doubt

    def practical_on_scale(self) -> tuple[float, float]:
        """Give the differences down and up that matter, fitted scale."""
        if self.practical is None:
            sd = PRACTICAL_SD * self.fit.total_sd
            return -sd, sd
        z = self._height()
        y = inverse(self.fit.scale, np.array([z]))[0]
        low, high = forward(self.fit.scale, np.array([y - self.practical, y + self.practical]))
        return (
            float(low - z) if np.isfinite(low) else -np.inf,
            float(high - z) if np.isfinite(high) else np.inf,
        )

    def in_unit(self, apart: FloatArray) -> FloatArray:
        """Turn differences of the fitted scale into the response's unit."""
        z = self._height()
        y: FloatArray = inverse(self.fit.scale, z + apart) - inverse(self.fit.scale, np.array([z]))
        return y

    def _height(self) -> float:
        row = model_matrix(self.at[None, :], self.fit.coding, self.fit.model)
        return float((row @ self.fit.coefficients)[0])


def flat_ways(
    fit: Fit,
    region: Region,
    at: FloatArray,
    *,
    production: Production = NO_NOISE,
    practical: float | None = None,
    level: float = 0.95,
) -> tuple[FlatWay, ...]:
    """Find how far each setting, and all factors together, may move at no loss.

    A place is at no loss where the interval of its difference from the recipe holds 0 and the
    difference itself is smaller than what matters; a way ends at the first place that is not.

    Args:
        fit: The model.
        region: Its region.
        at: Shape (k,), lab units, inside the region: the recipe.
        production: Noise factors, held at their production mean.
        practical: Difference that matters, response unit; by default the standard deviation of one
            new run.
        level: Confidence of the differences, 0..1.

    Returns:
        One entry a setting with a range, in the study's order, then one along the direction in
        which the factors bend least. None of a named choice. Where the model leaves no error
        every difference is seen.
    """
    base = at_production_mean(at, production)
    search = FlatSearch(
        fit=fit, region=region, at=base, noise=production.columns, practical=practical, level=level
    )
    if (
        not np.all(np.isfinite(fit.covariance))
        or not inside_region(region, base[None, :], production.columns).all()
    ):
        return ()
    ways = [
        way
        for j in range(len(fit.coding.axes))
        if j not in production.columns and (way := _along(search, j)) is not None
    ]
    joint = _jointly(search, production)
    return tuple(ways if joint is None else [*ways, joint])


def _along(search: FlatSearch, j: int) -> FlatWay | None:
    axis = search.fit.coding.axes[j]
    if isinstance(axis, ChoiceAxis) or np.isnan(search.at[j]):
        return None
    ends = _ends(search, j)
    if ends is None or not ends[1] > ends[0]:
        return None

    def place(x: FloatArray) -> FloatArray:
        return moved(search.fit.coding, search.at, j, x)

    here = float(search.at[j])
    marks = axis.levels if isinstance(axis, NumericAxis) else ()
    unit = axis.unit if isinstance(axis, NumericAxis) else ""
    return _way(search, _Line(axis.name, unit, place, here, ends, marks, (j,)))


def _ends(search: FlatSearch, j: int) -> tuple[float, float] | None:
    axis = search.fit.coding.axes[j]
    if isinstance(axis, NumericAxis) and axis.levels:
        return own_range(search.fit.coding, search.at, j)
    reach = reach_along(search.region, search.at, j)
    if reach is None:
        return None
    here = float(search.at[j])
    return float(min(reach.low, here)), float(max(reach.high, here))


def _jointly(search: FlatSearch, production: Production) -> FlatWay | None:
    """Go along the direction of the factors with the least bend, from the recipe."""
    if search.fit.model.bend is not None or any(
        sum(power for name, power in term.powers if not _is_share(search.fit, name)) > 2
        for term in search.fit.model.terms
    ):
        return None
    form = second_order(search.fit, search.at, production)
    if len(form.columns) < 2 or form.is_plane:
        return None
    flattest = min(canonical_form(form).axes, key=lambda axis: abs(axis.curvature))
    here = form.coded(search.at[None, :])[0]

    def place(t: FloatArray) -> FloatArray:
        moving = form.settings(here + np.outer(t, flattest.direction))
        rows = np.tile(search.at, (len(t), 1))
        rows[:, list(form.columns)] = moving[:, list(form.columns)]
        return rows

    ends = _chord(search, place, form)
    if ends is None or not ends[1] > ends[0]:
        return None
    return _way(search, _Line(TOGETHER, "", place, 0.0, ends, (), form.columns))


def _is_share(fit: Fit, name: str) -> bool:
    return isinstance(fit.coding.axes[fit.coding.index(name)], ShareAxis)


def _chord(search: FlatSearch, place: _Place, form: SecondOrder) -> tuple[float, float] | None:
    """Find how far the region goes along a direction of the factors, both ways, coded."""
    longest = 2.0 * float(np.sqrt(len(form.columns)))
    ends = []
    for sign in (-1.0, 1.0):
        t = sign * np.linspace(0.0, longest, TRACE)
        outside = np.flatnonzero(~inside_region(search.region, place(t), search.noise))
        if not len(outside):
            return None
        last = int(outside[0])
        if last == 0:
            return None
        ends.append(_edge(search, place, float(t[last - 1]), float(t[last])))
    return ends[0], ends[1]


def _edge(search: FlatSearch, place: _Place, kept: float, lost: float) -> float:
    for _ in range(40):
        middle = (kept + lost) / 2.0
        if inside_region(search.region, place(np.array([middle])), search.noise)[0]:
            kept = middle
        else:
            lost = middle
    return kept


def _farthest(line: _Line, end: float, excess: Callable[[FloatArray], FloatArray]) -> float:
    """Go from the recipe towards an end as far as an excess is not above 0."""
    here, places = line.here, np.linspace(line.here, end, TRACE)
    if line.marks:
        low, high = min(here, end) - TOUCH, max(here, end) + TOUCH
        ahead = {here, *(mark for mark in line.marks if low <= mark <= high)}
        places = np.array(sorted(ahead, key=lambda x: abs(x - here)))
    beyond = np.flatnonzero(excess(line.place(places)) > 0.0)
    if not len(beyond):
        return float(places[-1])
    # The first place is the recipe, which differs from itself in nothing.
    first = max(int(beyond[0]), 1)
    kept, lost = float(places[first - 1]), float(places[first])
    if line.marks or excess(line.place(np.array([kept])))[0] >= 0.0:
        return kept
    return float(brentq(lambda x: float(excess(line.place(np.array([x])))[0]), kept, lost))


def _way(search: FlatSearch, line: _Line) -> FlatWay:
    low, high = (_farthest(line, end, search.excess) for end in line.ends)
    sure_low, sure_high = (_farthest(line, end, search.doubt) for end in line.ends)
    apart, half = search.differences(line.place(np.linspace(low, high, TRACE)))
    worst = np.maximum(np.abs(search.in_unit(apart - half)), np.abs(search.in_unit(apart + half)))
    matters = np.abs(search.in_unit(np.array(search.practical_on_scale())))
    reached = line.place(np.array([low, high]))[:, list(line.columns)]
    names = tuple(search.fit.coding.names[j] for j in line.columns)
    return FlatWay(
        response=search.fit.response, unit=search.fit.unit, setting=line.name,
        setting_unit=line.unit, joint=names if len(names) > 1 else (), at=line.here,
        low=low, high=high, ends=line.ends, low_settings=reached[0], high_settings=reached[1],
        practical=float(matters.min()), sure=(sure_low, sure_high), unseen=float(worst.max()),
        level=search.level,
    )  # fmt: skip
