"""Where the stationary point may lie: every place whose slopes may all be zero.

Source:
    Box and Hunter (1954), A confidence region for the solution of a set of simultaneous equations
    with an application to experimental design, Biometrika 41, 190-199 [memory]: with slopes
    d(x) = L(x)β, the set {x: d' Var(d)⁻¹ d ≤ m F(m, df)} is exact for the least-squares fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats
from scipy.optimize import minimize
from scipy.stats import qmc

from analysis.fits.kenward_roger import contrast_test
from analysis.surface.second_order import SecondOrder
from doe.study.settings import BoolArray, FloatArray, IntArray, frozen_array

# How far the set is looked for, in half ranges from the middle: beyond it nothing was tried.
FARTHEST = 2.0
# Places that the search for the ends starts from: 2^10, a net without chance in it.
NET_POWER = 10
# Places so far apart, coded, that the statistic is lowered from: the set may lie in pieces.
DESCENTS, APART = 12, 0.6
# 2¹⁵ places beside the net, which a piece between its places must escape, too.
STREWN = 15
STARTS, ROUNDS = 2, 2
# Places looked at on the way back from a climb that left the set.
WAY = 41
PATIENCE = {"maxiter": 50, "ftol": 1e-9}
# Directions of variance below this part of the largest carry no slope at all.
NO_VARIANCE = 1e-10
# A set that ends nearer than this to the end of the search, coded, is taken to go on.
AT_END = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StationaryRegion:
    """Where a surface may have no slope, at a confidence.

    Attributes:
        names: The m factors.
        level: Confidence, 0..1.
        limit: Largest d'Var(d)⁻¹d of the set, m F.
        df: Degrees of freedom below.
        low: Shape (m,), least setting of each factor in the set, lab units; NaN where it is empty.
        high: Shape (m,), largest setting.
        low_coded: Shape (m,), coded.
        high_coded: Shape (m,), coded.
        goes_on: Shape (m, 2), 1.0 where the set goes on beyond what was looked at.
        leaves: Whether some of it lies outside the ranges tried.
        part: Part of the ranges tried that it takes up, 0..1.
    """

    names: tuple[str, ...]
    level: float
    limit: float
    df: float
    low: FloatArray
    high: FloatArray
    low_coded: FloatArray
    high_coded: FloatArray
    goes_on: FloatArray
    leaves: bool
    part: float

    def __post_init__(self) -> None:
        for name in ("low", "high", "low_coded", "high_coded", "goes_on"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def is_empty(self) -> bool:
        """Whether there is no such place within what was looked at."""
        return bool(np.all(np.isnan(self.low_coded)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SlopeTest:
    """Tests at any place that all slopes are zero.

    Attributes:
        form: The surface.
        limit: Largest statistic that does not tell them from zero.
        df: Degrees of freedom below.
    """

    form: SecondOrder
    limit: float
    df: float

    def statistic(self, u: FloatArray) -> FloatArray:
        """Give d'Var(d)⁻¹d at places, shape (n, m), coded: shape (n,)."""
        form = self.form
        # Products of whole matrices: sums over all indices at once take ten times as long.
        L = form.slopes + 2.0 * np.tensordot(u, form.bends, axes=(1, 1))
        d = L @ form.fit.coefficients
        V = L @ form.fit.covariance @ L.transpose(0, 2, 1)
        values, vectors = np.linalg.eigh(V)
        # A slope that no coefficient moves is no slope: its directions are left out.
        kept = values > NO_VARIANCE * np.maximum(values[:, -1:], 1e-300)
        turned = np.einsum("nij,ni->nj", vectors, d)
        found: FloatArray = np.sum(
            np.where(kept, turned**2 / np.where(kept, values, 1.0), 0.0), axis=1
        )
        return found

    def holds(self, u: FloatArray) -> BoolArray:
        """Tell which places, shape (n, m), coded, belong to the set."""
        inside: BoolArray = self.statistic(u) <= self.limit
        return inside

    def at(self, u: FloatArray) -> tuple[float, FloatArray]:
        """Give the statistic at one place, shape (m,), and its slopes there, shape (m,)."""
        form = self.form
        m = len(form.columns)
        beta, V = form.fit.coefficients, form.fit.covariance
        L = form.slopes + 2.0 * (u @ form.bends.reshape(m, -1)).reshape(m, -1)
        d, LV = L @ beta, L @ V
        w = np.linalg.pinv(LV @ L.T, rcond=NO_VARIANCE, hermitian=True) @ d
        # d(d'V⁻¹d)/du_j = 2 w' ∂d/∂u_j − w' ∂V/∂u_j w, with w = V⁻¹d and ∂L/∂u_j = 2 H_j.
        turned = 2.0 * (w @ form.bends.reshape(m, -1)).reshape(m, -1)
        slope: FloatArray = 2.0 * turned @ (beta - LV.T @ w)
        return float(d @ w), slope


