"""The steepest way up and down from the middle: freely, and inside the region.

Source:
    Box and Wilson (1951), J. R. Stat. Soc. B 13, 1-45 [memory]: along the slopes in coded units.
    Inside the region each step goes as far up as its length and the bounds allow, which on a plane
    is the projected slope.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize

from analysis.surface.lines import TOUCH
from analysis.surface.ridge_path import SurfacePath, Towards, path_of
from analysis.surface.second_order import SecondOrder
from doe.model.bench_steps import neighbours_on_steps
from doe.model.region import Piece, Region
from doe.study.settings import BoolArray, FloatArray

# Length of a step, coded; steps at most, enough to cross the ranges of six factors.
STEP, STEPS = 0.25, 20
# A step that gains less than this part of what a free one would has arrived.
ARRIVED = 1e-3
# Steps of the free line go so far beyond the ranges, coded, where new runs would be laid.
LINE_TO = 3.0
PATIENCE = {"maxiter": 60, "ftol": 1e-12}


def steepest_line(
    form: SecondOrder,
    region: Region,
    towards: Towards,
    *,
    distances: FloatArray | None = None,
    held: tuple[int, ...] = (),
    level: float = 0.95,
) -> SurfacePath:
    """Go straight along the slopes in the middle of the ranges, and on beyond them.

    Args:
        form: The surface over the factors that move.
        region: To tell which places the brief allows.
        towards: Up or down.
        distances: Coded, rising; by default every half up to `LINE_TO`.
        held: Columns of noise factors.
        level: Confidence of the intervals, 0..1.

    Returns:
        The way; it stays in the middle where there is no slope. Beyond the ranges its values are
        guesses, and only runs tell.
    """
    reach = np.arange(0.0, LINE_TO + 0.25, 0.5) if distances is None else distances
    size = float(np.linalg.norm(form.middle_slopes))
    sign = 1.0 if towards == "highest" else -1.0
    direction = sign * form.middle_slopes / size if size > 0.0 else np.zeros(len(form.columns))
    return path_of(form, region, towards, reach, np.outer(reach, direction), held=held, level=level)


def steepest_path(
    form: SecondOrder,
    region: Region,
    start: FloatArray,
    towards: Towards,
    *,
    held: tuple[int, ...] = (),
    level: float = 0.95,
) -> SurfacePath | None:
    """Climb or descend step by step inside the region, along its bounds where it meets them.

    Args:
        form: The surface over the factors that move.
        region: Its region; ranges, limits and forbids hold at every place.
        start: Shape (k,), lab units, inside the region.
        towards: Up or down.
        held: Columns of noise factors, whose bounds do not count.
        level: Confidence of the intervals, 0..1.

    Returns:
        The way until no step gains, `STEPS` at most; None where the start is not inside. Places
        lie on the bench's steps where one of them next to the way is allowed. A factor that has
        only some levels stays at that of the start.
    """
    bounds = [
        _Bounds.of(piece, region, form, start) for piece in _pieces_of(region, start, form, held)
    ]
    u = form.coded(start[None, :])[0]
    if not any(bound.hold(u) for bound in bounds):
        return None
    sign = 1.0 if towards == "highest" else -1.0
    moves = np.array([float(j not in _on_levels(form)) for j in form.columns])
    b, B = sign * form.middle_slopes, sign * form.curvature
    way, gone = [u], [0.0]
    for _ in range(STEPS):
        slope = moves * (b + 2.0 * B @ u)
        step = _best_step(bounds, u, slope)
        if slope @ step <= ARRIVED * STEP * float(np.linalg.norm(b) + 1e-300):
            break
        # The best place on the step: a bend may end the climb before the step does.
        bend = float(step @ B @ step)
        part = 1.0 if bend >= 0.0 else min(1.0, float(slope @ step) / (-2.0 * bend))
        u = u + part * step
        way.append(u)
        gone.append(gone[-1] + part * float(np.linalg.norm(step)))
    coded = _on_steps(np.array(way), form, region)
    return path_of(form, region, towards, np.array(gone), coded, held=held, level=level)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Bounds:
    """Bounds of one piece on the factors that move: A x(u) ≤ b, each in parts of the ranges."""

    A: FloatArray
    b: FloatArray
    middle: FloatArray
    half: FloatArray
    logs: BoolArray

    @classmethod
    def of(cls, piece: Piece, region: Region, form: SecondOrder, start: FloatArray) -> _Bounds:
        """Take the bounds of a piece that move with the factors, all else as at the start."""
        columns = list(form.columns)
        m = len(columns)
        A = piece.A[:, columns]
        size = np.abs(A) @ region.spans[columns]
        binds = size > 0.0
        others = np.nan_to_num(start).copy()
        others[columns] = 0.0
        ends = form.settings(np.stack([np.zeros(m), np.ones(m)]))[:, columns]
        logs = np.array([axis.spacing == "log" for axis in form.axes])
        scaled = np.where(logs, np.log(np.where(logs, ends, 1.0)), ends)
        return cls(
            A=A[binds] / size[binds, None], b=(piece.b - piece.A @ others)[binds] / size[binds],
            middle=scaled[0], half=scaled[1] - scaled[0], logs=logs,
        )  # fmt: skip

    def slack(self, u: FloatArray) -> FloatArray:
        """Give what each bound leaves at a place."""
        slack: FloatArray = self.b - self.A @ self._lab(u)
        return slack

    def slope(self, u: FloatArray) -> FloatArray:
        """Give the slopes of what they leave, shape (bounds, m)."""
        slope: FloatArray = -self.A * (np.where(self.logs, self._lab(u), 1.0) * self.half)
        return slope

    def hold(self, u: FloatArray, touch: float = TOUCH) -> bool:
        """Tell whether a place keeps all of them."""
        return bool(self.slack(u).min(initial=np.inf) >= -touch)

    def _lab(self, u: FloatArray) -> FloatArray:
        onto = self.middle + self.half * u
        return np.where(self.logs, np.exp(np.where(self.logs, onto, 0.0)), onto)


def _best_step(bounds: list[_Bounds], u: FloatArray, slope: FloatArray) -> FloatArray:
    """Find the step of one length that gains most and stays in a piece that holds the place."""
    best = np.zeros(len(u))
    size = float(np.linalg.norm(slope))
    if size == 0.0:
        return best
    free = slope / size * STEP
    for bound in bounds:
        if not bound.hold(u):
            continue
        step = free if bound.hold(u + free, 0.0) else _bounded(bound, u, slope / size)
        if slope @ step > slope @ best:
            best = step
    return best


def _bounded(bound: _Bounds, u: FloatArray, slope: FloatArray) -> FloatArray:
    bounds: Any = [
        {"type": "ineq", "fun": lambda d: bound.slack(u + d), "jac": lambda d: bound.slope(u + d)},
        {"type": "ineq", "fun": lambda d: STEP**2 - float(d @ d), "jac": lambda d: -2.0 * d},
    ]
    problem: Any = {
        "fun": lambda d: -float(slope @ d),
        "x0": np.zeros(len(u)),
        "jac": lambda _: -slope,
        "method": "SLSQP",
        "constraints": bounds,
        "options": PATIENCE,
    }
    found = minimize(**problem)
    step = np.asarray(found.x, dtype=np.float64)
    # Rounding may leave it a hair outside: the way back to where it came from lies inside.
    for _ in range(40):
        if bound.hold(u + step):
            return step
        step = step * (1.0 - 1e-7) if bound.hold(u + step, 1e-6) else step / 2.0
    return np.zeros(len(u))


def _pieces_of(
    region: Region, start: FloatArray, form: SecondOrder, held: tuple[int, ...]
) -> list[Piece]:
    """List the pieces at the levels of the start, whatever noise factors are at."""
    free = {*form.columns, *held} - _on_levels(form)
    return [
        piece
        for piece in region.pieces
        if all(
            j in free or np.isnan(start[j]) or abs(start[j] - value) <= TOUCH
            for j, value in piece.fixed.items()
        )
    ]


def _on_levels(form: SecondOrder) -> set[int]:
    return {j for j, axis in zip(form.columns, form.axes, strict=True) if axis.levels}


def _on_steps(coded: FloatArray, form: SecondOrder, region: Region) -> FloatArray:
    """Put each place on the bench's steps next to it, where one is allowed."""
    rows = form.settings(coded)
    columns = np.array(form.columns, dtype=np.int64)
    if not any(axis.step or axis.levels for axis in form.axes):
        return coded
    for row in rows:
        near = neighbours_on_steps(row, region, columns=columns)
        if len(near):
            apart = np.abs(near - row)[:, columns] / region.spans[columns]
            row[:] = near[int((apart**2).sum(axis=1).argmin())]
    return form.coded(rows)
