"""What each method of the family makes of raw readings: water, and what it does to films."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from analysis.lab.computing import film_ratings, permeability, wet_scrub
from analysis.lab.computing.doubts import doubt, doubting_logarithm, lacking, passed_on
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from analysis.lab.water_spot import colour_components, colour_distance
from analysis.lab.water_uptake import (
    leached_percent,
    uptake_on_initial_percent,
    uptake_on_redried_percent,
)
from doe.methods.water import (
    BEFORE,
    FIRST_BLISTER,
    OBSERVED,
    REDRIED,
    SPOT_AFTER,
    SPOT_BEFORE,
    WET,
)
from doe.study.finding import Finding


def _uptake_on_initial(unit: RawUnit, options: OptionValues) -> Computed:
    if (lacks := lacking(unit, (BEFORE, WET), above_zero=(BEFORE,))) is not None:
        return lacks
    before, wet = (np.array(unit.values[name]) for name in (BEFORE, WET))
    value = float(uptake_on_initial_percent(before, wet))
    return Computed(value=value, findings=_impossible_masses(unit))


def _uptake_on_redried(unit: RawUnit, options: OptionValues) -> Computed:
    if (lacks := lacking(unit, (WET, REDRIED), above_zero=(REDRIED,))) is not None:
        return lacks
    wet, redried = (np.array(unit.values[name]) for name in (WET, REDRIED))
    value = float(uptake_on_redried_percent(wet, redried))
    return Computed(value=value, findings=_impossible_masses(unit))


def _leached(unit: RawUnit, options: OptionValues) -> Computed:
    if (lacks := lacking(unit, (BEFORE, REDRIED), above_zero=(BEFORE,))) is not None:
        return lacks
    before, redried = (np.array(unit.values[name]) for name in (BEFORE, REDRIED))
    value = float(leached_percent(before, redried))
    return Computed(value=value, findings=_impossible_masses(unit))


def _impossible_masses(unit: RawUnit) -> tuple[Finding, ...]:
    """Doubt masses in an order that no film shows."""
    nan = float("nan")
    before, wet, redried = (unit.values.get(name, nan) for name in (BEFORE, WET, REDRIED))
    found = []
    if wet < before:
        found.append(
            doubt(
                "lighter out of the water than before it: the uptake on initial mass is negative.",
                advice="More washed out than was taken up, or a weighing is wrong: read the uptake "
                "on re-dried mass.",
                mass_before=before,
                mass_wet=wet,
            )
        )
    if wet < redried:
        found.append(
            doubt(
                "lighter wet than re-dried, which cannot be.",
                advice="Look for swapped columns or another film.",
                mass_wet=wet,
                mass_re_dried=redried,
            )
        )
    if redried > before:
        found.append(
            doubt(
                "heavier re-dried than before the water, which cannot be.",
                advice="Dry on to constant mass and weigh again; within the scatter of the balance "
                "it is no leaching.",
                mass_before=before,
                mass_re_dried=redried,
            )
        )
    return tuple(found)


def _colour_difference(unit: RawUnit, options: OptionValues) -> Computed:
    components = _components(unit)
    if isinstance(components, Computed):
        return components
    return Computed(value=float(colour_distance(np.array(components))))


def _component(place: int) -> Compute:
    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        components = _components(unit)
        if isinstance(components, Computed):
            return components
        return Computed(value=components[place])

    return compute


def _components(unit: RawUnit) -> tuple[float, ...] | Computed:
    """Give ΔL*, Δa*, Δb*, or why there are none."""
    if (lacks := lacking(unit, (*SPOT_BEFORE, *SPOT_AFTER))) is not None:
        return lacks
    before, after = (
        np.array([unit.values[name] for name in names]) for names in (SPOT_BEFORE, SPOT_AFTER)
    )
    return tuple(float(part) for part in colour_components(before, after))


def _days_to_first_blister(unit: RawUnit, options: OptionValues) -> Computed:
    """Sound at the end counts as above the days observed; off-scale readings stand as they are."""
    first = passed_on(unit, FIRST_BLISTER)
    observed = unit.values.get(OBSERVED)
    if first is None:
        if FIRST_BLISTER in unit.off_scale or observed is None:
            return lacking(unit, (FIRST_BLISTER, OBSERVED)) or Computed(value=None)
        return Computed(value=observed, flag="above")
    doubts = []
    if first.value is not None and observed is not None and first.value > observed:
        doubts.append(
            doubt(
                "blistered after more days than it was watched.",
                advice="Look at both columns.",
                first_blister_d=first.value,
                observed_d=observed,
            )
        )
    return Computed(
        value=first.value, value_to=first.value_to, flag=first.flag, findings=tuple(doubts)
    )


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "water uptake": doubting_logarithm(_uptake_on_initial),
        "water uptake on re-dried mass": doubting_logarithm(_uptake_on_redried),
        "leached part": _leached,
        "water-spot colour difference": _colour_difference,
        "water-spot lightness change": _component(0),
        "water-spot redness change": _component(1),
        "water-spot yellowness change": _component(2),
        "days to first blister": doubting_logarithm(_days_to_first_blister),
    }
    | permeability.COMPUTE
    | wet_scrub.COMPUTE
    | film_ratings.COMPUTE
)
