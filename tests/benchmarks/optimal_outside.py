"""Plans by other means than our search: an independent library, and a general-purpose minimiser.

The library is `pydoe` 1.6.0. It exchanges candidates of a list for a full polynomial with an
intercept; a blend is given to it in all its shares but one, which spans what Scheffé's quadratic
spans. It averages I over its candidates; here it is handed the moments of the true region, which
can only help it. It knows no named choices, batches or blocks. Nothing here is needed to use
millbase: `python -m pip install --no-deps --target FOLDER pydoe==1.6.0` and FOLDER on PYTHONPATH.

The minimiser is L-BFGS-B of scipy with exact slopes, from any plan: a setting that nothing ties
moves between its ends, tied ones as the average of their corners with squared weights.
"""

from __future__ import annotations

import importlib
import importlib.util
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import product
from types import FrameType, ModuleType

import numpy as np
from scipy.optimize import minimize

from doe.layouts.optimal.candidates import candidate_settings
from doe.layouts.optimal.crowd import Problem
from doe.layouts.optimal.search import prepared
from doe.model.coding import code, decode
from doe.model.region import Piece, Region
from doe.study.settings import FloatArray, IntArray
from tests.benchmarks.optimal_problems import Case, efficiency, value_of, wanted_of

VERSION = "pydoe 1.6.0"
METHODS = ("modified_fedorov", "fedorov")
LEVELS = (3, 5)
# Candidates beyond which the library takes minutes for a single exchange.
MOST_CANDIDATES = 3000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reached:
    """What the library has found: the plan, its value, and seconds until it was there."""

    values: FloatArray | None
    value: float
    seconds: float
    says: str


def library() -> ModuleType | None:
    """Find the library, if it is installed."""
    if importlib.util.find_spec("pydoe") is None:
        return None
    return importlib.import_module("pydoe.optimal")


def is_for_library(case: Case) -> bool:
    """Tell whether the library can state a problem at all."""
    family = case.family
    words = any(isinstance(f.get("levels", [0])[0], str) for f in family.factors)
    return not (words or family.each or family.day)


def library_candidates(case: Case, levels: int) -> FloatArray:
    """List candidates: all levels of the factors and the blends between them, lab units."""
    region = wanted_of(case).region
    if case.family.limits or (case.family.additives and case.family.additives[0][1] < 1.0):
        # Corners and centroids, and half-way between each and the middle.
        rng = np.random.default_rng(1)
        corners = candidate_settings(region, 0, rng)
        if levels == LEVELS[0]:
            return corners
        between = (corners + corners.mean(axis=0)) / 2
        return np.asarray(np.vstack([corners, between]))
    blocks: list[FloatArray] = []
    q = len(case.family.additives)
    if q:
        steps = range(levels)
        blocks.append(np.array([p for p in product(steps, repeat=q) if sum(p) == levels - 1])
                      / (levels - 1))  # fmt: skip
    for factor in case.family.factors:
        own = factor.get("levels") or np.linspace(factor["low"], factor["high"], levels)
        blocks.append(np.array(own, dtype=np.float64)[:, None])
    return np.array([np.concatenate(rows) for rows in product(*blocks)])


