"""Small studies for risk: a line with known scatter, and two responses that share mill batches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.together import Together
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding, coding_of
from doe.model.matrix import model_columns
from doe.model.terms import make_model
from doe.study.brief import Study
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

DOSES = (0.8, 1.6, 2.4, 0.8, 1.6, 2.4, 1.2, 2.0)
TIMES = (15.0, 30.0, 45.0)


def certain(coding: Coding, name: str, coefficients: Sequence[float], sd: float) -> Fit:
    """Write a line whose coefficients and scatter are known for certain."""
    p = len(model_columns(make_model("linear", coding), coding))
    return fit_of(
        coding, name, coefficients, model="linear", sd=sd, covariance=np.zeros((p, p)), df=np.inf
    )


def with_limits(factor: Mapping[str, Any], limits: Mapping[str, Mapping[str, float]]) -> Study:
    """Write a brief of one factor and some responses with limits."""
    return brief([factor], [{"name": name, "accept": one} for name, one in limits.items()])


def correlated(stratum: str, names: Sequence[str], sd: Sequence[float], rho: float) -> Together:
    """Write two responses whose scatter goes together by rho."""
    return Together(
        stratum=stratum, responses=tuple(names), sd=np.array(sd),
        correlation=np.array([[1.0, rho], [rho, 1.0]]), n=np.full((2, 2), 10),
    )  # fmt: skip


@cache
def two_in_batches(seed: int = 11) -> tuple[dict[str, ResponseData], dict[str, FittedResponse]]:
    """Invent two responses over eight batches of three samples, scatter going together."""
    rng = np.random.default_rng(seed)
    per = len(TIMES)
    n = len(DOSES) * per
    doses, times = np.repeat(DOSES, per), np.tile(TIMES, len(DOSES))
    sd = np.array([0.1, 3.0])
    shared = rng.multivariate_normal([0, 0], [[1, 0.8], [0.8, 1]], size=len(DOSES))
    own = rng.multivariate_normal([0, 0], [[1, -0.5], [-0.5, 1]], size=n)
    scatter: FloatArray = sd * own + 1.5 * sd * np.repeat(shared, per, axis=0)
    data, fitted = {}, {}
    for j, name in enumerate(("thinness", "gloss")):
        study = study_of(
            factors=[
                range_factor("dose", 0.8, 2.4),
                range_factor("time", 15, 45, unit="min", set_per="sample"),
            ],
            response={"name": name},
        )
        y = np.array([7.0, 40.0])[j] - 0.3 * doses + 0.01 * times + scatter[:, j]
        rows = [
            {"dose": float(d), "time": float(t), name: float(v)}
            for d, t, v in zip(doses, times, y, strict=True)
        ]
        one, coding = adopt(study, rows, name)
        data[name] = replace(one, batch=tuple(i // per + 1 for i in range(n)))
        fitted[name] = fit_response(
            data[name], coding, model="linear" if name == "gloss" else "interactions"
        )
    return data, fitted


def line_brief(limits: Mapping[str, Mapping[str, float]], **factor: Any) -> tuple[Study, Coding]:
    """Write a brief over one factor, dose from 1 to 3, and its coding."""
    study = with_limits({"name": "dose", "low": 1.0, "high": 3.0, **factor}, limits)
    return study, coding_of(study)
