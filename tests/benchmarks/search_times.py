"""Time the search for the compromise; run by hand, prints seconds and asserts nothing.

Run: python -m tests.benchmarks.search_times
"""

from __future__ import annotations

import time

import numpy as np

from analysis.choice.search import choose_compromise
from analysis.surface.predict import predict_values
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.region import region_of
from doe.model.sampling import sample_region
from doe.model.terms import make_model
from tests.analysis.choice.problems import Problem, brief, fit_of


def seven_by_six(seed: int, step: float | None) -> Problem:
    """Write three shares, three factors and a choice, with six responses, two of them narrow."""
    rng = np.random.default_rng(seed)
    steps = {} if step is None else {"step": step}
    additives = [{"name": f"additive {i}", "low": 0.1, "high": 0.7, **steps} for i in (1, 2, 3)]
    factors = [{"name": f"factor {i}", "low": 1.0, "high": 3.0, **steps} for i in (1, 2, 3)]
    factors.append({"name": "chemistry", "levels": ["one", "two", "three"]})
    plain = [{"name": f"response {i}", "aim": "low", "best": 0, "worst": 1} for i in range(6)]
    bare = brief(factors, plain, additives)
    coding = coding_of(bare)
    points = sample_region(region_of(bare), 500, rng)
    p = len(model_columns(make_model("quadratic", coding), coding))
    fits, goals = {}, []
    for i, goal in enumerate(plain):
        fit = fit_of(coding, goal["name"], rng.standard_normal(p) * 10.0)
        fits[goal["name"]] = fit
        values = predict_values(fit, points)
        low, middle = np.quantile(values, [0.02, 0.6])
        if i < 2:
            at, width = float(values[0]), 0.03 * float(np.ptp(values))
            target = {"worst_low": at - width, "best": at, "worst_high": at + width}
            goals.append({"name": goal["name"], "aim": "target", **target})
        else:
            goals.append(goal | {"best": float(low), "worst": float(middle)})
    study = brief(factors, goals, additives)
    return Problem(study=study, region=region_of(study), fits=fits)


def main() -> None:
    """Time seven settings and six responses, without steps and with."""
    for step in (None, 0.05):
        for seed in range(4):
            problem = seven_by_six(seed, step)
            begun = time.perf_counter()
            found = choose_compromise(
                problem.study, problem.region, problem.fits, rng=np.random.default_rng(1)
            )
            print(
                f"step {step}: {time.perf_counter() - begun:.2f} s, "
                f"desirability {found.unrounded.desirability:.5f}, "
                f"on steps {found.best.desirability:.5f}, {len(found.alternatives)} alternatives"
            )


if __name__ == "__main__":
    main()
