"""Fit a response by what it is: least squares and REML, or a likelihood of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.likelihood.count_response import are_counts, fit_count
from analysis.fits.likelihood.off_scale_response import fit_off_scale
from analysis.fits.likelihood.rating_response import fit_rating
from analysis.lab.response_data import ResponseData, in_words
from doe.methods.kinds import kind_of
from doe.model.coding import Coding
from doe.model.terms import Model
from doe.study.finding import Finding


def fit_any_response(
    data: ResponseData,
    coding: Coding,
    *,
    model: str | Model,
    drop: Sequence[str] = (),
    scale: Scale | None = None,
    level: float = 0.95,
) -> FittedResponse:
    """Fit a response by the family that its readings ask for.

    Args:
        data: The response over its runs.
        coding: Coding of the settings.
        model: Name of the model, or its terms.
        drop: Terms to leave out, as a user writes them.
        scale: See `fit_response`; ratings and counts have a scale of their own.
        level: Confidence of intervals.

    Raises:
        FitError: See `fit_response`.
    """
    fitted: FittedResponse
    apart = _controls_off_scale(data)
    likelihood = _own_likelihood(data, apart)
    is_corrected = data.drift_middle is not None
    if likelihood:
        data = replace(data, drift_middle=None)
    if likelihood == "rating":
        fitted = fit_rating(data, coding, model=model, drop=drop, level=level)
    elif likelihood == "count":
        fitted = fit_count(data, coding, model=model, drop=drop, level=level)
    elif likelihood == "off the scale":
        fitted = fit_off_scale(data, coding, model=model, drop=drop, scale=scale, level=level)
    else:
        fitted = fit_response(data, coding, model=model, drop=drop, scale=scale, level=level)
        fitted = replace(fitted, findings=(*fitted.findings, *apart))
    said = fitted.findings
    if kind_of(data.response) == "count" and likelihood != "count" and len(data):
        said += (_no_counts(data),)
    if likelihood and is_corrected:
        said += (_not_corrected(data),)
    return replace(fitted, findings=said)


def _own_likelihood(
    data: ResponseData, apart: Sequence[Finding]
) -> Literal["rating", "count", "off the scale", ""]:
    """Name the likelihood that a response is fitted by; empty for least squares and REML."""
    kind = kind_of(data.response)
    if kind == "rating" and len(data):
        return "rating"
    if kind == "count" and data.whole is None and len(data) and are_counts(data):
        return "count"
    return "off the scale" if data.whole is not None and not apart else ""


def _not_corrected(data: ResponseData) -> Finding:
    return Finding(
        level="caution",
        what=f"'{data.response.name}' is not corrected for drift: a rating, a count or a response "
        "with runs off the scale is fitted by a likelihood of its own, which holds no drift.",
        advice="Read its controls along the order by eye, and make late runs once more if they "
        "moved.",
    )


def _controls_off_scale(data: ResponseData) -> tuple[Finding, ...]:
    """Name the controls off the scale where no run of the plan is; empty where one is, or none.

    A control has a mean of its own: where it runs off the scale the surface is told nothing by it,
    and need not give up its strata for a likelihood.
    """
    if data.whole is None or not data.off_scale:
        return ()
    control = dict(zip(data.whole.run, data.whole.control, strict=True))
    runs = {run: control.get(run) for run in data.off_scale}
    if not all(runs.values()):
        return ()
    return tuple(
        Finding(
            level="note",
            what=f"Control '{name}' is off the scale in "
            f"{in_words('run', [run for run, own in runs.items() if own == name])}: left out, as "
            "its mean is its own and the surface does not rest on it.",
        )
        for name in dict.fromkeys(runs.values())
    )


def _no_counts(data: ResponseData) -> Finding:
    why = (
        "some are off the scale" if data.whole is not None else "some are no whole numbers above 0"
    )
    return Finding(
        level="note",
        what=f"'{data.response.name}' counts, but {why}: it is fitted as a number on its scale.",
    )
