"""The dispersant-demand curve of a dose ladder: its models, and the lowest dose that will do.

The target is the lowest dose that reaches the plateau, not the minimum itself: past it, free
polymer costs money and water resistance (common practice).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from analysis.lab.demand_models import MODELS, Chart, DemandModel, Span
from analysis.lab.demand_profile import Interval, profile_interval
from analysis.lab.separable_fit import Solved, solve_chart
from doe.errors import FitError
from doe.study.settings import FloatArray

# Viscosity above the minimum at which a dose still counts as on the plateau, %; 10 for a flat
# curve. Common practice, no citable source.
WITHIN_PERCENT = 5.0
LEVEL = 0.95
# Points of the grid on which a curve is looked over; a kink between two of them is then closed in.
_LOOK = 2001
# So near an end of the search, as a part of its width, a coordinate lies at it.
_NEAR_END = 1e-4


# ln viscosity by doses, shape (n,) to (n,).
Curve = Callable[[FloatArray], FloatArray]


class Lowest(NamedTuple):
    """Where a curve is lowest in the doses tried: the dose, and ln viscosity there."""

    dose: float
    value: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DemandFit:
    """One model fitted to a ladder.

    Attributes:
        model: The model.
        span: Lowest and highest dose fitted.
        solved: The curve found.
        x: Doses fitted, shape (n,), % active on pigment.
        y: ln viscosity, shape (n,).
    """

    model: DemandModel
    span: Span
    solved: Solved
    x: FloatArray
    y: FloatArray

    @property
    def n(self) -> int:
        """Readings fitted."""
        return len(self.y)

    @property
    def parameters(self) -> dict[str, float]:
        """The parameters, by the letters of the formula."""
        one = self.solved
        values = self.model.parameters(one.at, one.intercept, one.weights)
        return dict(zip(self.model.letters, values, strict=True))

    @property
    def residual_df(self) -> int:
        """Readings less parameters."""
        return self.n - self.model.n_parameters

    @property
    def residual_sd(self) -> float:
        """Residual standard deviation of ln viscosity; infinite without degrees of freedom."""
        if self.residual_df < 1:
            return float("inf")
        return float(np.sqrt(self.solved.rss / self.residual_df))

    @property
    def rmse(self) -> float:
        """Root of the mean square residual of ln viscosity, parameters not counted."""
        return float(np.sqrt(self.solved.rss / self.n))

    @property
    def aicc(self) -> float:
        """Akaike's criterion corrected for few readings; infinite where it has no value.

        Source:
            Hurvich and Tsai (1989), Biometrika 76, 297-307 (from memory): n·ln(RSS/n) + 2k +
            2k(k + 1)/(n - k - 1), k the parameters and the scatter.
        """
        k = self.model.n_parameters + 1
        if self.n <= k + 1:
            return float("inf")
        mean_square = max(self.solved.rss / self.n, np.finfo(float).tiny)
        return float(self.n * np.log(mean_square) + 2 * k + 2 * k * (k + 1) / (self.n - k - 1))

    def curve(self, doses: FloatArray) -> FloatArray:
        """Give the fitted ln viscosity at doses, shape (n,)."""
        chart, one = self.model.fit(self.span), self.solved
        columns = chart.build(one.at[None, :], doses).columns
        return np.asarray(
            one.intercept + sum(w * c[0] for w, c in zip(one.weights, columns, strict=True))
        )

    @property
    def lowest(self) -> Lowest:
        """The minimum in the doses tried."""
        return lowest_of(self.curve, self.span)

    @property
    def has_minimum_inside(self) -> bool:
        """Whether the minimum lies within the doses tried, not at an end of them."""
        low, high = self.span
        return bool(low * (1 + 1e-6) < self.lowest.dose < high * (1 - 1e-6))

    @property
    def is_at_search_end(self) -> bool:
        """Whether a coordinate lies at an end of what is searched: a wider search finds more."""
        ends = np.array(self.model.fit(self.span).bounds, dtype=np.float64).reshape(-1, 2)
        at = np.asarray(self.solved.at, dtype=np.float64)
        near = _NEAR_END * (ends[:, 1] - ends[:, 0])
        return bool(np.any((at - ends[:, 0] <= near) | (ends[:, 1] - at <= near)))

    @property
    def breakpoint_dose(self) -> float | None:
        """The dose at which the curve breaks; None where the model has no break."""
        return self.parameters.get("D0")

    def pick(self, within_percent: float = WITHIN_PERCENT) -> float:
        """Give the lowest dose whose viscosity is within so many per cent of the minimum."""
        return lowest_dose_within(self.curve, self.span, within_percent)

    def pick_interval(
        self, within_percent: float = WITHIN_PERCENT, level: float = LEVEL
    ) -> Interval:
        """Give the profile-likelihood interval of `pick`."""
        margin = float(np.log1p(within_percent / 100))
        return self._interval(
            self.pick(within_percent), lambda t: self.model.at_pick(t, margin, self.span), level
        )

    def minimum_interval(self, level: float = LEVEL) -> Interval | None:
        """Give the interval of the minimum; None where the model only falls."""
        if not self.model.at_minimum(self.lowest.dose, self.span):
            return None
        return self._interval(
            self.lowest.dose, lambda t: self.model.at_minimum(t, self.span), level
        )

    def breakpoint_interval(self, level: float = LEVEL) -> Interval | None:
        """Give the interval of the breakpoint; None where the model has none."""
        at = self.breakpoint_dose
        if at is None:
            return None
        return self._interval(at, lambda t: self.model.at_break(t, self.span), level)

    def tied_rss(self, charts: Sequence[Chart]) -> float:
        """Give the least residual sum of squares over curves that are tied to a place."""
        return min(solve_chart(one, self.x, self.y, quick=True).rss for one in charts)

    def _interval(
        self, estimate: float, charts_at: Callable[[float], Sequence[Chart]], level: float
    ) -> Interval:
        return profile_interval(
            lambda t: self.tied_rss(charts_at(t)),
            estimate=estimate,
            best=self.solved.rss,
            df=self.residual_df,
            doses=self.x,
            level=level,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DemandCurve:
    """All models fitted to a ladder.

    Attributes:
        fits: In the order of AICc, the best first.
        left_out: Models that were not fitted, and why.
    """

    fits: tuple[DemandFit, ...]
    left_out: Mapping[str, str] = field(default_factory=dict)

    @property
    def best(self) -> DemandFit:
        """The fit of the least AICc."""
        return self.fits[0]

    def of(self, name: str) -> DemandFit:
        """Give the fit of a model.

        Raises:
            FitError: It was not fitted.
        """
        for one in self.fits:
            if one.model.name == name:
                return one
        raise FitError(
            f"the model '{name}' was not fitted"
            + (f": {self.left_out[name]}" if name in self.left_out else ""),
            where="--curve",
            allowed=", ".join(one.model.name for one in self.fits),
        )


def fit_demand_curve(doses: FloatArray, viscosity: FloatArray) -> DemandCurve:
    """Fit every model that the doses can carry.

    Args:
        doses: Shape (n,), above 0, % active on pigment; equal doses are repeats.
        viscosity: Shape (n,), above 0, any unit.

    Raises:
        FitError: There are fewer than four different doses.
    """
    x, y = np.asarray(doses, dtype=np.float64), np.log(np.asarray(viscosity, dtype=np.float64))
    n_doses = len(np.unique(x))
    least = min(model.least_doses for model in MODELS)
    if n_doses < least:
        raise FitError(
            f"{n_doses} different doses have a viscosity",
            where="ladder.csv",
            allowed=f"at least {least} doses that can be measured",
            do="Measure more pots, or add doses to the ladder.",
        )
    span = Span(float(x.min()), float(x.max()))
    fits = [
        DemandFit(model=model, span=span, solved=solve_chart(model.fit(span), x, y), x=x, y=y)
        for model in MODELS
        if n_doses >= model.least_doses
    ]
    left_out = {
        model.name: f"it needs {model.least_doses} different doses, {n_doses} are there"
        for model in MODELS
        if n_doses < model.least_doses
    }
    # Where no AICc has a value (few readings), the scatter decides.
    fits.sort(key=lambda one: (one.aicc, one.residual_df <= 0, one.rmse))
    return DemandCurve(fits=tuple(fits), left_out=left_out)


def lowest_of(curve: Curve, span: Span) -> Lowest:
    """Find where a curve is lowest within a span.

    Args:
        curve: ln viscosity by doses, shape (n,) to (n,).
        span: Lowest and highest dose.
    """
    grid = np.geomspace(span.low, span.high, _LOOK)
    heights = curve(grid)
    i = int(np.argmin(heights))
    ends = grid[max(i - 1, 0)], grid[min(i + 1, len(grid) - 1)]
    near = minimize_scalar(
        lambda dose: float(curve(np.array([dose]))[0]),
        bounds=ends,
        method="bounded",
        options={"xatol": 1e-9 * span.high},
    )
    if near.fun < heights[i]:
        return Lowest(float(near.x), float(near.fun))
    return Lowest(float(grid[i]), float(heights[i]))


def lowest_dose_within(curve: Curve, span: Span, within_percent: float) -> float:
    """Find the lowest dose whose viscosity is within so many per cent of the minimum.

    Args:
        curve: ln viscosity by doses, shape (n,) to (n,).
        span: Lowest and highest dose.
        within_percent: Above 0, %.
    """
    lowest = lowest_of(curve, span)
    limit = lowest.value + float(np.log1p(within_percent / 100))
    grid = np.geomspace(span.low, lowest.dose, _LOOK)
    is_within = curve(grid) <= limit
    i = int(np.argmax(is_within)) if is_within.any() else len(grid) - 1
    if i == 0:
        return span.low
    return float(
        brentq(lambda dose: float(curve(np.array([dose]))[0]) - limit, grid[i - 1], grid[i])
    )
