"""Invented chemistries with dose ranges of their own, and a fit over all of them."""

from __future__ import annotations

import numpy as np

from analysis.fits.fit import Fit, Scale
from doe.model.coding import coding_of
from doe.model.matrix import model_columns, model_matrix
from doe.model.terms import make_model
from doe.study.brief_file import parse_brief

BRIEF = """\
format = 1
[study]
title = "Invented chemistries"
[[factor]]
name = "chemistry"
levels = ["none", "polyacrylate", "electrosteric", "multi-anchor"]
[[factor]]
name = "dose"
unit = "%"
spacing = "log"
[[factor.range]]
when = { chemistry = "polyacrylate" }
low = 0.3
high = 0.9
[[factor.range]]
when = { chemistry = "electrosteric" }
low = 0.6
high = 2.4
[[factor.range]]
when = { chemistry = "multi-anchor" }
low = 1.0
high = 3.0
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[factor]]
name = "order of addition"
levels = ["dispersant first", "pigment first"]
[[response]]
name = "viscosity"
scale = "log"
accept = { at_most = 3000 }
"""
STUDY = parse_brief(BRIEF.encode())


def chemistry_fit(noise: float = 1.0) -> Fit:
    """A least-squares fit of invented readings over the whole region, made by plain algebra."""
    coding = coding_of(STUDY)
    rng = np.random.default_rng(3)
    grid = [
        (chemistry, dose, pH, order)
        for chemistry, doses in enumerate(
            [(np.nan,), (0.3, 0.5, 0.9), (0.6, 1.2, 2.4), (1.0, 1.7, 3.0)]
        )
        for dose in doses
        for pH in (8.0, 8.75, 9.5)
        for order in (0, 1)
    ]
    values = np.array(grid, dtype=np.float64)
    model = make_model("quadratic", coding)
    X = model_matrix(values, coding, model)
    y = 6 + noise * rng.normal(size=len(values)) + 0.3 * values[:, 0]
    b = np.linalg.lstsq(X, y, rcond=None)[0]
    df = len(y) - X.shape[1]
    s2 = float(np.sum((y - X @ b) ** 2)) / df
    return Fit(
        response="viscosity", unit="mPa·s", per="batch", scale=Scale(name="log"), coding=coding,
        model=model, columns=model_columns(model, coding), coefficients=b,
        covariance=s2 * np.linalg.inv(X.T @ X), coefficient_df=np.full(X.shape[1], float(df)),
        components={"residual": s2}, component_df={"residual": float(df)}, n=len(y),
        runs=tuple(range(1, len(y) + 1)),
    )  # fmt: skip
