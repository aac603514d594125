"""Time the drawing of production batches; run by hand, prints seconds and asserts nothing.

Run: python -m tests.benchmarks.risk_speed

Three second-order models over three shares and three factors, each in day and residual. First the
bare evaluations (settings drawn beforehand, value of each model, limits), then whole batches with
scatter, weighing, strata, models and components drawn, then a plain loop over batches.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping

import numpy as np

from analysis.fits.fit import Fit
from analysis.risk.draws import DrawPlan, normal_blocks
from analysis.risk.model import RiskModel, make_risk_model
from analysis.risk.probability import assess_risk, draw_batches
from doe.model.coding import code, coding_of
from doe.model.matrix import model_columns, model_matrix
from doe.model.terms import make_model
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import brief, fit_of

MILLION = 1_000_000
LOOPS = 1_000
AT = np.array([0.3, 0.5, 0.2, 2.0, 2.0, 2.0])


def three_models(seed: int = 1) -> tuple[Study, Mapping[str, Fit]]:
    """Write three second-order models of six settings, and a brief with all kinds of scatter."""
    rng = np.random.default_rng(seed)
    additives = [
        {"name": f"additive {i}", "low": 0.1, "high": 0.7, "weighing_percent": 1.0}
        for i in (1, 2, 3)
    ]
    factors = [
        {"name": "dose", "role": "dose", "low": 1.0, "high": 3.0},
        {"name": "pH", "low": 1.0, "high": 3.0, "scatter_sd": 0.1},
        {"name": "time", "low": 1.0, "high": 3.0, "scatter_sd": 0.1},
    ]
    bare = brief(factors, [{"name": "y"}], additives)
    coding = coding_of(bare)
    p = len(model_columns(make_model("quadratic", coding), coding))
    fits = {
        f"response {i}": fit_of(coding, f"response {i}", rng.standard_normal(p)) for i in range(3)
    }
    goals = []
    for name, fit in fits.items():
        value = float(model_matrix(AT[None, :], coding, fit.model)[0] @ fit.coefficients)
        goals.append({"name": name, "accept": {"at_most": value + 1.5}})
    return brief(factors, goals, additives), fits


def bare_evaluations(study: Study, fits: Mapping[str, Fit], model: RiskModel) -> float:
    """Evaluate three models and their limits at a million settings, in blocks."""
    d = len(model.scatter.sources)
    z = np.random.default_rng(2).standard_normal((MILLION, d))
    settings = model.scatter.settings(AT, z)
    coding = coding_of(study)
    assert model.posterior is not None
    parts = model.posterior.parts
    limits = [limit.limit for limit in model.limits]
    B = np.stack([part.fit.coefficients for part in parts], axis=1)

    def go() -> float:
        met = 0
        for first in range(0, MILLION, 16_384):
            coded = code(settings[first : first + 16_384], coding)
            values = parts[0].expansion.matrix(coded) @ B
            met += int((values <= limits).all(axis=1).sum())
        return met / MILLION

    return timed("a million evaluations of three models", go)


def plain_loop(study: Study, fits: Mapping[str, Fit], model: RiskModel) -> float:
    """Draw batches one by one with the models' own formulas; seconds for a million."""
    rng = np.random.default_rng(3)
    coding = coding_of(study)

    def go() -> float:
        met = 0
        for _ in range(LOOPS):
            made = model.scatter.settings(AT, rng.standard_normal((1, len(model.scatter.sources))))
            ok = True
            for fit, limit in zip(fits.values(), model.limits, strict=True):
                df = fit.component_df["residual"]
                ratio = df / rng.chisquare(df)
                b = rng.multivariate_normal(fit.coefficients, fit.covariance * ratio)
                value = float(model_matrix(made, coding, fit.model)[0] @ b)
                value += rng.normal(0.0, (fit.new_run_variance * ratio) ** 0.5)
                ok &= value <= limit.limit
            met += ok
        return met / LOOPS

    return timed(f"{LOOPS} batches by a plain loop", go)


def timed(words: str, go: Callable[[], FloatArray | float]) -> float:
    """Run something and say how long the processor worked on it."""
    begun, at = time.process_time(), time.perf_counter()
    found = go()
    used = time.process_time() - begun
    print(f"{words}: {used:.2f} s of processor, {time.perf_counter() - at:.2f} s in all; {found}")
    return used


def main() -> None:
    """Time evaluations, whole batches, the whole answer of `risk`, and the loop."""
    study, fits = three_models()
    model = make_risk_model(study, coding_of(study), fits)
    bare_evaluations(study, fits, model)
    plan = DrawPlan(draws=MILLION)

    def batches() -> float:
        drawn = draw_batches(model, AT, plan)
        return float(model.met(drawn.tested).all(axis=1).mean())

    whole = timed(f"{plan.n} whole batches of {model.columns} draws each", batches)
    timed("of which the draws", lambda: float(sum(z.mean() for z in _blocks(plan, model))))
    timed("the whole answer, contributions too", lambda: assess_risk(model, AT).probability.value)
    loop = plain_loop(study, fits, model)
    print(f"ratio loop / blocks, batch for batch: {loop / LOOPS / (whole / plan.n):.0f}")


def _blocks(plan: DrawPlan, model: RiskModel) -> list[FloatArray]:
    return list(normal_blocks(plan, model.columns))


if __name__ == "__main__":
    main()
