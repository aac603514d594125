"""What each method of the family makes of raw readings: stability."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import get_args

import numpy as np

from analysis.lab.computing.doubts import (
    doubt,
    lacking,
    lacking_option,
    number_option,
    passed_on,
)
from analysis.lab.foam import air_percent, density_g_per_ml
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from analysis.lab.solids import non_volatile_percent
from analysis.lab.storage import ChangeAs, change, syneresis_percent
from doe.methods import stability as methods
from doe.study.finding import Finding

_PH_END = 14.0


def _change_after_storage(unit: RawUnit, options: OptionValues) -> Computed:
    as_: ChangeAs = next(way for way in get_args(ChangeAs) if way == options["as"])
    ages = _two_ages(unit, options)
    if isinstance(ages, Computed):
        return ages
    start, end = ages
    if as_ != "difference" and start * end <= 0:
        what = f"a {as_} needs both ages of one sign, none of them zero."
        return Computed(
            value=None,
            findings=(doubt(what, advice='Take as = "difference".', start=start, end=end),),
        )
    return Computed(value=float(change(np.array(start), np.array(end), as_)))


def _ph_drift(unit: RawUnit, options: OptionValues) -> Computed:
    ages = _two_ages(unit, options)
    if isinstance(ages, Computed):
        return ages
    start, end = ages
    findings: tuple[Finding, ...] = ()
    if not (0 <= min(ages) and max(ages) <= _PH_END):
        what = "a pH below 0 or above 14 is no pH of a millbase."
        findings = (doubt(what, advice="Look at the raw readings.", start=start, end=end),)
    return Computed(
        value=float(change(np.array(start), np.array(end), "difference")), findings=findings
    )


def _two_ages(unit: RawUnit, options: OptionValues) -> tuple[float, float] | Computed:
    """Give the values at start and end, or why there are none."""
    start_d, end_d = number_option(options, "start_d"), number_option(options, "end_d")
    if not end_d > start_d:
        what = "the later age must lie after the first."
        advice = "Set start_d and end_d anew."
        return Computed(value=None, findings=(doubt(what, advice=advice),))
    at = dict(unit.points)
    if start_d not in at or end_d not in at:
        return Computed(
            value=None, findings=(Finding(level="note", what="one of both ages not read yet."),)
        )
    return at[start_d], at[end_d]


def _settling(unit: RawUnit, options: OptionValues) -> Computed:
    return passed_on(unit, methods.SETTLING) or _lacks(unit, methods.SETTLING)


def _syneresis(unit: RawUnit, options: OptionValues) -> Computed:
    columns = (methods.CLEAR, methods.HEIGHT)
    if (lacks := lacking(unit, columns, above_zero=columns[1:])) is not None:
        return lacks
    clear, height = (unit.values[name] for name in columns)
    findings: tuple[Finding, ...] = ()
    if not 0 <= clear <= height:
        what = "the clear layer is below zero or higher than the filling."
        advice = "Look at the raw readings; were the columns swapped?"
        findings = (doubt(what, advice=advice, clear_mm=clear, height_mm=height),)
    value = float(syneresis_percent(np.array(clear), np.array(height)))
    return Computed(value=value, findings=findings)


def _air_content(unit: RawUnit, options: OptionValues) -> Computed:
    columns = (methods.FOAMED, methods.DEAERATED)
    if (lacks := lacking(unit, columns, above_zero=columns)) is not None:
        return lacks
    foamed, deaerated = (unit.values[name] for name in columns)
    value = float(air_percent(np.array(foamed), np.array(deaerated)))
    findings: tuple[Finding, ...] = ()
    if value < 0:
        what = "denser with its air than without it, which cannot be."
        advice = "Look for swapped columns, another temperature, or water lost under vacuum."
        findings = (doubt(what, advice=advice, air_percent=value),)
    elif value > number_option(options, "limit"):
        what = "so much air that whatever goes by volume misleads."
        advice = "De-air before you read density, strength or gloss, or leave those readings out."
        source = "Limit: common practice, no source."
        findings = (doubt(what, advice=advice, source=source, air_percent=value),)
    return Computed(value=value, findings=findings)


def _density(unit: RawUnit, options: OptionValues) -> Computed:
    columns = (methods.CUP_EMPTY, methods.CUP_FILLED)
    lacks = lacking(unit, columns) or lacking_option(options, "volume")
    if lacks is not None:
        return lacks
    empty, filled = (np.array(unit.values[name]) for name in columns)
    value = float(density_g_per_ml(empty, filled, number_option(options, "volume")))
    findings: tuple[Finding, ...] = ()
    if value <= 0:
        what = "the filled cup weighs no more than the empty one."
        findings = (doubt(what, advice="Look for swapped columns.", density=value),)
    return Computed(value=value, findings=findings)


def _non_volatile(unit: RawUnit, options: OptionValues) -> Computed:
    columns = (methods.DISH, methods.DISH_WET, methods.DISH_DRY)
    if (lacks := lacking(unit, columns)) is not None:
        return lacks
    dish, wet, dry = (unit.values[name] for name in columns)
    if wet <= dish:
        what = "the dish weighs no less without the sample than with it."
        return Computed(value=None, findings=(doubt(what, advice="Look for swapped columns."),))
    findings: tuple[Finding, ...] = ()
    if not dish <= dry <= wet:
        what = "the residue weighs less than nothing or more than the sample."
        findings = (doubt(what, advice="Look at the raw readings.", residue_g=dry - dish),)
    value = float(non_volatile_percent(np.array(dish), np.array(wet), np.array(dry)))
    return Computed(value=value, findings=findings)


def _lacks(unit: RawUnit, column: str) -> Computed:
    return lacking(unit, (column,)) or Computed(value=None)


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "change after storage": _change_after_storage,
        "pH drift": _ph_drift,
        "settling rating": _settling,
        "syneresis": _syneresis,
        "air content": _air_content,
        "density": _density,
        "non-volatile": _non_volatile,
    }
)
