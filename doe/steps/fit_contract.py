"""What `fit --json` says of one response (DESIGN.md, section 4, `fit`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from analysis.fits.assessment import Assessment, ComponentRow
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.surface.level_comparison import LevelComparison
from doe.model.coding import Axis, ChoiceAxis, ShareAxis
from doe.steps.contract import finding_object
from doe.steps.form_contract import form_object
from doe.steps.likelihood_contract import between_batches, likelihood_object
from doe.steps.reduction_contract import reduction_object


def response_object(
    fitted: FittedResponse, comparisons: Sequence[LevelComparison] = ()
) -> dict[str, Any]:
    """Give everything that is known of one fitted response."""
    fit, known = fitted.fit, fitted.assessment
    return {
        "model": fit.model.name,
        "terms": [row.label for row in known.coefficients],
        "family": fit.family,
        "method": fit.method,
        "strata": list(known.strata),
        "scale": fit.scale.name,
        "power": fit.scale.power,
        "value_is": fit.value_is,
        "unit": fit.unit,
        "per": fit.per,
        "n": fit.n,
        "coding": [_axis_object(axis) for axis in fit.coding.axes],
        "coefficients": [asdict(row) for row in known.coefficients],
        "comparisons": [asdict(comparison) for comparison in comparisons],
        "level": known.level,
        "residual_df": known.residual_df,
        "residual_sd": known.residual_sd,
        "total_sd": fit.total_sd if known.residual_sd is not None else None,
        "r2": known.r2,
        "r2_adjusted": known.r2_adjusted,
        "r2_predicted": known.r2_predicted,
        "press": known.press,
        "aicc": known.aicc,
        "anova": [asdict(row) for row in known.anova],
        "anova_by_order": [asdict(row) for row in known.anova_by_order],
        "lack_of_fit": [asdict(row) for row in known.lack_of_fit],
        "r2_predicted_by_unit": known.r2_predicted_by_unit,
        "press_by_unit": known.press_by_unit,
        "unit_left_out": known.unit_left_out,
        "variance_components": _components(known, fit),
        "by_reading": fit.by_reading,
        "terms_vary": dict(known.terms_vary),
        "least_squares_misleads": [asdict(row) for row in known.misleading],
        "blocks": {"name": known.blocks, "effects": dict(known.block_effects)},
        "controls": {
            name: {"mean": mean, "std_error": error}
            for name, (mean, error) in fit.control_means.items()
        },
        "checks": _checks_object(known),
        **reduction_object(fitted.reduction),
        "form": form_object(fitted.form),
        "likelihood": likelihood_object(fitted),
        "runs": [asdict(row) for row in known.runs],
        "findings": [finding_object(finding) for finding in fitted.findings],
    }


def _components(known: Assessment, fit: Fit) -> list[dict[str, Any]]:
    """Give one entry a stratum, coarsest first; the residual alone where nothing is shared."""
    if known.components:
        return [asdict(row) for row in known.components]
    if fit.family in ("ordinal", "count"):
        return between_batches(fit)
    variance = fit.components["residual"]
    alone = ComponentRow(
        stratum="residual",
        variance=variance,
        sd=fit.residual_sd,
        interval=None,
        df=fit.component_df["residual"],
        is_zero=variance == 0,
        units=known.n,
    )
    return [asdict(alone)]


def _axis_object(axis: Axis) -> dict[str, Any]:
    if isinstance(axis, ChoiceAxis):
        return {"name": axis.name, "coded": "sum to zero", "levels": list(axis.levels)}
    if isinstance(axis, ShareAxis):
        return {"name": axis.name, "coded": "real proportion", "low": axis.low, "high": axis.high}
    return {
        "name": axis.name,
        "unit": axis.unit,
        "coded": "(ln x − middle) / half range"
        if axis.spacing == "log"
        else "(x − middle) / half range",
        "low": axis.low,
        "high": axis.high,
        "spacing": axis.spacing,
        "levels": list(axis.levels),
        "ranges": [asdict(entry) for entry in axis.ranges],
    }


def _checks_object(known: Assessment) -> dict[str, Any]:
    return {
        "vif": dict(known.vif),
        "condition": known.condition,
        "digits_left": known.digits_left,
        "box_cox": asdict(known.box_cox) if known.box_cox else None,
        "outliers": [asdict(outlier) for outlier in known.outliers],
        "outlier_limit": known.outlier_limit,
        "order": asdict(known.order) if known.order else None,
        "scatter": asdict(known.scatter) if known.scatter else None,
        "normality": asdict(known.normality) if known.normality else None,
    }
