"""Smaller models of a response fitted by likelihood, by AICc, as hierarchy allows."""

from __future__ import annotations

from dataclasses import replace

from analysis.fits.fitted_response import FittedResponse
from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.reduction import beside
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.hierarchy import drop_group, may_drop
from doe.model.terms import term_label
from doe.study.finding import Finding


def reduce_likelihood(
    data: ResponseData, coding: Coding, fitted: FittedResponse, *, level: float = 0.95
) -> FittedResponse:
    """Leave out, one group at a time, what lowers AICc most, and say what was left out.

    Args:
        data: The response over its runs.
        coding: The settings.
        fitted: The full model, fitted.
        level: Confidence of intervals.

    Source:
        Burnham and Anderson (2002), Model Selection and Multimodel Inference, section 2.4.
    """
    best, gone = fitted, list[str]()
    while (step := _step(data, coding, best, level)) is not None:
        best, names = step
        gone += names
    if not gone:
        told = Finding(level="note", what="Nothing could be left out: every term earns its place.")
    else:
        told = Finding(
            level="caution",
            what=f"Left out of the {fitted.fit.model.name} model: "
            + ", ".join(f"'{name}'" for name in gone)
            + ". The runs chose the terms, so the p-values and intervals of those that stay are "
            "too sure of themselves.",
            evidence={"terms left": len(best.fit.model.terms)},
            source="Burnham and Anderson (2002), Model Selection and Multimodel Inference, "
            "section 2.4",
        )
    reduction = beside((fitted.fit, fitted.assessment), (best.fit, best.assessment), way="backward")
    return replace(best, findings=(told, *best.findings), reduction=reduction)


def _step(
    data: ResponseData, coding: Coding, now: FittedResponse, level: float
) -> tuple[FittedResponse, list[str]] | None:
    found: tuple[FittedResponse, list[str]] | None = None
    least = _aicc(now)
    model = now.fit.model
    for group in may_drop(model, coding):
        smaller = drop_group(model, group, coding)
        if len(smaller.terms) >= len(model.terms):
            continue
        scale = now.fit.scale if now.fit.family == "censored" else None
        try:
            fitted = fit_any_response(data, coding, model=smaller, scale=scale, level=level)
        except FitError:
            continue
        if _aicc(fitted) < least:
            least = _aicc(fitted)
            found = (fitted, [term_label(term) for term in group])
    return found


def _aicc(fitted: FittedResponse) -> float:
    aicc = fitted.assessment.aicc
    return aicc if aicc is not None else float("inf")
