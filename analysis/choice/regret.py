"""The setting that no view regrets much: the least worst regret over all roles.

The regret of a setting for a view is what that view could have had at its own best, less what it
has there, in overall desirability by its importances. Several views are served together by the
setting whose worst regret is least.

Source:
    Savage (1951), The Theory of Statistical Decision, Journal of the American Statistical
    Association 46, 55-67 (minimax regret), from memory. The search works on the epigraph: greatest
    t with every view's D − D* ≥ t, by sequential quadratic programming (Kraft 1988).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice, takewhile
from typing import Any

import numpy as np
from scipy.optimize import minimize

from analysis.choice.again import (
    Search,
    nearest_first,
    noted,
    search_again,
    settled_again,
)
from analysis.choice.ascent import Summit, summits_at
from analysis.choice.chart import Chart
from analysis.choice.compromise import Recipe
from analysis.choice.desirability import Aim, aims_of
from analysis.choice.ground import Ground
from analysis.choice.landscape import apart, reach_of
from analysis.choice.objective import BROKEN, SLACK_TOUCH, Objective
from doe.study.finding import Finding
from doe.study.settings import FloatArray, frozen_array

# Starts, and how far they lie apart, in ranges, beside the best of every view and the compromise.
STARTS, APART = 6, 0.1
MAX_STEPS, EXACT = 120, 1e-12
# Desirabilities below this are zero for the search; logarithms end there.
LEAST = 1e-6
# The brief's own importances take part under this name.
BRIEF = "brief"
# A regret worth a word, in overall desirability; our own choice.
MUCH = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewRegret:
    """One view: what it could have and what it gives up.

    Attributes:
        view: Role, or `brief` for the importances of the brief.
        best: Its greatest overall desirability, between the bench's steps.
        compromise: Its regret at the compromise.
        least_regret: Its regret at the setting of least worst regret.
        recipe: Where its best lies.
    """

    view: str
    best: float
    compromise: float
    least_regret: float
    recipe: Recipe


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastRegret:
    """The setting of least worst regret, beside the compromise.

    Attributes:
        recipe: On the bench's steps; its desirability by the importances of the compromise.
        unrounded: Before the steps.
        worst: Its worst regret; `worst_unrounded` that before the steps.
        worst_unrounded: See there.
        worst_of_compromise: The worst regret at the compromise.
        views: Every view, the brief's own importances first.
    """

    recipe: Recipe
    unrounded: Recipe
    worst: float
    worst_unrounded: float
    worst_of_compromise: float
    views: tuple[ViewRegret, ...]

    @property
    def finding(self) -> Finding:
        """Say whether the compromise treats a view badly that another setting would spare."""
        spared = self.worst_of_compromise - self.worst
        worst = max(self.views, key=lambda one: one.compromise)
        evidence: dict[str, float | int | str] = {
            "worst regret of the compromise": round(self.worst_of_compromise, 3),
            "least worst regret": round(self.worst, 3),
        }
        if spared <= MUCH:
            return Finding(
                level="note",
                what="No setting treats the views much more evenly than the compromise.",
                evidence=evidence,
            )
        return Finding(
            level="note",
            what=f"The compromise costs the view of '{worst.view}' {worst.compromise:.2f} in "
            "overall desirability; another setting, at which the view worst off gives up least, "
            "would spare it a part.",
            evidence=evidence,
            advice="Look at both settings together before one is agreed.",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RegretObjective(Objective):
    """The worst regret in place of the overall desirability; v views, m aims.

    Attributes:
        weights: Shape (v, m), the exponents of each view: log D = Σ weights · ln height.
        best: Shape (v,), the greatest overall desirability of each view.
    """

    weights: FloatArray
    best: FloatArray

    def __post_init__(self) -> None:
        Objective.__post_init__(self)
        for name in ("weights", "best"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def desirabilities(self, values: FloatArray) -> FloatArray:
        """Give the overall desirability of each view: (n, r) to (n, v)."""
        heights = np.clip(self.heights(values), 0.0, 1.0)
        with np.errstate(divide="ignore"):
            logs = np.log(heights)
        # A response that does not count for a view must not turn its zero into NaN.
        terms = np.where(self.weights > 0.0, self.weights * logs[:, None, :], 0.0)
        joint: FloatArray = np.exp(terms.sum(axis=2))
        return joint

    def score(self, values: FloatArray) -> FloatArray:
        """Order recipes, (n, r) to (n,): 1 less the worst regret; broken limits below."""
        regret = (self.best - self.desirabilities(values)).max(axis=1)
        slack = np.maximum(np.minimum(self.slack(values), 0.0), -1e6)
        return np.where(slack >= -SLACK_TOUCH, 1.0 - regret, BROKEN + slack / (1.0 - slack))


def find_least_regret(search: Search) -> LeastRegret | None:
    """Search for the setting of least worst regret; None where the brief has no view."""
    views = _views(search)
    if len(views) < 2:
        return None
    tops = [search_again(search, search.objective(aims))[0] for _, aims in views]
    best = np.array([max(0.0, one.score) for one in tops])
    objective = _regret_objective(search, [aims for _, aims in views], best)
    starts = _starts(search, objective, tops)
    ends = [_descended(objective, search.charts, one) for one in starts]
    found = nearest_first(search, [*starts, *ends])
    settled = settled_again(search, objective, found)
    return _written(search, objective, views, tops, found[0], settled)


def _views(search: Search) -> list[tuple[str, tuple[Aim, ...]]]:
    book = search.book
    named = [(BRIEF, "")] + [(view.role, view.role) for view in book.study.views]
    every = [(name, aims_of(book.study, role)) for name, role in named]
    fitted = [(name, tuple(a for a in aims if a.response in book.fits)) for name, aims in every]
    return [(name, aims) for name, aims in fitted if aims]


def _regret_objective(
    search: Search, views: Sequence[tuple[Aim, ...]], best: FloatArray
) -> RegretObjective:
    """Put the aims of all views together; one that a view lacks weighs nothing in it."""
    every = {aim.response: aim for aims in views for aim in aims}
    plain = search.objective(tuple(every.values()))
    weights = np.zeros((len(views), len(every)))
    for i, aims in enumerate(views):
        total = sum(aim.importance for aim in aims)
        for aim in aims:
            weights[i, list(every).index(aim.response)] = aim.importance / total * aim.shape
    return RegretObjective(
        fits=plain.fits, groups=plain.groups, exact=plain.exact, aims=plain.aims,
        production=plain.production, sides=plain.sides, aim_of_side=plain.aim_of_side,
        limits=plain.limits, exponents=plain.exponents, weights=weights, best=best,
    )  # fmt: skip


def _starts(search: Search, objective: Objective, tops: Sequence[Summit]) -> list[Summit]:
    scatter = search.scatter.reordered(objective)
    # Ordered by what they are worth here, not by the slope of the importances.
    order = np.argsort(-scatter.score, kind="stable")
    reach = reach_of(search.book.coding)
    good = takewhile(lambda one: one.score > BROKEN, map(scatter.summit, order))
    kept = list(islice(apart(good, reach, APART), STARTS))
    rows = [search.compromise, search.row(search.found.unrounded), *(one.settings for one in tops)]
    return kept + noted(objective, search.charts, rows)


def _descended(objective: RegretObjective, charts: Sequence[Chart], start: Summit) -> Summit:
    """Lessen the worst regret from one start; never ends above it."""
    chart = charts[start.chart]
    d, m = chart.dimension, len(objective.aims)
    if d == 0:
        return start
    problem = _Epigraph(objective, chart)
    programme: Any = {
        "fun": lambda x: -x[-1],
        "x0": problem.start(start.z),
        "jac": lambda _: np.concatenate([np.zeros(d + m), [-1.0]]),
        "bounds": [(None, None)] * d + [(LEAST, 1.0)] * m + [(None, None)],
        "constraints": {"type": "ineq", "fun": problem.room, "jac": problem.slopes},
        "method": "SLSQP",
        "options": {"maxiter": MAX_STEPS, "ftol": EXACT},
    }
    z = chart.pulled_in(np.asarray(minimize(**programme).x[:d], dtype=np.float64))
    if not np.isfinite(z).all():
        return start
    end = summits_at(objective, charts, [(start.chart, z)])[0]
    return end if end.score > start.score else start


class _Epigraph:
    """Room before every bound on z (d), heights r (m) and t, with its slopes."""

    def __init__(self, objective: RegretObjective, chart: Chart) -> None:
        self.objective, self.chart = objective, chart
        self.ground = Ground(objective, [chart])
        self.of_side = np.array(objective.aim_of_side, dtype=np.int64)

    def start(self, z: FloatArray) -> FloatArray:
        """Give z with the heights it has and the t that these allow."""
        lines, _ = self.ground.lines(z[None, :])
        r = np.full(len(self.objective.aims), 1.0)
        np.minimum.at(r, self.of_side, lines[0, : len(self.of_side)])
        r = np.clip(np.nan_to_num(r, nan=LEAST), LEAST, 1.0)
        return np.concatenate([z, r, [self._gains(r).min()]])

    def room(self, x: FloatArray) -> FloatArray:
        """Give the room: negative where a bound is broken."""
        z, r, t = self._parts(x)
        lines = self.ground.lines(z[None, :])[0][0]
        sides = len(self.of_side)
        bounds = self.chart.h - self.chart.G @ z
        return np.concatenate(
            [lines[:sides] - r[self.of_side], lines[sides:], bounds, self._gains(r) - t]
        )

    def slopes(self, x: FloatArray) -> FloatArray:
        """Give the slopes of the room, one row a bound."""
        z, r, _ = self._parts(x)
        d, m, sides = len(z), len(r), len(self.of_side)
        along = self.ground.lines(z[None, :])[1][0]
        n_lines, v = len(along), len(self.objective.best)
        rows = np.zeros((n_lines + len(self.chart.h) + v, d + m + 1))
        rows[:n_lines, :d] = along
        rows[np.arange(sides), d + self.of_side] = -1.0
        rows[n_lines : n_lines + len(self.chart.h), :d] = -self.chart.G
        joint = np.exp(self.objective.weights @ np.log(r))
        rows[-v:, d : d + m] = joint[:, None] * self.objective.weights / r
        rows[-v:, -1] = -1.0
        return rows

    def _gains(self, r: FloatArray) -> FloatArray:
        joint: FloatArray = np.exp(self.objective.weights @ np.log(r)) - self.objective.best
        return joint

    def _parts(self, x: FloatArray) -> tuple[FloatArray, FloatArray, float]:
        d = self.chart.dimension
        return x[:d], np.clip(x[d:-1], LEAST, None), float(x[-1])


def _written(
    search: Search,
    objective: RegretObjective,
    views: Sequence[tuple[str, tuple[Aim, ...]]],
    tops: Sequence[Summit],
    top: Summit,
    settled: Summit,
) -> LeastRegret:
    rows = np.array([search.compromise, settled.settings, top.settings])
    regrets = np.maximum(0.0, objective.best - objective.desirabilities(objective.values(rows)))
    book = search.book
    return LeastRegret(
        recipe=book.recipe(settled.settings),
        unrounded=book.recipe(top.settings),
        worst=float(regrets[1].max()),
        worst_unrounded=float(regrets[2].max()),
        worst_of_compromise=float(regrets[0].max()),
        views=tuple(
            ViewRegret(
                view=name,
                best=float(objective.best[i]),
                compromise=float(regrets[0, i]),
                least_regret=float(regrets[1, i]),
                recipe=book.recipe(tops[i].settings),
            )
            for i, (name, _) in enumerate(views)
        ),
    )
