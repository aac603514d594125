"""Time the search of `choose` over seven settings and six responses, beside plain loops.

Two ratios: predictions and slopes of all six responses against a plain loop over points, responses
and terms; and the whole search against a multi-start of a general optimiser from as many starts.
Seconds of processor time; run by hand, asserts nothing.

Run: python -m tests.benchmarks.choose_speed
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from scipy.optimize import minimize

from analysis.choice.chart import charts_of
from analysis.choice.landscape import search_region
from analysis.choice.objective import Objective
from analysis.choice.search import choose_compromise
from analysis.choice.trade_offs import find_trade_offs
from doe.model.coding import code, coding_of
from doe.model.matrix import model_columns
from doe.model.region import region_of
from doe.model.sampling import sample_region
from doe.model.terms import make_model
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import Problem, brief, fit_of

SETTINGS, RESPONSES = 7, 6
# Points of the plain loop, scaled up to those of the search; starts of the general optimiser.
LOOPED, STARTS = 200, 20


def seven_by_six(seed: int) -> Problem:
    """Draw second-order models of seven settings for six responses that pull apart."""
    rng = np.random.default_rng(seed)
    factors = [{"name": f"factor {i}", "low": 1.0, "high": 3.0} for i in range(SETTINGS)]
    goals = [
        {"name": f"response {i}", "aim": "low", "best": -40.0, "worst": 25.0}
        for i in range(RESPONSES)
    ]
    study = brief(factors, goals)
    coding = coding_of(study)
    p = len(model_columns(make_model("quadratic", coding), coding))
    fits = {
        str(goal["name"]): fit_of(coding, str(goal["name"]), rng.standard_normal(p) * 5.0)
        for goal in goals
    }
    return Problem(study=study, region=region_of(study), fits=fits)


def plain_values(objective: Objective, settings: FloatArray) -> FloatArray:
    """Predict point by point, response by response, term by term."""
    values = np.empty((len(settings), len(objective.fits)))
    for i, row in enumerate(settings):
        for group in objective.groups:
            x = code(row[None, :], group.expansion.coding)
            columns = group.expansion.matrix(x)[0]
            for place, j in enumerate(group.members):
                total = 0.0
                for value, b in zip(columns, group.coefficients[:, place], strict=True):
                    total += float(value) * float(b)
                values[i, j] = total
    return values


def multistart(objective: Objective, problem: Problem) -> float:
    """Search with a general optimiser, differences for slopes, from evenly drawn starts."""
    low = np.array([axis[0] for axis in problem.region.implied])
    high = np.array([axis[1] for axis in problem.region.implied])
    best = 0.0
    for row in sample_region(problem.region, STARTS, np.random.default_rng(3)):

        def loss(x: FloatArray) -> float:
            return -float(objective.overall(objective.values(np.clip(x, low, high)[None, :]))[0])

        found = minimize(loss, row, method="L-BFGS-B", bounds=list(zip(low, high, strict=True)))
        best = max(best, -float(found.fun))
    return best


def seconds(work: Callable[[], object]) -> tuple[float, object]:
    """Take the processor time of some work."""
    begun = time.process_time()
    answer = work()
    return time.process_time() - begun, answer


def main() -> None:
    """Print times and ratios."""
    for seed in range(3):
        problem = seven_by_six(seed)
        objective = problem.objective
        charts = charts_of(problem.region, objective.production)
        search, landscape = seconds(
            lambda o=objective, c=charts, p=problem: search_region(
                o, c, p.region.coding, np.random.default_rng(1)
            )
        )
        whole, found = seconds(
            lambda p=problem: choose_compromise(
                p.study, p.region, p.fits, rng=np.random.default_rng(1)
            )
        )
        general, best = seconds(lambda o=objective, p=problem: multistart(o, p))
        points = sample_region(problem.region, 6000, np.random.default_rng(2))
        ours, _ = seconds(lambda o=objective, x=points: o.values(x))
        plain, _ = seconds(lambda o=objective, x=points: plain_values(o, x[:LOOPED]))
        plain *= len(points) / LOOPED
        print(
            f"search {search:.2f} s ({landscape.n_starts} chosen starts), whole {whole:.2f} s, "
            f"desirability {found.unrounded.desirability:.6f}; general optimiser from {STARTS} "
            f"starts {general:.2f} s, {best:.6f}: ratio {general / search:.1f}; 6000 points "
            f"{ours:.4f} s, plain loop {plain:.2f} s: ratio {plain / max(ours, 1e-9):.0f}"
        )
        if seed == 0:
            traded, _ = seconds(
                lambda p=problem, f=found: find_trade_offs(p.study, p.region, p.fits, f, seed=1)
            )
            print(f"every trade-off {traded:.2f} s")


if __name__ == "__main__":
    main()