def slope_test(form: SecondOrder, at: FloatArray, *, level: float = 0.95) -> SlopeTest | None:
    """Make ready the test of zero slopes; None where there is no error to test against.

    Args:
        form: The surface.
        at: Shape (m,), coded: where factor and degrees of freedom by Kenward and Roger are taken,
            which differ little from place to place.
        level: Confidence of the set, 0..1.
    """
    fit, m = form.fit, len(form.columns)
    if m == 0 or form.is_plane or not np.all(np.isfinite(fit.covariance)):
        return None
    scale, df = 1.0, float(np.min(fit.coefficient_df))
    if fit.adjustment is not None:
        L = form.gradient_rows(at)
        # The factor and the degrees of freedom hang on L alone, so any β with Lβ not 0 tells them.
        any_b = L.sum(axis=0)
        e = L @ any_b
        wald = float(e @ np.linalg.solve(L @ fit.covariance @ L.T, e)) / m
        test = contrast_test(fit.adjustment, fit.covariance, any_b, L)
        scale, df = test.f / wald, test.den_df
    if not df > 0.0 or not scale > 0.0:
        return None
    quantile = stats.f.ppf(level, m, df) if np.isfinite(df) else stats.chi2.ppf(level, m) / m
    return SlopeTest(form=form, limit=m * float(quantile) / scale, df=df)


def stationary_region(
    form: SecondOrder, at: FloatArray, *, level: float = 0.95
) -> StationaryRegion | None:
    """Find how far the set of possible stationary points goes along each factor.

    Args:
        form: The surface.
        at: Shape (m,), coded, the stationary point itself; NaN where there is none.
        level: Confidence, 0..1.

    Returns:
        Its ends within twice the ranges, to a twentieth of a half range where it is bent: the set
        may lie in several pieces, and a sliver of one may be missed. None where the runs leave no
        error to test against, or the surface has no bends.
    """
    known = at if np.all(np.isfinite(at)) and np.abs(at).max() <= FARTHEST else None
    test = slope_test(form, np.zeros(len(form.columns)) if known is None else known, level=level)
    if test is None:
        return None
    net = _net(len(form.columns))
    statistic = test.statistic(net)
    held = statistic <= test.limit
    tried = np.all(np.abs(net) <= 1.0, axis=1)
    part = float(np.mean(held[tried])) if tried.any() else float("nan")
    strewn = FARTHEST * (
        2.0 * qmc.Sobol(len(form.columns), scramble=False).random_base2(STREWN) - 1.0
    )
    strewn = strewn[test.holds(strewn)]
    places = np.vstack([net[held], strewn, *_lowered(test, net, statistic)])
    if known is not None:
        places = np.vstack([places, known, _round_estimate(test, known)])
    low, high = _ends(test, places)
    goes_on = np.column_stack([low <= AT_END - FARTHEST, high >= FARTHEST - AT_END])
    return StationaryRegion(
        names=form.names, level=level, limit=test.limit, df=test.df,
        low=_lab(form, low), high=_lab(form, high), low_coded=low, high_coded=high,
        goes_on=goes_on.astype(np.float64),
        leaves=bool(np.any(low < -1.0) or np.any(high > 1.0)), part=part,
    )  # fmt: skip


