"""Each response as the page's script reads it: terms, coefficients, what the intervals need."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.choice.desirability import Aim
from analysis.fits.fit import Fit
from analysis.report.decide.numbers import Json, number, numbers
from analysis.surface.acceptance import accept_limits
from analysis.surface.exact import COMPUTED, ExactResponse, Surface
from analysis.surface.predict import future_run
from doe.model.expansion import BentExpansion, Expansion, compile_model
from doe.study.brief import Response


def response_data(response: Response, surface: Surface, aim: Aim | None) -> Json:
    """Describe one response with its limits, its aim and its model."""
    limits = accept_limits((response,))
    is_rating = isinstance(surface, Fit) and surface.classes is not None
    body: Json = {
        "name": response.name,
        "unit": "probability" if is_rating else surface.unit,
        "valueIs": _value_is(surface),
        "limits": [
            {"limit": one.limit, "side": one.side, "words": one.bound(), "rests": one.words()}
            for one in limits
        ],
        "aim": None if aim is None else _aim(aim),
    }
    model = _exact(surface) if isinstance(surface, ExactResponse) else _model(surface)
    return {**body, **model}


def _value_is(surface: Surface) -> str:
    """Say what a value is: the link of a rating or a count makes no median of it."""
    if isinstance(surface, Fit) and surface.classes is not None:
        return "probability"
    if isinstance(surface, Fit) and surface.counts is not None:
        return "mean"
    return surface.scale.value_is


def _aim(aim: Aim) -> Json:
    return {
        "importance": aim.importance,
        "shape": aim.shape,
        "ramps": [list(ramp) for ramp in aim.ramps],
    }


def _exact(surface: ExactResponse) -> Json:
    form = surface.form
    return {
        "kind": "computed",
        "predictFor": COMPUTED,
        "scale": {"name": "identity", "power": None, "bounds": None},
        "shares": list(form.shares),
        "dose": form.dose,
        "heldDose": form.held_dose,
        "mayLack": form.may_lack,
        "choice": form.choice,
        "top": numbers(form.top),
        "bottom": numbers(form.bottom),
        "balance": numbers(form.balance_g),
    }


def _model(fit: Fit) -> Json:
    expansion = compile_model(fit.coding, fit.model)
    kind = "rating" if fit.classes is not None else "count" if fit.counts is not None else "model"
    bounds = None if fit.scale.bounds is None else list(fit.scale.bounds)
    return {
        "kind": kind,
        "predictFor": future_run(fit),
        "scale": {"name": fit.scale.name, "power": fit.scale.power, "bounds": bounds},
        **_terms(expansion),
        "bend": _bend(expansion) if isinstance(expansion, BentExpansion) else None,
        "b": numbers(fit.coefficients),
        "V": numbers(fit.covariance),
        "newRun": number(fit.new_run_variance),
        "df": _degrees(fit),
        "overdispersion": fit.counts.overdispersion if fit.counts is not None else None,
        "controls": _controls(fit.control_means),
    }


def _terms(expansion: Expansion) -> Json:
    """Give the columns as products of features: 1, numeric settings, contrasts of choices."""
    return {
        "numeric": [int(j) for j in expansion.numeric],
        "contrasts": [
            {"axis": one.axis, "byLevel": [number(value) for value in one.by_level]}
            for one in expansion.contrasts
        ],
        "columns": _factors(expansion.products.index),
        "less": [
            [int(column), factors]
            for column, factors in zip(
                expansion.subtracted.column, _factors(expansion.subtracted.index), strict=True
            )
        ],
    }


def _bend(expansion: BentExpansion) -> Json:
    """Give the form that bends one axis, and the columns that hold it, without it."""
    bend = expansion.bend
    return {
        "axis": expansion.axis,
        "form": bend.form,
        "low": bend.low,
        "high": bend.high,
        "shape": list(bend.shape),
        "weights": list(bend.weights),
        "rest": _terms(expansion.rest),
    }


def _factors(index: NDArray[np.intp]) -> list[list[int]]:
    """List the features of each product without the constant, which is 1."""
    return [[int(feature) for feature in row if feature] for row in index]


def _degrees(fit: Fit) -> Json:
    """Give what degrees of freedom hang on; see `analysis.surface.predict` and `contrasts`."""
    known = fit.adjustment
    if known is not None:
        weights = [fit.new_run_weights[name] for name in known.strata]
        return {
            "by": "strata",
            "unadjusted": numbers(known.unadjusted),
            "slopes": numbers(known.slopes),
            "W": numbers(known.component_covariance),
            "weights": weights,
        }
    shared = bool(np.all(fit.coefficient_df == fit.coefficient_df[0]))
    residual = fit.component_df["residual"]
    return {
        "by": "residual" if fit.method != "ml" and shared else "coefficients",
        "residual": number(residual if residual > 0 else float("nan")),
        "each": numbers(fit.coefficient_df),
        "components": [
            [number(variance), number(fit.component_df[name])]
            for name, variance in fit.components.items()
        ],
    }


def _controls(means: Mapping[str, tuple[float, float]]) -> list[Json]:
    """Give the means of the controls, fitted scale, with their standard errors."""
    return [
        {"name": name, "mean": number(mean), "error": number(error)}
        for name, (mean, error) in means.items()
    ]
