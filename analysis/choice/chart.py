"""Charts: one convex piece of the region, in coordinates that move freely inside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import null_space
from scipy.optimize import linprog

from analysis.surface.noise import Production
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis, level_range
from doe.model.region import Piece, Region
from doe.study.settings import BoolArray, FloatArray, frozen_array

# A limit overstepped by less, in half ranges, is kept: settings are sums of rounded numbers.
TOUCH = 1e-9
# A piece thinner than this, in half ranges, is flat: the linear programmes are exact to 1e-7.
NO_ROOM = 1e-6
# Ends of ranges come back through coding; brief numbers have fewer digits than these.
DIGITS = 10
# A limit this near, in half ranges, is taken as the one the search ran into.
AT_LIMIT = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chart:
    """A convex piece without its equalities: settings = origin + span z, G z ≤ h.

    Attributes:
        origin: Shape (k,), lab units, a point well inside; NaN for what the piece lacks.
        span: Shape (k, d); 0 in rows of what the piece holds. Columns are scaled so that a step
            of 1 in z is about half a range.
        G: Shape (m, d).
        h: Shape (m,), positive: z = 0 lies inside.
        free: Shape (f,), columns of the settings that move.
        half: Shape (k,), half range of each numeric setting on its own scale, 1 for a share.
        centre: Shape (k,), middle of each numeric setting on its own scale, 0 for a share.
        log_spaced: Shape (k,), which settings are coded by their logarithm.
        is_share: Shape (k,).
    """

    origin: FloatArray
    span: FloatArray
    G: FloatArray
    h: FloatArray
    free: tuple[int, ...]
    half: FloatArray
    centre: FloatArray
    log_spaced: BoolArray
    is_share: BoolArray

    def __post_init__(self) -> None:
        for name in ("origin", "span", "G", "h", "half", "centre"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def dimension(self) -> int:
        """How many settings move independently."""
        return int(self.span.shape[1])

    def settings(self, z: FloatArray) -> FloatArray:
        """Turn coordinates, shape (n, d), into settings, shape (n, k), lab units."""
        values: FloatArray = self.origin + z @ self.span.T
        return values

    def coordinates(self, values: FloatArray) -> FloatArray:
        """Turn settings, shape (n, k), into coordinates, shape (n, d): the nearest there are."""
        free = list(self.free)
        offsets = values[:, free] - self.origin[free]
        z: FloatArray = offsets @ np.linalg.pinv(self.span[free]).T
        return z

    def contains(self, z: FloatArray) -> BoolArray:
        """Tell which coordinates, shape (n, d), keep every limit."""
        inside: BoolArray = np.all(z @ self.G.T <= self.h + TOUCH, axis=1)
        return inside

    def fits(self, values: FloatArray) -> BoolArray:
        """Tell which settings, shape (n, k), are in this piece."""
        z = self.coordinates(values)
        off = np.abs(np.nan_to_num(values - self.settings(z)))
        same = np.isnan(values) == np.isnan(self.origin)
        scale = np.maximum(1.0, np.abs(np.nan_to_num(self.origin)))
        fits: BoolArray = self.contains(z) & np.all((off <= TOUCH * scale) & same, axis=1)
        return fits

    def lab_range(self, j: int) -> tuple[float, float]:
        """Give the range of a numeric setting in this piece, lab units, limits not counted."""
        ends = self.centre[j] - self.half[j], self.centre[j] + self.half[j]
        low, high = np.exp(ends) if self.log_spaced[j] else ends
        return round(float(low), DIGITS), round(float(high), DIGITS)

    def extent(self, columns: Sequence[int]) -> tuple[FloatArray, FloatArray]:
        """Find the lowest and highest of some settings over the chart, lab units, (c,) each."""
        ends = np.array([[self._end(j, sign) for j in columns] for sign in (1.0, -1.0)])
        return ends[0], ends[1]

    def _end(self, j: int, sign: float) -> float:
        result = linprog(
            sign * self.span[j],
            A_ub=self.G,
            b_ub=self.h,
            bounds=[(None, None)] * self.dimension,
            method="highs",
        )
        return float(self.origin[j] + self.span[j] @ result.x)

    def middle(self, z: FloatArray) -> FloatArray:
        """Give coordinates (d,) nearest to the middle of every range; for shares, those at z."""
        onto = np.where(self.log_spaced, np.exp(np.minimum(self.centre, 700.0)), self.centre)
        here = self.settings(z[None, :])[0]
        settings = np.where(self.is_share, here, onto)
        middle: FloatArray = self.coordinates(settings[None, :])[0]
        return middle

    def pulled_in(self, z: FloatArray) -> FloatArray:
        """Bring coordinates, shape (d,), that overstep by rounding back onto the limits.

        Limits nearly met are met exactly; what still oversteps is drawn towards the inside.
        """
        slack = self.h - self.G @ z
        tight = slack < AT_LIMIT
        if tight.any():
            step, *_ = np.linalg.lstsq(self.G[tight], slack[tight], rcond=None)
            if np.abs(step).max(initial=0.0) < 10 * AT_LIMIT:
                z = z + step
        return self.drawn_in(z)

    def drawn_in(self, z: FloatArray) -> FloatArray:
        """Draw coordinates, shape (d,), towards the middle until every limit holds."""
        with np.errstate(divide="ignore", invalid="ignore"):
            reach = np.where(self.G @ z > self.h, self.h / (self.G @ z), 1.0)
        return z * min(1.0, float(reach.min(initial=1.0)))


def charts_of(region: Region, production: Production) -> tuple[Chart, ...]:
    """Make a chart of every piece of a region; noise factors stay at their production mean.

    Args:
        region: The settings that the brief allows.
        production: Where the noise factors lie.

    Returns:
        One chart a piece, pieces that differ in noise only once; a piece that limits with noise
        factors empty at their mean is left out.
    """
    charts: list[Chart] = []
    seen: set[bytes] = set()
    for piece in region.pieces:
        chart = _chart(region.coding, piece, production)
        if chart is None:
            continue
        mark = np.concatenate([chart.origin, chart.G.ravel(), chart.h]).round(9).tobytes()
        if mark not in seen:
            seen.add(mark)
            charts.append(chart)
    return tuple(charts)


def number_of_chart(charts: Sequence[Chart], settings: FloatArray) -> int | None:
    """Find the first chart that a recipe, shape (k,), lab units, lies in; None where none does."""
    return next((i for i, chart in enumerate(charts) if chart.fits(settings[None, :])[0]), None)


def held_chart(chart: Chart, columns: tuple[int, ...], values: FloatArray) -> Chart | None:
    """Hold some settings of a chart at values, shape (c,); None where that leaves its limits."""
    rows = chart.span[list(columns)]
    solved = _without_equalities(chart.G, chart.h, rows, values - chart.origin[list(columns)])
    if solved is None:
        return None
    z, N, G, h = solved
    origin = chart.settings(z[None, :])[0]
    origin[list(columns)] = values
    free = tuple(j for j in chart.free if j not in columns)
    return replace(chart, origin=origin, span=chart.span @ N, G=G, h=h, free=free)


def _chart(coding: Coding, piece: Piece, production: Production) -> Chart | None:
    base = np.zeros(len(coding.axes))
    for j, value in piece.fixed.items():
        base[j] = value
    for j, mean in zip(production.columns, production.means, strict=True):
        lacking = np.isnan(base[j])
        base[j] = base[j] if np.isnan(mean) or lacking else mean
    free = [j for j in piece.free if j not in production.columns]
    half, centre, log_spaced, lab_half = _ranges(coding, base)
    # Limits in half ranges from the base: A (base + lab_half u) <= b, scaled to unit rows.
    A = piece.A[:, free] * lab_half[free]
    b = piece.b - piece.A @ np.nan_to_num(base)
    norms = np.linalg.norm(A, axis=1)
    moves = norms > 0.0
    A, b = A[moves] / norms[moves, None], b[moves] / norms[moves]
    is_share = np.array([isinstance(axis, ShareAxis) for axis in coding.axes])
    C, e = np.zeros((0, len(free))), np.zeros(0)
    if piece.total:
        C, e = (is_share * lab_half)[None, free], np.ones(1)
    solved = _without_equalities(A, b, C, e)
    if solved is None:
        return None
    u, N, G, h = solved
    origin, span = base.copy(), np.zeros((len(base), N.shape[1]))
    origin[free] = lab_half[free] * u
    span[free] = lab_half[free, None] * N
    return Chart(
        origin=origin,
        span=span,
        G=G,
        h=h,
        free=tuple(free),
        half=half,
        centre=centre,
        log_spaced=log_spaced,
        is_share=is_share,
    )


def _ranges(
    coding: Coding, base: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray, FloatArray]:
    """Half range and middle on the coding's scale, which scale is logarithmic, lab half range."""
    k = len(coding.axes)
    half, centre, lab_half = np.ones(k), np.zeros(k), np.ones(k)
    log_spaced = np.zeros(k, dtype=np.bool_)
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ShareAxis):
            lab_half[j] = (axis.high - axis.low) / 2.0 or 1.0
        if isinstance(axis, NumericAxis):
            low, high = _own_range(coding, axis, base)
            log_spaced[j] = axis.spacing == "log"
            ends = np.log([low, high]) if log_spaced[j] else np.array([low, high])
            half[j] = (ends[1] - ends[0]) / 2.0 or 1.0
            centre[j] = (ends[1] + ends[0]) / 2.0
            lab_half[j] = (high - low) / 2.0 or 1.0
    return half, centre, log_spaced, lab_half


