"""A response that is a rating, fitted by proportional odds; its value is a probability."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import special

from analysis.fits.fit import Scale
from analysis.fits.likelihood.findings import common_findings
from analysis.fits.likelihood.layout import Layout, freedom_of, lay_out
from analysis.fits.likelihood.link_fit import LinkFit
from analysis.fits.likelihood.ordinal import OrdinalRows, fit_ordinal, proportional_odds
from analysis.fits.likelihood.outcome import (
    Estimated,
    LikelihoodFacts,
    LikelihoodResponse,
    assess_likelihood,
    make_fit,
)
from analysis.fits.likelihood.parts import OrdinalPart
from analysis.fits.likelihood.rating_words import rating_findings
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.terms import Model
from doe.study.brief import Response
from doe.study.settings import BoolArray, FloatArray, IntArray

# The value of a rating: a probability, from its logit.
PROBABILITY = Scale(name="logit", bounds=(0.0, 1.0))


def fit_rating(
    data: ResponseData,
    coding: Coding,
    *,
    model: str | Model,
    drop: Sequence[str] = (),
    level: float = 0.95,
) -> LikelihoodResponse:
    """Fit a rating; the surface is the logit of the probability of the accepted classes.

    Args:
        data: The response; a run rated several times counts by its median.
        coding: The settings.
        model: Name or terms.
        drop: Terms to leave out.
        level: Confidence of intervals.

    Raises:
        FitError: One class only, accepted classes that no single threshold parts from the others,
            or runs that cannot carry the model.
    """
    layout = lay_out(data, coding, model, drop)
    ratings = np.array([float(np.median(run)) for run in data.repeats])
    classes, place = np.unique(ratings, return_inverse=True)
    place = place.astype(np.int64)
    _refuse_one_class(layout, classes)
    accepted, words = accepted_classes(data.response, classes)
    cut, sign = _cut(layout, accepted)
    X = layout.table.matrix
    common, free = _without_common(X)
    rows = OrdinalRows(design=X @ free, place=place, batch=layout.batch)
    found = fit_ordinal(rows)
    surfaces, covariances = _surfaces(found, common, free, len(classes) - 1)
    freedom = freedom_of(X, layout.batch)
    estimated = _estimated(layout, found, sign * surfaces[cut], covariances[cut], place, accepted)
    s = layout.n_surface
    part = OrdinalPart(
        classes=tuple(map(float, classes)),
        surfaces=surfaces[:, :s],
        covariances=covariances[:, :s, :s],
        accepted=accepted,
        batch_sd=found.batch_sd or 0.0,
    )
    fit = make_fit(layout, estimated, classes=part)
    facts = LikelihoodFacts(
        log_likelihood=found.log_likelihood,
        nodes=found.maximum.nodes,
        robust_errors=()
        if estimated.robust is None
        else tuple(map(float, np.sqrt(np.diag(estimated.robust)[:s]))),
        clusters=len(found.maximum.evaluation.scores),
        held=_held(layout, found, free, len(classes) - 1),
        proportional_odds=proportional_odds(rows, found),
    )
    said = (*data.findings, *layout.findings, *common_findings(layout, fit, facts, freedom))
    return LikelihoodResponse(
        fit=fit,
        assessment=assess_likelihood(layout, estimated, level),
        findings=(*said, *rating_findings(layout, part, facts, words)),
        facts=facts,
    )


def accepted_classes(response: Response, classes: FloatArray) -> tuple[BoolArray, str]:
    """Tell which classes are as wanted, and by what: `accept`, else `best`, else the best seen.

    Args:
        response: Its `accept`, `best` and `aim` are looked at.
        classes: Those that were seen, ascending.
    """
    accept = response.accept
    if accept is not None and (accept.at_most is not None or accept.at_least is not None):
        ok = np.ones(len(classes), dtype=np.bool_)
        ok &= classes <= accept.at_most if accept.at_most is not None else ok
        ok &= classes >= accept.at_least if accept.at_least is not None else ok
        return ok, "accept of the brief"
    best, low = response.best, response.aim != "high"
    if best is not None and response.aim == "target":
        return np.abs(classes - best) == np.abs(classes - best).min(), "best of the brief"
    if best is not None:
        found = classes <= best if low else classes >= best
        if found.any():
            return found, "best of the brief"
    end = classes.min() if low else classes.max()
    return classes == end, "the best class seen, as the brief says nothing"


def _refuse_one_class(layout: Layout, classes: FloatArray) -> None:
    if len(classes) < 2:
        raise FitError(
            f"every run is in one class, {classes[0]:g}: nothing that was changed shows in it",
            where=f"response '{layout.data.response.name}'",
            allowed="ratings of two classes or more",
            do="Rate on a finer scale, or widen the ranges; one class needs no model.",
        )


def _cut(layout: Layout, accepted: BoolArray) -> tuple[int, float]:
    """Find the threshold between accepted classes and others, and on which side they lie."""
    changes = np.flatnonzero(np.diff(accepted.astype(np.int64)))
    if len(changes) == 1:
        return int(changes[0]), 1.0 if accepted[0] else -1.0
    side = "no class seen is" if not accepted.any() else "all classes seen are"
    what = (
        f"{side} as `accept` wants, so there is no probability to model"
        if not len(changes)
        else "the accepted classes lie between others, so no single threshold parts them"
    )
    raise FitError(
        what,
        where=f"response '{layout.data.response.name}'",
        allowed="accepted classes at one end of those seen, and others beside them",
        do='Change `accept` for this response, or fit the rating as a number (kind = "number").',
    )


def _without_common(X: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Part the columns: what all runs have in common is the thresholds' own.

    Returns:
        c with X c = 1 for every run, shape (p,), and an orthonormal basis of all that is left,
        shape (p, p − 1).
    """
    c = np.linalg.lstsq(X, np.ones(len(X)), rcond=None)[0]
    # The last columns of a complete orthonormal basis that begins with c.
    free = np.linalg.svd(c[None, :])[2][1:].T
    return c.astype(np.float64), free.astype(np.float64)


