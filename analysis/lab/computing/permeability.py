"""What each method of the family makes of raw readings: water, through films."""

from __future__ import annotations

import numpy as np

from analysis.lab.computing.doubts import (
    doubt,
    doubting_logarithm,
    lacking,
    lacking_option,
    number_option,
)
from analysis.lab.permeability import (
    V_LIMITS,
    W_LIMITS,
    air_layer_m,
    capillary_class,
    capillary_coefficient,
    vapour_class,
    vapour_transmission,
)
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.methods.permeability import CUP_DAYS, CUP_END, CUP_START, MASS_END, MASS_START
from doe.study.finding import Finding

_EN_1062_1, _EN_1062_3 = "EN 1062-1", "EN 1062-3:2008"


def _coefficient(unit: RawUnit, options: OptionValues) -> Computed:
    lacks = lacking(unit, (MASS_START, MASS_END)) or lacking_option(options, "area", "hours")
    if lacks is not None:
        return lacks
    gain = unit.values[MASS_END] - unit.values[MASS_START]
    area, hours = (number_option(options, name) for name in ("area", "hours"))
    w = float(capillary_coefficient(np.array(gain), area, hours))
    return Computed(value=w, findings=_doubts_of_w(w, gain))


def _doubts_of_w(w: float, gain_g: float) -> tuple[Finding, ...]:
    if gain_g < 0:
        what = "lighter out of the water than before it: the coefficient is negative."
        advice = "Look for swapped columns or a lost chip."
        return (doubt(what, advice=advice, gain_g=gain_g),)
    if w > W_LIMITS[-1]:
        what = "so much water that the standard gives no number, only class W1."
        advice = "Take the number as an order of magnitude."
        return (doubt(what, advice=advice, source=_EN_1062_3, w=w),)
    return (_class_note(f"W{capillary_class(np.array(w)):.0f}"),)


def _vapour(unit: RawUnit, options: OptionValues) -> Computed:
    columns = (CUP_START, CUP_END, CUP_DAYS)
    lacks = lacking(unit, columns, above_zero=(CUP_DAYS,)) or lacking_option(options, "area")
    if lacks is not None:
        return lacks
    change = unit.values[CUP_END] - unit.values[CUP_START]
    through = change if options.get("cup") == "dry" else -change
    days, area = unit.values[CUP_DAYS], number_option(options, "area")
    v = float(vapour_transmission(np.array(through), np.array(days), area))
    if v < 0:
        what = "the cup changed the wrong way: a wet cup loses mass and a dry one gains it."
        advice = "Look for swapped columns, or set with = { cup = … }."
        return Computed(value=v, findings=(doubt(what, advice=advice, change_g=change),))
    return Computed(value=v, findings=(_class_note(f"V{vapour_class(np.array(v)):.0f}"),))


def _air_layer(unit: RawUnit, options: OptionValues) -> Computed:
    through = _vapour(unit, options)
    if through.value is None:
        return through
    if through.value <= 0:
        what = "no vapour went through, and no layer of air holds back as much."
        return Computed(value=None, findings=(*through.findings, doubt(what)))
    sd = air_layer_m(np.array(through.value), number_option(options, "sd_times_v"))
    return Computed(value=float(sd), findings=through.findings)


def _capillary_class(unit: RawUnit, options: OptionValues) -> Computed:
    w = _coefficient(unit, options)
    if w.value is None:
        return w
    return Computed(value=float(capillary_class(np.array(w.value))), findings=_cautions(w))


def _vapour_class(unit: RawUnit, options: OptionValues) -> Computed:
    v = _vapour(unit, options)
    if v.value is None:
        return v
    return Computed(value=float(vapour_class(np.array(v.value))), findings=_cautions(v))


def _cautions(computed: Computed) -> tuple[Finding, ...]:
    return tuple(one for one in computed.findings if one.level != "note")


def _class_note(class_: str) -> Finding:
    limits = W_LIMITS if class_.startswith("W") else V_LIMITS
    return Finding(
        level="note",
        what=f"class {class_}, calculated in the manner of {_EN_1062_1}.",
        evidence={"lower limit": limits[0], "upper limit": limits[1]},
        source=_EN_1062_1,
    )


COMPUTE: dict[str, Compute] = {
    "capillary water coefficient": doubting_logarithm(_coefficient),
    "capillary water class": _capillary_class,
    "water vapour transmission": doubting_logarithm(_vapour),
    "water vapour class": _vapour_class,
    "equivalent air layer": _air_layer,
}