def _own_range(coding: Coding, axis: NumericAxis, base: FloatArray) -> tuple[float, float]:
    if not axis.ranges:
        return axis.low, axis.high
    choice = coding.axes[coding.index(axis.ranges[0].choice)]
    assert isinstance(choice, ChoiceAxis)
    level = choice.levels[int(base[coding.index(choice.name)])]
    return level_range(axis, level) or (axis.low, axis.high)


def _without_equalities(
    A: FloatArray, b: FloatArray, C: FloatArray, e: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray] | None:
    """Turn {A u ≤ b, C u = e} into u = u0 + N z, G z ≤ h with z = 0 strictly inside.

    Returns:
        u0 (f,), N (f, d), G (m, d), h (m,); None where the set is empty.
    """
    if A.shape[1] == 0:
        u = np.zeros(0)
        kept = bool(np.all(b >= -TOUCH))
        return (u, np.zeros((0, 0)), np.zeros((0, 0)), np.zeros(0)) if kept else None
    for _ in range(A.shape[1] + 1):
        centre = _chebyshev(A, b, C, e)
        if centre is None:
            return None
        u, radius = centre
        if radius > NO_ROOM or len(A) == 0:
            break
        # Some limits leave no room anywhere (low = high): they are equalities.
        stuck = _always_tight(A, b, C, e)
        if not stuck.any():
            return None
        C, e = np.vstack([C, A[stuck]]), np.concatenate([e, b[stuck]])
        A, b = A[~stuck], b[~stuck]
    N = null_space(C) if len(C) else np.eye(A.shape[1])
    G, h = A @ N, b - A @ u
    moves = np.linalg.norm(G, axis=1) > TOUCH
    return u, N, G[moves], np.maximum(h[moves], 0.0)


