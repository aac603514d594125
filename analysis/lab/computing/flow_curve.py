"""What each method of the family makes of raw readings: viscosity, from whole flow curves."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from types import MappingProxyType

import numpy as np

from analysis.lab.computing.doubts import doubt, number_option
from analysis.lab.flow_curve_fit import FEWEST_RATES, best_flow_fit
from analysis.lab.flow_curves import (
    FLOW_MODELS,
    Errors,
    FlowFit,
    FlowModel,
    interpolated_viscosity,
)
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.methods.flow_curve import BETWEEN_POINTS
from doe.study.curves import Curve
from doe.study.finding import Finding

_PLASTIC: tuple[FlowModel, ...] = ("Bingham", "Casson")
_POWERS: tuple[FlowModel, ...] = ("power law", "Herschel-Bulkley")
# A model that misses a curve by more than this, as one standard deviation, does not describe it;
# common practice, no source.
_MISSES = 0.10
# What becomes of a fit: value and findings.
_Reads = Callable[[FlowFit, OptionValues], tuple[float, tuple[Finding, ...]]]


@lru_cache(maxsize=512)
def _fitted(
    rate: tuple[float, ...],
    stress: tuple[float, ...],
    models: tuple[FlowModel, ...],
    errors: Errors,
) -> FlowFit:
    """Fit once what several responses ask of one curve; the same curve gives the same fit."""
    return best_flow_fit(np.array(rate), np.array(stress), models, errors=errors)


def _from_fit(models: tuple[FlowModel, ...], reads: _Reads) -> Compute:
    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        curve = unit.curves.get("")
        if (why := _unusable(curve)) is not None or curve is None:
            return Computed(value=None, findings=(why,) if why else ())
        said = options.get("model")
        chosen = tuple(model for model in models if model == said) or models
        errors: Errors = "even" if options.get("errors") == "even" else "relative"
        fit = _fitted(curve.x, curve.y, chosen, errors)
        value, findings = reads(fit, options)
        return Computed(value=value, findings=(*_about(fit, chosen, np.array(curve.y)), *findings))

    return compute


def _unusable(curve: Curve | None) -> Finding | None:
    if curve is None:
        return Finding(level="note", what="the flow curve is not read yet.")
    if min(curve.x) <= 0.0 or min(curve.y) <= 0.0:
        return doubt(
            "the flow curve holds a shear rate or stress that is not above 0.",
            advice="Leave such points out: they are below what the instrument can tell.",
        )
    if len(curve.x) < FEWEST_RATES:
        return doubt(
            "the flow curve has too few shear rates for a model.",
            advice="Measure it at more rates, spread evenly on a log scale.",
            source="at least five: common practice, no source",
            shear_rates=len(curve.x),
            needed=FEWEST_RATES,
        )
    return None


def _about(fit: FlowFit, models: Sequence[FlowModel], stress: np.ndarray) -> tuple[Finding, ...]:
    """Say which model was taken, how well it does, and whether its yield stress was negative."""
    found: list[Finding] = []
    if len(models) > 1:
        what = f"the flow model is {fit.model}, the one of least AICc."
        found.append(Finding(level="note", what=what, evidence=_evidence(fit)))
    if fit.yield_was_negative:
        what = f"{fit.model}: the yield stress would be 0 or less; it is set to 0."
        found.append(Finding(level="note", what=what, evidence=_evidence(fit)))
    scatter = fit.residual_sd / (1.0 if fit.errors == "relative" else float(np.mean(stress)))
    if scatter > _MISSES:
        found.append(
            doubt(
                f"{fit.model} does not follow the flow curve.",
                advice="Look at the curve; take another model, or the viscosity between points.",
                source="10 % scatter: common practice, no source",
                scatter_percent=100.0 * scatter,
            )
        )
    return tuple(found)


def _evidence(fit: FlowFit) -> dict[str, float | int | str]:
    low, high = fit.yield_interval()
    every = {
        "yield stress, Pa": fit.yield_stress,
        "its standard error, Pa": fit.yield_error,
        "low end (95 %), Pa": low,
        "high end (95 %), Pa": high,
        "consistency, Pa·sⁿ": fit.consistency,
        "standard error of the consistency": fit.consistency_error,
        "flow index": fit.index,
        "standard error of the index": fit.index_error,
        "residual sd": fit.residual_sd,
        "AICc": fit.aicc,
    }
    return {name: value for name, value in every.items() if math.isfinite(value)}


def _yield(fit: FlowFit, options: OptionValues) -> tuple[float, tuple[Finding, ...]]:
    if fit.model == "power law":
        note = Finding(level="note", what="a power law has no yield stress: it counts as 0.")
        return 0.0, (note,)
    low, _ = fit.yield_interval()
    if not low > 0.0:
        return fit.yield_stress, ()
    sign = Finding(
        level="note",
        what="a yield stress: in an unthickened mill base a sign of flocculation, in a thickened "
        "paint none.",
        evidence=_evidence(fit),
        advice="Look at dose, rub-out and strength of these runs.",
        source="common practice, no source",
    )
    return fit.yield_stress, (sign,)


def _plastic(fit: FlowFit, options: OptionValues) -> tuple[float, tuple[Finding, ...]]:
    return 1000.0 * fit.consistency, ()


def _consistency(fit: FlowFit, options: OptionValues) -> tuple[float, tuple[Finding, ...]]:
    return fit.consistency, ()


def _index(fit: FlowFit, options: OptionValues) -> tuple[float, tuple[Finding, ...]]:
    # Thickening beyond its own uncertainty.
    if not fit.index - 2.0 * fit.index_error > 1.0:
        return fit.index, ()
    note = Finding(
        level="note",
        what="it thickens under shear, as a crowded mill base does.",
        evidence=_evidence(fit),
        advice="Look at pigment content and dose before grinding it longer.",
    )
    return fit.index, (note,)


def _apparent(fit: FlowFit, options: OptionValues) -> tuple[float, tuple[Finding, ...]]:
    rate = number_option(options, "rate")
    value = 1000.0 * fit.apparent_viscosity(rate)
    if fit.lowest_rate <= rate <= fit.highest_rate:
        return value, ()
    return value, (_beyond(rate, fit.lowest_rate, fit.highest_rate),)


def _beyond(rate: float, lowest: float, highest: float) -> Finding:
    return doubt(
        "the shear rate lies outside those measured: the model is stretched.",
        advice="Measure the curve as far as the rate that matters.",
        rate_per_s=rate,
        lowest_rate_per_s=lowest,
        highest_rate_per_s=highest,
    )


_FROM_MODEL = _from_fit(FLOW_MODELS, _apparent)


def _viscosity_at(unit: RawUnit, options: OptionValues) -> Computed:
    rate = number_option(options, "rate")
    if not rate > 0.0:
        why = doubt("the brief names no shear rate.", advice="Set with = { rate = … }.")
        return Computed(value=None, findings=(why,))
    curve = unit.curves.get("")
    if options.get("model") != BETWEEN_POINTS or curve is None:
        return _FROM_MODEL(unit, options)
    if min(curve.x) <= 0.0 or min(curve.y) <= 0.0:
        return _FROM_MODEL(unit, options)
    value = interpolated_viscosity(np.array(curve.x), np.array(curve.y), rate)
    if math.isfinite(value):
        return Computed(value=1000.0 * value)
    why = doubt(
        "the shear rate lies outside those measured, and nothing lies between points there.",
        advice="Measure the curve as far as the rate that matters, or name a model.",
        rate_per_s=rate,
        lowest_rate_per_s=curve.x[0],
        highest_rate_per_s=curve.x[-1],
    )
    return Computed(value=None, findings=(why,))


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "yield stress": _from_fit(FLOW_MODELS, _yield),
        "plastic viscosity": _from_fit(_PLASTIC, _plastic),
        "consistency index": _from_fit(_POWERS, _consistency),
        "flow index": _from_fit(_POWERS, _index),
        "apparent viscosity at a shear rate": _viscosity_at,
    }
)