def _ends(test: SlopeTest, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Climb from the outermost known places to the ends of the set along each factor.

    The set bends, so that the end along one factor is a good start for the next: twice round.
    """
    m = len(test.form.columns)
    if not len(places):
        return np.full(m, np.nan), np.full(m, np.nan)
    for _ in range(ROUNDS):
        reached = []
        for j in range(m):
            for sign in (1.0, -1.0):
                order = np.argsort(sign * places[:, j], kind="stable")
                reached += [
                    _climbed(test, start, j, sign) for start in _apart(places, order, STARTS)
                ]
        places = np.vstack([places, *reached])
    return places.min(axis=0), places.max(axis=0)


def _lowered(test: SlopeTest, net: FloatArray, statistic: FloatArray) -> list[FloatArray]:
    """Go down from the lowest places of the net, each far from the others, into every piece."""
    found: list[FloatArray] = []
    for start in _apart(net, np.argsort(statistic, kind="stable"), DESCENTS):
        problem: Any = {
            "fun": test.at,
            "x0": start,
            "jac": True,
            "method": "L-BFGS-B",
            "bounds": [(-FARTHEST, FARTHEST)] * len(start),
            "options": {"maxiter": 30},
        }
        low = np.asarray(minimize(**problem).x, dtype=np.float64)
        if test.at(low)[0] <= test.limit:
            found.append(low[None, :])
    return found


def _apart(places: FloatArray, order: IntArray, most: int) -> list[FloatArray]:
    """Take the first places of an order that lie far from all those taken before."""
    taken: list[FloatArray] = []
    while len(order) and len(taken) < most:
        taken.append(places[order[0]])
        order = order[np.linalg.norm(places[order] - taken[-1], axis=1) > APART]
    return taken


def _round_estimate(test: SlopeTest, known: FloatArray) -> FloatArray:
    """Go from the estimate to the edge of the set, along each factor and as the set leans.

    Near the estimate the statistic is u'Mu with M = 2B V⁻¹ 2B; its ends along a factor lie in the
    directions M⁻¹e.
    """
    form = test.form
    L = form.gradient_rows(known)
    bend = np.linalg.pinv(2.0 * form.curvature)
    leaning = bend @ (L @ form.fit.covariance @ L.T) @ bend
    ways = np.vstack([np.eye(len(known)), leaning.T])
    # An exact fit has no error to lean by.
    ways = ways[np.isfinite(ways).all(axis=1) & ways.any(axis=1)]
    ways = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    ends = []
    for way in np.vstack([ways, -ways]):
        # As far as the search goes; halved until the set is left between two places.
        room = np.where(way > 0.0, FARTHEST - known, -FARTHEST - known)
        with np.errstate(divide="ignore", invalid="ignore"):
            longest = float(np.nanmin(np.where(way == 0.0, np.inf, room / way)))
        steps = longest * np.linspace(0.0, 1.0, 33)
        outside = np.flatnonzero(~test.holds(known + np.outer(steps, way)))
        kept, lost = (steps[-1], None) if not len(outside) else (
            steps[max(outside[0] - 1, 0)], steps[outside[0]]
        )  # fmt: skip
        for _ in range(30 if lost is not None else 0):
            middle = (kept + lost) / 2.0
            inside = test.at(known + middle * way)[0] <= test.limit
            kept, lost = (middle, lost) if inside else (kept, middle)
        ends.append(known + kept * way)
    return np.array(ends)


def _climbed(test: SlopeTest, start: FloatArray, j: int, sign: float) -> FloatArray:
    """Go as far as the set holds along −sign of factor j; a climb that fails ends on its way."""
    along = np.zeros(len(start))
    along[j] = sign
    held: Any = {
        "type": "ineq",
        "fun": lambda u: 1.0 - test.at(u)[0] / test.limit,
        "jac": lambda u: -test.at(u)[1] / test.limit,
    }
    problem: Any = {
        "fun": lambda u: float(along @ u),
        "x0": start,
        "jac": lambda _: along,
        "method": "SLSQP",
        "bounds": [(-FARTHEST, FARTHEST)] * len(start),
        "constraints": held,
        "options": PATIENCE,
    }
    found = minimize(**problem)
    end = np.clip(np.asarray(found.x, dtype=np.float64), -FARTHEST, FARTHEST)
    way = start + np.linspace(1.0, 0.0, WAY)[:, None] * (end - start)
    inside = test.statistic(way) <= test.limit * (1.0 + 1e-6)
    inside[-1] = True
    last: FloatArray = way[int(np.argmax(inside))]
    return last


def _net(m: int) -> FloatArray:
    """Lay 2¹⁰ places evenly over twice the ranges and as many over the ranges, shape (n, m)."""
    net = 2.0 * qmc.Sobol(m, scramble=False).random_base2(NET_POWER) - 1.0
    both: FloatArray = np.vstack([net, FARTHEST * net])
    return both


def _lab(form: SecondOrder, u: FloatArray) -> FloatArray:
    if np.any(np.isnan(u)):
        return np.full(len(u), np.nan)
    settings: FloatArray = form.settings(u[None, :])[0][list(form.columns)]
    return settings