def _chebyshev(
    A: FloatArray, b: FloatArray, C: FloatArray, e: FloatArray
) -> tuple[FloatArray, float] | None:
    """Find the centre of the largest ball that keeps every limit; None where there is no point."""
    f = A.shape[1]
    N = null_space(C) if len(C) else np.eye(f)
    reach = np.linalg.norm(A @ N, axis=1)
    result = linprog(
        np.concatenate([np.zeros(f), [-1.0]]),
        A_ub=np.hstack([A, reach[:, None]]) if len(A) else None,
        b_ub=b if len(A) else None,
        A_eq=np.hstack([C, np.zeros((len(C), 1))]) if len(C) else None,
        b_eq=e if len(C) else None,
        bounds=[(None, None)] * f + [(0.0, 1.0)],
        method="highs",
    )
    if result.x is None:
        return None
    return np.asarray(result.x[:-1], dtype=np.float64), float(result.x[-1])


def _always_tight(A: FloatArray, b: FloatArray, C: FloatArray, e: FloatArray) -> BoolArray:
    """Mark the limits that no point of the set keeps with slack."""
    m, f = A.shape
    result = linprog(
        np.concatenate([np.zeros(f), -np.ones(m)]),
        A_ub=np.hstack([A, np.eye(m)]),
        b_ub=b,
        A_eq=np.hstack([C, np.zeros((len(C), m))]) if len(C) else None,
        b_eq=e if len(C) else None,
        bounds=[(None, None)] * f + [(0.0, 1.0)] * m,
        method="highs",
    )
    if result.x is None:
        return np.ones(m, dtype=np.bool_)
    tight: BoolArray = np.asarray(result.x[f:]) < NO_ROOM
    return tight
