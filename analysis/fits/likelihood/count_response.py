"""A response that is a count, fitted on the logarithm of its mean."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analysis.fits.fit import Scale
from analysis.fits.likelihood.counts import (
    CountRows,
    MoreScatter,
    fit_negative_binomial,
    fit_poisson,
    more_scatter,
)
from analysis.fits.likelihood.findings import common_findings
from analysis.fits.likelihood.layout import Layout, freedom_of, lay_out
from analysis.fits.likelihood.link_fit import LinkFit
from analysis.fits.likelihood.outcome import (
    Estimated,
    LikelihoodFacts,
    LikelihoodResponse,
    assess_likelihood,
    make_fit,
)
from analysis.fits.likelihood.parts import CountPart
from analysis.fits.likelihood.rating_response import inflated_between
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.terms import Model
from doe.study.finding import Finding

LOG_MEAN = Scale(name="log")
# Where the test calls counts wider than Poisson counts; the wider family costs little power.
_CLEAR = 0.05


def are_counts(data: ResponseData) -> bool:
    """Tell whether every reading is a whole number of zero or more."""
    every = np.array([value for run in data.repeats for value in run])
    return bool(np.all(every >= 0) and np.all(every == np.round(every)))


def fit_count(
    data: ResponseData,
    coding: Coding,
    *,
    model: str | Model,
    drop: Sequence[str] = (),
    level: float = 0.95,
) -> LikelihoodResponse:
    """Fit a count: Poisson, or negative binomial where it scatters clearly more.

    Args:
        data: The response; repeats of a run are counted together.
        coding: The settings.
        model: Name or terms.
        drop: Terms to leave out.
        level: Confidence of intervals.

    Raises:
        FitError: Nothing was ever counted, or the runs cannot carry the model.
    """
    layout = lay_out(data, coding, model, drop)
    rows = CountRows(
        design=layout.table.matrix,
        count=np.array([float(sum(run)) for run in data.repeats]),
        times=np.array([float(len(run)) for run in data.repeats]),
        batch=layout.batch,
    )
    if not rows.count.any():
        raise FitError(
            "every count is zero: nothing tells how rare it is",
            where=f"response '{data.response.name}'",
            allowed="counts above zero in some runs",
            do="Count a larger piece, or test harder.",
        )
    poisson = fit_poisson(rows)
    wider = fit_negative_binomial(rows, poisson)
    test = more_scatter(poisson, wider, rows.design.shape[1])
    is_wide = wider is not None and test.p < _CLEAR
    found = wider if is_wide and wider is not None else poisson
    part = CountPart(overdispersion=test.overdispersion if is_wide else 0.0)
    estimated = _estimated(layout, rows, found)
    fit, s = make_fit(layout, estimated, counts=part), layout.n_surface
    facts = LikelihoodFacts(
        log_likelihood=found.log_likelihood,
        nodes=found.maximum.nodes,
        robust_errors=()
        if estimated.robust is None
        else tuple(map(float, np.sqrt(np.diag(estimated.robust)[:s]))),
        clusters=len(found.maximum.evaluation.scores),
        held=_held(layout, found),
        more_scatter=(test.statistic, test.p),
    )
    freedom = freedom_of(layout.table.matrix, layout.batch)
    said = (*data.findings, *layout.findings, *common_findings(layout, fit, facts, freedom))
    return LikelihoodResponse(
        fit=fit,
        assessment=assess_likelihood(layout, estimated, level),
        findings=(*said, *_count_findings(layout, test, is_wide=is_wide)),
        facts=facts,
    )


def _held(layout: Layout, found: LinkFit) -> tuple[str, ...]:
    if found.runs_off is None:
        return ()
    most = np.abs(found.runs_off).max()
    return tuple(
        label
        for label, part in zip(layout.table.all_labels, found.runs_off, strict=True)
        if abs(part) > 1e-6 * most and label != "intercept"
    )


def _estimated(layout: Layout, rows: CountRows, found: LinkFit) -> Estimated:
    p = rows.design.shape[1]
    covariance, df = found.covariance[:p, :p], np.full(p, np.inf)
    components, component_df = {"residual": 0.0}, {"residual": np.inf}
    freedom = freedom_of(rows.design, layout.batch)
    if found.batch_sd is not None and freedom.of_batches is not None:
        left, by = freedom.of_batches
        components = {"batch": found.batch_sd**2, **components}
        component_df = {"batch": left, **component_df}
        df = np.where(freedom.set_by_batch, left, np.inf)
        covariance = inflated_between(covariance, freedom.set_by_batch, by)
    mean = np.exp(rows.design @ found.parameters[:p])
    observed = rows.count / rows.times
    return Estimated(
        family="count",
        scale=LOG_MEAN,
        coefficients=found.parameters[:p],
        covariance=covariance,
        robust=None if found.robust is None else found.robust[:p, :p],
        df=df,
        components=components,
        component_df=component_df,
        log_likelihood=found.log_likelihood,
        parameters=len(found.parameters) + int(found.batch_sd is not None),
        # The working value of a step of least squares on the scale of the link.
        observed=np.log(mean) + (observed - mean) / mean,
        residual=(observed - mean) / mean,
    )


def _count_findings(layout: Layout, test: MoreScatter, *, is_wide: bool) -> Iterator[Finding]:
    name = layout.data.response.name
    evidence: dict[str, float | int | str] = {
        "χ²": round(test.statistic, 2), "p": float(f"{test.p:.2g}"),
    }  # fmt: skip
    if is_wide:
        evidence["overdispersion"] = float(f"{test.overdispersion:.3g}")
    yield Finding(
        level="note",
        what=f"'{name}' is a count: it is fitted on the logarithm of its mean, "
        + (
            "as negative binomial, since it scatters more than chance alone."
            if is_wide
            else "as Poisson; no more scatter than chance alone is seen."
        ),
        evidence=evidence,
        source="Cameron and Trivedi (1986), J. Appl. Econometrics 1, 29-53",
    )
