"""What each method of the family makes of raw readings: water, wet scrubbing."""

from __future__ import annotations

import numpy as np

from analysis.lab.computing.doubts import (
    doubt,
    doubting_logarithm,
    lacking,
    lacking_option,
    number_option,
    passed_on,
)
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from analysis.lab.scrub import (
    loss_of_thickness_um,
    loss_per_area,
    scrub_class,
    scrubbed_area_m2,
)
from doe.methods.wet_scrub import AFTER_40, AFTER_200, CYCLES, MASS_BEFORE
from doe.study.finding import Finding

# Areas apart by no more than this part of themselves are the same, rounded. Own choice.
_SAME_AREA = 0.02


def _loss_by_mass(unit: RawUnit, options: OptionValues) -> Computed:
    return _loss_after(unit, options, AFTER_200)


def _loss(unit: RawUnit, options: OptionValues) -> Computed:
    return _thinner_after(unit, options, AFTER_200)


def _loss_after(unit: RawUnit, options: OptionValues, column: str) -> Computed:
    """Give the loss by area, g/m², from the mass after so many cycles."""
    lacks = lacking(unit, (MASS_BEFORE, column))
    area = _area_m2(options)
    if lacks is not None:
        return lacks
    if isinstance(area, Computed):
        return area
    before, after = (np.array(unit.values[name]) for name in (MASS_BEFORE, column))
    value = float(loss_per_area(before, after, area))
    return Computed(value=value, findings=(*_two_areas(options), *_doubts(unit, value)))


def _thinner_after(unit: RawUnit, options: OptionValues, column: str) -> Computed:
    """Give the loss of thickness, µm, from the mass after so many cycles."""
    loss = _loss_after(unit, options, column)
    if loss.value is None:
        return loss
    if (lacks := lacking_option(options, "density")) is not None:
        return lacks
    density = number_option(options, "density")
    value = float(loss_of_thickness_um(np.array(loss.value), density))
    return Computed(value=value, findings=loss.findings)


def _area_m2(options: OptionValues) -> float | Computed:
    """Give the scrubbed area as said, else from stroke and width."""
    area = number_option(options, "area")
    stroke, width = (number_option(options, name) for name in ("stroke", "width"))
    if area > 0:
        return area
    if stroke > 0 and width > 0:
        return scrubbed_area_m2(stroke, width)
    what = "nobody says how large the scrubbed area is."
    advice = "Set with = { area = … } in m², or stroke and width in mm."
    return Computed(value=None, findings=(doubt(what, advice=advice),))


def _two_areas(options: OptionValues) -> tuple[Finding, ...]:
    """Doubt an area that stroke and width contradict."""
    area, stroke, width = (number_option(options, name) for name in ("area", "stroke", "width"))
    if not (area > 0 and stroke > 0 and width > 0):
        return ()
    other = scrubbed_area_m2(stroke, width)
    if abs(other - area) <= _SAME_AREA * area:
        return ()
    what = "stroke times width is another area than the one given; the area given counts."
    advice = "Delete one of the two: area in m², stroke and width in mm."
    return (doubt(what, advice=advice, area_m2=area, stroke_times_width_m2=other),)


def _doubts(unit: RawUnit, loss: float) -> tuple[Finding, ...]:
    found = []
    if loss < 0:
        what = "heavier after scrubbing than before, which cannot be."
        advice = "Dry on to constant mass and weigh again; rinse off soap and abrasive."
        found.append(doubt(what, advice=advice, loss_g_per_m2=loss))
    after_40, after_200 = unit.values.get(AFTER_40), unit.values.get(AFTER_200)
    if after_40 is not None and after_200 is not None and after_40 < after_200:
        what = "lighter after 40 cycles than after 200."
        advice = "Look for swapped columns; two panels of unlike mass need a table row each."
        found.append(doubt(what, advice=advice, after_40_g=after_40, after_200_g=after_200))
    return tuple(found)


def _class(unit: RawUnit, options: OptionValues) -> Computed:
    at_200 = _thinner_after(unit, options, AFTER_200)
    if at_200.value is None:
        return at_200
    known = AFTER_40 in unit.values
    at_40 = _thinner_after(unit, options, AFTER_40).value if known else float("nan")
    class_ = float(scrub_class(np.array(at_200.value), np.array(at_40)))
    if np.isnan(class_):
        what = "class 4 or 5: the loss in 40 cycles is not read yet."
        note = Finding(level="note", what=what, advice=f"Fill in '{AFTER_40}'.")
        return Computed(value=4, value_to=5, flag="between", findings=(*at_200.findings, note))
    return Computed(value=class_, findings=at_200.findings)


def _cycles(unit: RawUnit, options: OptionValues) -> Computed:
    """Films that hold to the end come as above, and stay so."""
    cycles = passed_on(unit, CYCLES)
    if cycles is None or cycles.value is None:
        return lacking(unit, (CYCLES,)) or Computed(value=None)
    if cycles.value <= 0 or cycles.value % 1:
        what = "cycles are counted from 1, in whole numbers."
        found = doubt(what, advice="Look at the raw reading.", cycles=cycles.value)
        return Computed(
            value=cycles.value, value_to=cycles.value_to, flag=cycles.flag, findings=(found,)
        )
    return cycles


COMPUTE: dict[str, Compute] = {
    "wet-scrub loss": doubting_logarithm(_loss),
    "wet-scrub loss by mass": doubting_logarithm(_loss_by_mass),
    "wet-scrub class": _class,
    "scrub cycles to failure": _cycles,
}