def _surfaces(
    found: LinkFit, common: FloatArray, free: FloatArray, cuts: int
) -> tuple[FloatArray, FloatArray]:
    """Give logit P(class ≤ j) = θ_j − x'β as rows of coefficients, with their covariances."""
    k = cuts + free.shape[1]
    surfaces, covariances = [], []
    for j in range(cuts):
        J = np.zeros((len(common), k))
        J[:, j] = common
        J[:, cuts:] = -free
        surfaces.append(J @ found.parameters)
        covariances.append(J @ found.covariance[:k, :k] @ J.T)
    return np.array(surfaces), np.array(covariances)


def _held(layout: Layout, found: LinkFit, free: FloatArray, cuts: int) -> tuple[str, ...]:
    if found.runs_off is None:
        return ()
    part = np.abs(free @ found.runs_off[cuts:])
    labels = layout.table.all_labels
    names = [
        label
        for label, size in zip(labels, part, strict=True)
        if size > 1e-6 * max(part.max(), 1e-300) and label != "intercept"
    ]
    return tuple(names) or ("the thresholds",)


def _estimated(
    layout: Layout,
    found: LinkFit,
    coefficients: FloatArray,
    covariance: FloatArray,
    place: IntArray,
    accepted: BoolArray,
) -> Estimated:
    meets = accepted[place].astype(np.float64)
    chance = special.expit(layout.table.matrix @ coefficients)
    spread = (found.batch_sd or 0.0) ** 2
    freedom = freedom_of(layout.table.matrix, layout.batch)
    components, component_df = {"residual": 0.0}, {"residual": np.inf}
    df = np.full(len(coefficients), np.inf)
    if found.batch_sd is not None and freedom.of_batches is not None:
        components = {"batch": spread, **components}
        component_df = {"batch": freedom.of_batches[0], **component_df}
        df = np.where(freedom.set_by_batch, freedom.of_batches[0], np.inf)
        covariance = inflated_between(covariance, freedom.set_by_batch, freedom.of_batches[1])
    return Estimated(
        family="ordinal",
        scale=PROBABILITY,
        coefficients=coefficients,
        covariance=covariance,
        robust=None,
        df=df,
        components=components,
        component_df=component_df,
        log_likelihood=found.log_likelihood,
        parameters=len(found.parameters) + int(found.batch_sd is not None),
        observed=meets,
        residual=meets - chance,
    )


def inflated_between(covariance: FloatArray, between: BoolArray, by: float) -> FloatArray:
    """Raise the errors of columns set by the batch to the batches' degrees of freedom."""
    root = np.where(between, by**0.5, 1.0)
    raised: FloatArray = covariance * np.outer(root, root)
    return raised
