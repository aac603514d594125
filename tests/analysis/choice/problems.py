"""Invented problems for the search: briefs of every kind with models drawn at random."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.choice.desirability import aims_of
from analysis.choice.objective import Objective, make_objective
from analysis.fits.fit import Fit, Scale
from analysis.surface.noise import production_of
from analysis.surface.predict import predict_values
from doe.model.coding import Coding
from doe.model.matrix import model_columns
from doe.model.region import Region, region_of
from doe.model.sampling import sample_region
from doe.model.terms import Model, make_model
from doe.study.brief import Study
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """A brief with a region and models for its responses."""

    study: Study
    region: Region
    fits: Mapping[str, Fit]

    @property
    def objective(self) -> Objective:
        """The objective that the search maximises, without binding limits."""
        production = production_of(self.study, self.region.coding)
        return make_objective(self.fits, aims_of(self.study), [], production)


def brief(
    factors: Sequence[Mapping[str, Any]],
    responses: Sequence[Mapping[str, Any]],
    additives: Sequence[Mapping[str, Any]] = (),
    **more: Any,
) -> Study:
    """Write a brief as a value."""
    body: dict[str, Any] = {
        "study": {"title": "invented"},
        "factor": list(factors),
        "response": list(responses),
        **more,
    }
    if additives:
        body["package"] = {"additive": list(additives)}
    return Study.model_validate(body)


def fit_of(
    coding: Coding,
    response: str,
    coefficients: Sequence[float] | FloatArray,
    *,
    model: str | Model = "quadratic",
    scale: Scale | None = None,
    unit: str = "",
    sd: float = 1.0,
    covariance: FloatArray | None = None,
    df: float = 10.0,
) -> Fit:
    """Write a model as a value, with uncorrelated coefficients unless stated."""
    terms = make_model(model, coding) if isinstance(model, str) else model
    columns = model_columns(terms, coding)
    p = len(columns)
    return Fit(
        response=response,
        unit=unit,
        per="sample",
        scale=scale or Scale(),
        coding=coding,
        model=terms,
        columns=columns,
        coefficients=np.asarray(coefficients, dtype=np.float64),
        covariance=np.eye(p) * sd**2 / 10.0 if covariance is None else covariance,
        coefficient_df=np.full(p, df),
        components={"residual": sd**2},
        component_df={"residual": df},
        n=p + 10,
        runs=tuple(range(1, p + 11)),
    )


def random_problem(seed: int) -> Problem:
    """Draw a brief and models: factors of all kinds, shares, limits, forbids, narrow targets.

    Narrow targets sit round what one hidden recipe gives, so that most of the region has an
    overall desirability of zero.
    """
    rng = np.random.default_rng(seed)
    factors, additives, more = _settings(rng)
    bare = brief(factors, [{"name": "r", "aim": "low", "best": 0, "worst": 1}], additives, **more)
    region = region_of(bare)
    coding = region.coding
    points = sample_region(region, 400, rng)
    hidden = points[:1]
    responses, fits = [], {}
    for i in range(int(rng.integers(2, 6))):
        name = f"response {i + 1}"
        log = rng.random() < 0.3
        p = len(model_columns(make_model("quadratic", coding), coding))
        fit = fit_of(
            coding,
            name,
            rng.standard_normal(p) * (0.3 if log else 10.0),
            scale=Scale(name="log") if log else Scale(),
        )
        fits[name] = fit
        values = predict_values(fit, points)
        responses.append(_goal(rng, name, values, float(predict_values(fit, hidden)[0])))
    study = brief(factors, responses, additives, **more)
    return Problem(study=study, region=region_of(study), fits=fits)


def _settings(
    rng: np.random.Generator,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], dict[str, Any]]:
    factors: list[dict[str, Any]] = []
    for i in range(int(rng.integers(1, 4))):
        factor = {"name": f"factor {i + 1}", "low": 1.0, "high": float(rng.uniform(2.0, 9.0))}
        if rng.random() < 0.3:
            factor["spacing"] = "log"
        factors.append(factor)
    more: dict[str, Any] = {}
    if rng.random() < 0.3:
        factors.append({"name": "beads", "levels": [0.4, 0.8, 1.2]})
    if rng.random() < 0.4:
        factors.append({"name": "base", "levels": ["ammonia", "sodium hydroxide", "amine"]})
        if rng.random() < 0.5:
            more["forbid"] = [{"settings": {"base": "amine", "factor 1": "> 1.4"}}]
    additives: list[dict[str, Any]] = []
    if rng.random() < 0.6:
        q = int(rng.integers(2, 4))
        for i in range(q):
            additives.append({"name": f"additive {i + 1}", "low": 0.05, "high": 0.9 - 0.1 * i})
    if rng.random() < 0.5:
        total = sum(f["high"] for f in factors if "high" in f)
        count = sum("high" in f for f in factors)
        names = {f["name"]: 1.0 for f in factors if "high" in f}
        more["limit"] = [{"sum": names, "at_most": count + 0.6 * (total - count)}]
    return factors, additives, more


def _goal(rng: np.random.Generator, name: str, values: FloatArray, sweet: float) -> dict[str, Any]:
    spread = float(np.ptp(values))
    shape = float(rng.choice([0.5, 1.0, 2.0]))
    goal: dict[str, Any] = {
        "name": name,
        "shape": shape,
        "importance": float(rng.choice([1, 2, 3])),
    }
    width = spread * float(rng.choice([0.01, 0.05, 0.3]))
    kind = rng.choice(["low", "high", "target"])
    if kind == "target":
        at = sweet + width * float(rng.uniform(-0.5, 0.5))
        return goal | {
            "aim": "target",
            "best": at,
            "worst_low": at - width,
            "worst_high": at + width,
        }
    sign = 1.0 if kind == "low" else -1.0
    worst = sweet + sign * 0.3 * width
    return goal | {"aim": str(kind), "worst": worst, "best": worst - sign * width}
