"""The shape of a form: where the likelihood is highest, and how far it may be from there.

Given the shape all else is linear, so that the likelihood is profiled over the shape alone. What
the profile finds is brought to the last digits by steps on the linearised model; where rows lie in
strata these steps are at the variance ratios of REML, as the coefficients are.

Source:
    Golub and Pereyra (1973), SIAM J. Numer. Anal. 10, 413-432, for the profile; Bates and Watts
    (1988), Nonlinear Regression Analysis and Its Applications, sections 2.2 and 6.1, for the steps
    and the interval; Lindstrom and Bates (1990), Biometrics 46, 673-687, for the alternation with
    REML (all from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np
from scipy import optimize, stats

from analysis.fits.forms.rows import FormRows
from analysis.fits.least_squares import DependentColumnsError, solve_least_squares
from analysis.fits.reml import solve_mixed
from doe.model.bend import Bend
from doe.study.settings import FloatArray

Bounds = tuple[tuple[float, float], ...]
_Height = Callable[[FloatArray], float]

# Points along each parameter's logarithm, by number of parameters; peaks that are followed.
_GRID = {1: 61, 2: 13}
_COARSE_GRID = {1: 16, 2: 7}
_PEAKS = 2
_MOST_STEPS = 100
# Relative size of a step that ends the search; rounding leaves some 1e-14.
_STILL = 1e-11
_NEARLY = 1e-8
# Columns of the factor that add less than this part of their length to the others add nothing.
_DEPENDENT = 1e-10
# How near the top of a profile, in the logarithm, a climb must come: steps go on from there.
_NEAR_TOP = 1e-6
# So near an end of the search, in its logarithm, a shape lies at it.
_AT_END = 1e-3
# Points of a profile on each side, in which its last crossing is looked for.
_LOOK = 13


class NoShapeError(ValueError):
    """The readings tell no shape; the message is a phrase that says why."""


def search_bounds(bend: Bend, values: FloatArray) -> Bounds:
    """Give the lowest and highest shape that different settings, sorted, can tell."""
    return bend.kind.search(values)


def find_shape(rows: FormRows, bend: Bend, bounds: Bounds, ratios: FloatArray) -> tuple[Bend, Bend]:
    """Estimate the shape of a form.

    Args:
        rows: The rows.
        bend: The form; its shape is not looked at.
        bounds: Of each shape parameter, above 0.
        ratios: Variance ratios at which the search begins, one a random stratum.

    Returns:
        The form with its shape and with the weights of the coefficients there; and the form where
        the plain likelihood is highest, which in strata is near that of REML and else the same.

    Raises:
        NoShapeError: The shape lies at an end of the search, or has no single best value.
    """
    found = shape_at(rows, bend, bounds, ratios, size=_GRID[len(bounds)])
    if rows.strata.random:
        found = _climbed(likelihood_height(rows, bend), found, bounds, _GRID[len(bounds)])
    _refuse_ends(found, bounds, bend)
    top = bend.of_shape(found)
    settled = _settled(rows, top, bounds)
    return settled, top if rows.strata.random else settled


def shape_at(
    rows: FormRows, bend: Bend, bounds: Bounds, ratios: FloatArray, *, size: int = 0
) -> FloatArray:
    """Find the shape of the least residual sum of squares at given variance ratios.

    Args:
        rows: The rows.
        bend: The form.
        bounds: Of each shape parameter.
        ratios: Variance ratios.
        size: Points along each parameter that are looked at first; 0 for few.

    Raises:
        NoShapeError: The rows tell no shape at all.
    """
    height = least_squares_height(rows, bend, ratios)
    points = size or _COARSE_GRID[len(bounds)]
    near = [_climbed(height, at, bounds, points) for at in _peaks(height, bounds, points)]
    return max(near, key=height)


def likelihood_height(rows: FormRows, bend: Bend) -> _Height:
    """Give the highest plain log-likelihood as a function of the shape."""

    def height(shape: FloatArray) -> float:
        try:
            return rows.likelihood(bend.of_shape(shape)).log_likelihood
        except DependentColumnsError:
            return -np.inf

    return height


def least_squares_height(rows: FormRows, bend: Bend, ratios: FloatArray) -> _Height:
    """Give −n/2 ln RSS as a function of the shape, at given variance ratios."""
    weighed, n = rows.weighing(ratios), len(rows.y)
    fixed, times = rows.beside_factor(bend.factor)
    # What stands beside the factor is taken out once; the factor's own columns are u · times.
    Q, _ = np.linalg.qr(weighed(fixed))
    whole = weighed(rows.y)
    y = whole - Q @ (Q.T @ whole)
    values = rows.settings[:, rows.coding.index(bend.factor)]
    values = np.where(rows.planned & np.isfinite(values), values, bend.high)

    def height(shape: FloatArray) -> float:
        u = bend.of_shape(shape).at(values).value
        X = weighed(times * u[:, None])
        if not np.all(np.isfinite(X)):
            return -np.inf
        own = X - Q @ (Q.T @ X)
        P, R = np.linalg.qr(own)
        if np.min(np.abs(np.diag(R))) <= _DEPENDENT * float(np.max(np.linalg.norm(X, axis=0))):
            return -np.inf
        left = y - P @ (P.T @ y)
        rss = float(left @ left)
        return -n / 2 * float(np.log(rss)) if rss > 0.0 else np.inf

    return height


def shape_interval(
    rows: FormRows, bend: Bend, bounds: Bounds, place: int, *, level: float
) -> tuple[float | None, float | None]:
    """Find the profile interval of one shape parameter.

    By least squares RSS(s) ≤ RSS (1 + F(1, df) / df); in strata twice the fall of the plain
    log-likelihood is compared with χ² of one degree of freedom.

    Args:
        rows: The rows.
        bend: The form with its shape.
        bounds: Of the search; an end that lies beyond it is None.
        place: Which parameter.
        level: Confidence.
    """
    in_strata = bool(rows.strata.random)
    height = likelihood_height(rows, bend) if in_strata else _of_squares(rows, bend)
    best = np.array(bend.shape)
    df = len(rows.y) - rows.n_surface - rows.beside.shape[1] - len(best)
    if df < 1:
        return None, None
    n = len(rows.y)
    fall = (
        float(stats.chi2.ppf(level, 1)) / 2
        if in_strata
        else n / 2 * float(np.log1p(stats.f.ppf(level, 1, df) / df))
    )

    def profile(x: float) -> float:
        return _best_beside(height, best, bounds, place, x)

    # The shape in strata is that of REML: its plain likelihood may be a little below the top.
    floor = max(height(best), profile(float(best[place]))) - fall
    low, high = bounds[place]
    return (
        _crossing(profile, float(best[place]), low, floor),
        _crossing(profile, float(best[place]), high, floor),
    )


def _of_squares(rows: FormRows, bend: Bend) -> _Height:
    return least_squares_height(rows, bend, np.zeros(0))


def _best_beside(height: _Height, best: FloatArray, bounds: Bounds, place: int, x: float) -> float:
    """Give the highest likelihood with one parameter held, the other (if any) at its best."""
    held = best.copy()
    held[place] = x
    if len(best) == 1:
        return height(held)
    other = 1 - place

    def along(u: float) -> float:
        held[other] = np.exp(u)
        return -height(held)

    low, high = bounds[other]
    grid = np.linspace(np.log(low), np.log(high), _COARSE_GRID[2])
    at = int(np.argmin([along(u) for u in grid]))
    ends = grid[max(at - 1, 0)], grid[min(at + 1, len(grid) - 1)]
    found = optimize.minimize_scalar(along, bounds=ends, method="bounded")
    return -float(found.fun)


def _crossing(
    profile: Callable[[float], float], best: float, end: float, floor: float
) -> float | None:
    """Walk from the best to an end, to where the profile last crosses the floor."""
    places = np.geomspace(best, end, _LOOK)
    possible = [i for i, x in enumerate(places) if i == 0 or profile(float(x)) >= floor]
    last = possible[-1]
    if last == len(places) - 1:
        return None
    inside, outside = np.log(places[last]), np.log(places[last + 1])
    if profile(float(places[last])) <= floor:
        return float(places[last])
    root = optimize.brentq(
        lambda u: max(profile(float(np.exp(u))) - floor, -1e6), inside, outside, xtol=1e-8
    )
    return float(np.exp(root))


def _peaks(height: _Height, bounds: Bounds, size: int) -> list[FloatArray]:
    """Give the highest points of a grid that no neighbour tops, best first."""
    axes = [np.geomspace(low, high, size) for low, high in bounds]
    heights = np.full((size,) * len(bounds), -np.inf)
    for at in product(range(size), repeat=len(bounds)):
        heights[at] = height(np.array([axis[i] for axis, i in zip(axes, at, strict=True)]))
    padded = np.pad(heights, 1, constant_values=-np.inf)
    is_peak = np.isfinite(heights)
    for offset in product((0, 1, 2), repeat=len(bounds)):
        is_peak &= heights >= padded[tuple(slice(d, d + size) for d in offset)]
    places = sorted(np.argwhere(is_peak).tolist(), key=lambda at: -heights[tuple(at)])
    if not places:
        raise NoShapeError("the runs cannot tell its terms apart")
    return [np.array([axis[i] for axis, i in zip(axes, at, strict=True)]) for at in places[:_PEAKS]]


def _climbed(height: _Height, start: FloatArray, bounds: Bounds, size: int) -> FloatArray:
    """Climb from a point of the grid, on the logarithms."""
    logs = np.log(np.array(bounds))

    def fall(u: FloatArray) -> float:
        value = -height(np.exp(np.clip(u, logs[:, 0], logs[:, 1])))
        return value if np.isfinite(value) else 1e300

    step = (logs[:, 1] - logs[:, 0]) / (size - 1)
    at = np.log(start)
    if len(bounds) == 1:
        ends = max(at[0] - step[0], logs[0, 0]), min(at[0] + step[0], logs[0, 1])
        found = optimize.minimize_scalar(
            lambda u: fall(np.array([u])),
            bounds=ends,
            method="bounded",
            options={"xatol": _NEAR_TOP},
        )
        return np.exp(np.array([found.x], dtype=np.float64))
    corners = np.vstack([at, at + np.diag(np.where(at + step > logs[:, 1], -step, step))])
    end = optimize.minimize(
        fall, at, method="Nelder-Mead",
        options={"initial_simplex": corners, "xatol": _NEAR_TOP, "fatol": 1e-9, "maxiter": 600},
    )  # fmt: skip
    return np.exp(np.clip(np.asarray(end.x, dtype=np.float64), logs[:, 0], logs[:, 1]))


def _refuse_ends(shape: FloatArray, bounds: Bounds, bend: Bend) -> None:
    for value, (low, high), name in zip(shape, bounds, bend.kind.parameters, strict=True):
        room = np.log(high / low)
        if np.log(value / low) <= _AT_END * room:
            raise NoShapeError(f"the {name} is lower than these settings can tell")
        if np.log(high / value) <= _AT_END * room:
            raise NoShapeError(f"the {name} is higher than these settings can tell")


def _settled(rows: FormRows, bend: Bend, bounds: Bounds) -> Bend:
    """Step on along the linearised model until nothing moves."""
    held, p, s = rows.bent_columns(bend.factor), rows.n_surface, len(bend.shape)
    shape = np.array(bend.shape)
    low, high = np.array(bounds).T
    b, last = _coefficients(rows, rows.matrix(bend)), np.inf
    for _ in range(_MOST_STEPS):
        known = bend.of_shape(shape, b[held])
        moved = _coefficients(rows, rows.matrix(known))
        step, drift = moved[p : p + s], moved[:p] - b[:p]
        b = moved[:p]
        size = float(np.max(np.abs(step) / shape))
        size = max(size, float(np.linalg.norm(drift) / np.linalg.norm(b)))
        if size < _STILL or (size < _NEARLY and size >= last):
            return bend.of_shape(shape, b[held])
        if not np.isfinite(size) or np.any(shape + step <= low) or np.any(shape + step >= high):
            break
        shape, last = shape + step, size
    raise NoShapeError("no single shape fits best, as where a break falls on a setting")


def _coefficients(rows: FormRows, X: FloatArray) -> FloatArray:
    """Give the coefficients of columns, at the variance ratios of REML in strata."""
    try:
        if not rows.strata.random:
            return solve_least_squares(X, rows.y).coefficients
        return solve_mixed(X, rows.y, rows.strata).solved.coefficients
    except DependentColumnsError as error:
        raise NoShapeError("the runs cannot tell its shape from its terms") from error
