"""What `fit --json` adds of a response that was fitted by a likelihood of its own."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.likelihood.outcome import LikelihoodResponse


def likelihood_object(fitted: FittedResponse) -> dict[str, Any] | None:
    """Give what only a likelihood knows; None for least squares and REML."""
    if not isinstance(fitted, LikelihoodResponse):
        return None
    facts = fitted.facts
    test, more = facts.proportional_odds, facts.more_scatter
    return {
        "log_likelihood": facts.log_likelihood,
        "nodes": facts.nodes,
        "robust_errors": list(facts.robust_errors),
        "clusters": facts.clusters,
        "off_scale": [
            {"run": run, "flag": facts.flags.get(run, ""), "ends": [list(pair) for pair in pairs]}
            for run, pairs in facts.off_scale.items()
        ],
        "held": list(facts.held),
        "left_out": None if facts.left_out is None else _coefficients(facts.left_out),
        "proportional_odds": asdict(test) if test else None,
        "more_scatter": None if more is None else {"statistic": more[0], "p": more[1]},
        "overdispersion": fitted.fit.counts.overdispersion if fitted.fit.counts else None,
        "classes": _classes(fitted.fit),
    }


def between_batches(fit: Fit) -> list[dict[str, Any]]:
    """Give the variance between batches of a rating or count, scale of its link; none without."""
    return [
        {
            "stratum": name, "variance": variance, "sd": variance**0.5, "interval": None,
            "df": fit.component_df[name], "is_zero": variance == 0.0,
        }
        for name, variance in fit.components.items()
        if name != "residual"
    ]  # fmt: skip


def _coefficients(fit: Fit) -> dict[str, Any]:
    return {"n": fit.n, "scale": fit.scale.name, "coefficients": fit.coefficients.tolist()}


def _classes(fit: Fit) -> dict[str, Any] | None:
    part = fit.classes
    if part is None:
        return None
    return {
        "seen": list(part.classes),
        "accepted": part.accepted.tolist(),
        "surfaces": part.surfaces.tolist(),
        "batch_sd": part.batch_sd,
    }