def library_plan(
    case: Case, levels: int, method: str, *, enough: float, seconds: float, seed: int = 0
) -> Reached:
    """Let the library start again, its candidates in another order, until it reaches a value.

    Args:
        case: The problem.
        levels: Levels of its candidates.
        method: Its algorithm.
        enough: Value of our criterion at which it may stop.
        seconds: Time after which it is stopped.
        seed: Of the orders.

    Returns:
        The best plan and the time at which it was found.
    """
    module = library()
    assert module is not None
    candidates = library_candidates(case, levels)
    # It takes every candidate once at most to begin with.
    candidates = np.tile(candidates, (-(-case.n // len(candidates)), 1))
    if len(candidates) > MOST_CANDIDATES:
        return Reached(values=None, value=np.nan, seconds=0.0, says="too many candidates")
    own = _library_settings(case, candidates)
    moments = _library_moments(case, candidates)
    rng = np.random.default_rng(seed)
    best = Reached(values=None, value=np.nan, seconds=np.inf, says="no plan in time")
    begun = time.perf_counter()
    try:
        with _limited(seconds), _true_moments(moments):
            while True:
                order = rng.permutation(len(candidates))
                table = np.column_stack([own[order], order])
                rows = _searched(module, table, case, method)
                value = value_of(case, candidates[rows])
                if not np.isfinite(value) or value <= 0:
                    continue
                if np.isnan(best.value) or efficiency(case, value, best.value) > 1 + 1e-9:
                    best = Reached(values=candidates[rows], value=value, says="",
                                   seconds=time.perf_counter() - begun)  # fmt: skip
                if efficiency(case, best.value, enough) >= 1.0:
                    return best
    except TimeoutError:
        return best


def polished(case: Case, values: FloatArray, most: int = 2000) -> FloatArray:
    """Bring a plan to where no small change gains, by L-BFGS-B; lab units in and out."""
    problem, _ = prepared(wanted_of(case))
    x = code(values, problem.region.coding)
    knobs = _Knobs(problem, x)
    found = minimize(knobs.goal, knobs.start, jac=True, method="L-BFGS-B", bounds=knobs.bounds,
                     options={"maxiter": most, "maxfun": 2 * most, "maxcor": 20})  # fmt: skip
    return decode(knobs.settings(found.x)[0], problem.region.coding)


class _Knobs:
    """All that may move in a plan, as one vector: ends held by bounds, tied blocks by weights."""

    def __init__(self, problem: Problem, x: FloatArray) -> None:
        self.problem, self.x = problem, x
        self.parts: list[tuple[IntArray, IntArray, FloatArray, int]] = []
        start: list[FloatArray] = []
        self.bounds: list[tuple[float | None, float | None]] = []
        for rows, columns in problem.units:
            piece = _piece_of(problem.region, decode(x[rows[:1]], problem.region.coding)[0])
            for block in piece.blocks:
                if not set(block.columns) <= set(columns.tolist()) or not block.polytope.dimension:
                    continue
                at = np.array(block.columns)
                vertices = np.repeat(x[rows[0]][None], len(block.polytope.vertices), axis=0)
                lab = decode(vertices, problem.region.coding)
                lab[:, at] = block.polytope.vertices
                corners = code(lab, problem.region.coding)[:, at]
                offset = sum(len(s) for s in start)
                here = x[rows[0], at]
                if len(at) == 1:
                    self.bounds.append((float(corners.min()), float(corners.max())))
                    start.append(here)
                    self.parts.append((rows, at, np.empty((0, 1)), offset))
                else:
                    weights = _weights(corners, here)
                    self.bounds += [(None, None)] * len(weights)
                    start.append(np.sqrt(weights))
                    self.parts.append((rows, at, corners, offset))
        self.start = np.concatenate(start)

    def settings(self, t: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
        x = self.x.copy()
        slopes: list[FloatArray] = []
        for rows, at, corners, offset in self.parts:
            if len(corners) == 0:
                x[rows, at[0]] = t[offset]
                slopes.append(np.ones((1, 1)))
                continue
            u = t[offset : offset + len(corners)]
            size = float(u @ u)
            point = (u * u) @ corners / size
            x[np.ix_(rows, at)] = point
            slopes.append(2 * u[:, None] * (corners - point) / size)
        return x, slopes

    def goal(self, t: FloatArray) -> tuple[float, FloatArray]:
        x, slopes = self.settings(t)
        goal, expansion = self.problem.goal, self.problem.working.expansion
        F = expansion.matrix(x) @ goal.basis
        view, part = goal.views[0], goal.views[0].parts[0]
        PF = view.P @ F
        M = F.T @ PF + 1e-11 * goal.moments
        B = np.linalg.inv(M)
        if part.trace is None:
            value = -float(np.linalg.slogdet(M)[1]) / len(M)
            dF = -2.0 * PF @ B / len(M)
        else:
            trace = float(np.sum(B * part.trace))
            value = float(np.log(trace))
            dF = -2.0 * PF @ (B @ part.trace @ B) / trace
        # gradient(x) is (n, k, p) for the model's own columns.
        dx = np.einsum("nkp,np->nk", expansion.gradient(x), dF @ goal.basis.T)
        out = np.zeros_like(t)
        for (rows, at, corners, offset), slope in zip(self.parts, slopes, strict=True):
            width = max(len(corners), 1)
            out[offset : offset + width] = slope @ dx[np.ix_(rows, at)].sum(axis=0)
        return value, out


def _piece_of(region: Region, row: FloatArray) -> Piece:
    for piece in region.pieces:
        if all(
            np.isnan(row[j]) if np.isnan(value) else abs(row[j] - value) < 1e-6
            for j, value in piece.fixed.items()
        ):
            return piece
    raise ValueError("a run outside the region")


def _weights(corners: FloatArray, here: FloatArray) -> FloatArray:
    """Give weights of the corners whose average is near a point, all a little above 0."""
    near = 1.0 / (np.square(corners - here).sum(axis=1) + 1e-3)
    return np.asarray(near / near.sum() + 1e-3)


def _library_settings(case: Case, candidates: FloatArray) -> FloatArray:
    """Leave one share out."""
    return candidates[:, 1:] if case.family.additives else candidates


def _library_moments(case: Case, candidates: FloatArray) -> FloatArray:
    """Give the moments of the library's own columns over the true region."""
    problem, moments = prepared(wanted_of(case))
    rng = np.random.default_rng(2)
    points = candidate_settings(problem.region, 10_000, rng)
    ours = problem.working.expansion.matrix(code(points, problem.region.coding))
    theirs = _library_matrix(_library_settings(case, points))
    R, *_ = np.linalg.lstsq(ours, theirs)
    return np.asarray(R.T @ moments @ R)


def _library_matrix(x: FloatArray) -> FloatArray:
    module = library()
    assert module is not None
    return np.asarray(module.build_design_matrix(x, 2))


def _searched(module: ModuleType, table: FloatArray, case: Case, method: str) -> IntArray:
    """Search once, and find the rows of the candidates again."""
    plan = getattr(module, method)(table[:, :-1], case.n, 2, case.criterion)
    apart = np.abs(plan[:, None] - table[None, :, :-1]).max(axis=2)
    return np.asarray(table[apart.argmin(axis=1), -1], dtype=np.int64)


@contextmanager
def _true_moments(moments: FloatArray) -> Iterator[None]:
    """Hand the library the moments of the region in place of its candidates' own."""
    algorithms = importlib.import_module("pydoe.optimal.algorithms")
    own = algorithms.build_uniform_moment_matrix
    algorithms.build_uniform_moment_matrix = lambda X0: moments  # type: ignore[attr-defined]  # the library takes them as no argument
    try:
        yield
    finally:
        algorithms.build_uniform_moment_matrix = own  # type: ignore[attr-defined]  # as above


@contextmanager
def _limited(seconds: float) -> Iterator[None]:
    """Raise TimeoutError after some time, even within a call."""

    def ring(number: int, frame: FrameType | None) -> None:
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
