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
# Shear rates (1/s) and stresses (Pa) beyond these are slips of unit or sign: own choice, wide.
_RATES = _STRESSES = (1e-6, 1e8)
# Least highest shear rate over the lowest; common practice, no source.
_SPAN = 2.0
# A slope of ln stress over ln rate below this is none: it cannot be told from rounding.
_FLAT = 1e-6
# A consistency that carries less than this part of the stress anywhere is none.
_NO_RISE = 1e-6
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
        stress = np.array(curve.y)
        about = (*_about(fit, chosen, stress), *_falls_somewhere(stress))
        if reads in (_plastic, _consistency, _index) and _is_flat(fit):
            return Computed(value=None, findings=(*about, _flat(fit.model)))
        value, findings = reads(fit, options)
        return Computed(value=value, findings=(*about, *findings))

    return compute


def _unusable(curve: Curve | None) -> Finding | None:
    if curve is None:
        return Finding(level="note", what="the flow curve is not read yet.")
    if min(curve.x) <= 0.0 or min(curve.y) <= 0.0:
        return doubt(
            "the flow curve holds a shear rate or stress that is not above 0.",
            advice="Leave such points out: they are below what the instrument can tell.",
        )
    if (why := _beyond_instruments(curve)) is not None:
        return why
    if len(curve.x) < FEWEST_RATES:
        return doubt(
            "the flow curve has too few shear rates for a model.",
            advice="Measure it at more rates, spread evenly on a log scale.",
            source="at least five: common practice, no source",
            shear_rates=len(curve.x),
            needed=FEWEST_RATES,
        )
    return _not_rising(curve)


def _beyond_instruments(curve: Curve) -> Finding | None:
    """Refuse numbers that no instrument gives: a wrong unit or a lost decimal sign."""
    numbers = ((curve.x, _RATES), (curve.y, _STRESSES))
    if not all(low <= value <= high for values, (low, high) in numbers for value in values):
        return doubt(
            "the flow curve holds a shear rate or stress that no instrument gives.",
            advice="Look at the units and decimal signs of the file.",
            source="1e-6 to 1e8 1/s and 1e-6 to 1e8 Pa: own choice, far beyond any instrument",
        )
    if curve.x[-1] < _SPAN * curve.x[0]:
        return doubt(
            "the shear rates of the flow curve lie too close together for a model.",
            advice="Spread them over two decades.",
            source="common practice, no source",
            lowest_rate_per_s=curve.x[0],
            highest_rate_per_s=curve.x[-1],
        )
    return None


def _not_rising(curve: Curve) -> Finding | None:
    """Refuse a stress that does not rise with the rate: no flow model falls."""
    slope = float(np.polyfit(np.log(curve.x), np.log(curve.y), 1)[0])
    if slope > _FLAT:
        return None
    return doubt(
        "the stress of the flow curve does not rise with the shear rate: slip at the wall, shear "
        "bands, or a sample that breaks down while it is read.",
        advice="Read it again with a roughened tool, a narrower gap, and a longer time at each "
        "rate.",
        source="common practice, no source",
        stress_at_lowest_rate_Pa=curve.y[0],
        stress_at_highest_rate_Pa=curve.y[-1],
    )


def _falls_somewhere(stress: np.ndarray) -> tuple[Finding, ...]:
    """Doubt a curve that rises on the whole, but falls on the way."""
    highest = np.maximum.accumulate(stress)
    fall = float(np.max(1.0 - stress / highest))
    if fall <= _MISSES:
        return ()
    return (
        doubt(
            "the stress falls at some shear rates while these rise: slip at the wall, shear bands, "
            "or a sample that breaks down while it is read.",
            advice="Look at the curve, and read it again with a roughened tool if in doubt.",
            source="a fall of 10 %: common practice, no source",
            fall_percent=100.0 * fall,
        ),
    )


def _about(fit: FlowFit, models: Sequence[FlowModel], stress: np.ndarray) -> tuple[Finding, ...]:
    """Say which model was taken, how well it does, and whether its yield stress was negative."""
    found: list[Finding] = []
    if len(models) > 1:
        found.append(
            Finding(
                level="caution",
                what=f"auto took {fit.model}, the model of least AICc: it does not compare with "
                "runs for which auto took another.",
                evidence=_evidence(fit),
                advice=f'Name one model for all runs: with = {{ model = "{fit.model}" }}.',
            )
        )
    else:
        found.append(Finding(level="note", what=f"the flow model is {fit.model}."))
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


def _is_flat(fit: FlowFit) -> bool:
    """Tell whether the fitted stress does not rise above its yield stress at any rate measured."""
    most = fit.stress(np.array([fit.highest_rate]))[0]
    return bool(fit.consistency * fit.highest_rate**fit.index <= _NO_RISE * most)


def _flat(model: FlowModel) -> Finding:
    return doubt(
        f"{model} finds no rise of the stress with the shear rate, and no viscosity follows.",
        advice="Look at the curve, and measure it to higher shear rates.",
    )


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
    if min(curve.x) <= 0.0 or min(curve.y) <= 0.0 or _beyond_instruments(curve) is not None:
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
