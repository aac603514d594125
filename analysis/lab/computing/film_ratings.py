"""What each method of the family makes of raw readings: water, defects that an eye rates."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.lab.computing.doubts import doubt, lacking, number_option, passed_on
from analysis.lab.ratings import (
    blister_code,
    cross_cut_class,
    cross_cut_rating,
    frequency_blister_code,
    is_half_step,
    rust_grade,
    rust_rating,
    turned_cross_cut,
)
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.methods import film_ratings as methods
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# Grades by pictures: one step from the area is how eyes differ, more is a slip (own choice).
_EYES = 1.0
_SOUND_SIZE_NUMBER = 10


def _rated(column: str) -> Compute:
    """Make the function of a rating that stands as read."""

    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        if (lacks := lacking(unit, (column,))) is not None:
            return lacks
        rating = unit.values[column]
        return Computed(value=rating, findings=(*_steps(rating, options), *_blister_doubts(unit)))

    return compute


def _steps(rating: float, options: OptionValues) -> tuple[Finding, ...]:
    if options.get("half_steps", "yes") == "yes" or not is_half_step(rating):
        return ()
    what = "a half step, and none were agreed."
    advice = 'Agree on them, with = { half_steps = "yes" }, or rate in whole steps.'
    return (doubt(what, advice=advice, source="ISO 4628-1", rating=rating),)


def _blister_doubts(unit: RawUnit) -> tuple[Finding, ...]:
    """Doubt blisters without a size, or a size without blisters."""
    values = unit.values
    if methods.BLISTER_DENSITY in values and methods.BLISTER_SIZE in values:
        density, size = values[methods.BLISTER_DENSITY], values[methods.BLISTER_SIZE]
        is_odd, code = (density == 0) != (size == 0), blister_code(density, size)
    elif methods.SIZE_NUMBER in values and methods.FREQUENCY in values:
        number, letters = int(values[methods.SIZE_NUMBER]), int(values[methods.FREQUENCY])
        is_odd = (number == _SOUND_SIZE_NUMBER) != (letters == 0)
        code = frequency_blister_code(number, letters)
    else:
        return ()
    if not is_odd:
        return ()
    what = f"blisters rated {code}: none of a size, or a size of none."
    return (doubt(what, advice="Look at both columns."),)


def _rust_area(unit: RawUnit, options: OptionValues) -> Computed:
    """An area too small to be told from none counts as below the least that is."""
    area = passed_on(unit, methods.RUST_AREA)
    if area is None or area.value is None:
        return lacking(unit, (methods.RUST_AREA,)) or Computed(value=None)
    least = number_option(options, "least")
    if area.flag == "ok" and area.value < least:
        what = "no rust to be told from none: counted as below the least area."
        note = Finding(level="note", what=what, evidence={"least %": least}, source="ASTM D610-08")
        return Computed(value=least, flag="below", findings=(note,))
    findings = (*_beyond(area.value), *(_rust_apart(unit, area.value) if area.flag == "ok" else ()))
    return Computed(value=area.value, value_to=area.value_to, flag=area.flag, findings=findings)


def _rust_apart(unit: RawUnit, area_percent: float) -> tuple[Finding, ...]:
    """Doubt an area that the ratings of the same panel contradict."""
    scales = ((methods.RUST_GRADE, rust_grade, _EYES), (methods.RUST_RATING, rust_rating, 0.0))
    found = np.array(area_percent)
    if all(
        abs(unit.values.get(name, by := float(by_area(found))) - by) <= may_differ
        for name, by_area, may_differ in scales
    ):
        return ()
    what = "ratings and area of one panel contradict each other; the area counts here."
    return (doubt(what, advice="Look for a scale read the wrong way round."),)


def _graded(
    own: str,
    area: str,
    by_area: Callable[[FloatArray], FloatArray],
    *,
    turned: str = "",
    may_differ: float = 0.0,
) -> Compute:
    """Make the function of a rating that is read, or follows from its opposite or an area.

    Args:
        own: Raw column of the rating itself.
        area: Raw column of the area.
        by_area: Gives the rating from the area, %.
        turned: Raw column of the scale that runs the other way; empty without one.
        may_differ: Steps by which eye and area may differ without a doubt.
    """

    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        rated = [unit.values[own]] if own in unit.values else []
        if turned in unit.values:
            rated.append(float(turned_cross_cut(np.array(unit.values[turned]))))
        findings: list[Finding] = []
        if area in unit.values:
            findings += _beyond(unit.values[area])
            rated.append(float(by_area(np.array(unit.values[area]))))
        if not rated:
            return _none_of(unit, (own, turned, area))
        if max(rated) - min(rated) > may_differ:
            what = "ratings and area of one panel contradict each other; the first column counts."
            findings.append(doubt(what, advice="Look for a scale read the wrong way round."))
        return Computed(value=rated[0], findings=tuple(findings))

    return compute


def _beyond(area_percent: float) -> tuple[Finding, ...]:
    if 0 <= area_percent <= 100:
        return ()
    what = "a part of the area below 0 or above 100 % cannot be."
    return (doubt(what, advice="Look at the raw reading.", area_percent=area_percent),)


def _none_of(unit: RawUnit, columns: tuple[str, ...]) -> Computed:
    known = [name for name in columns if name]
    if off := [name for name in known if name in unit.off_scale]:
        return lacking(unit, off) or Computed(value=None)
    listed = ", ".join(f"'{name}'" for name in known)
    return Computed(
        value=None, findings=(Finding(level="note", what=f"none of {listed} read yet."),)
    )


def _cut(state: str, *, is_class: bool) -> Compute:
    area, class_, rating = (
        f"{state}{name}" for name in (methods.FLAKED_AREA, methods.CUT_CLASS, methods.CUT_RATING)
    )
    if is_class:
        return _graded(class_, area, cross_cut_class, turned=rating)
    return _graded(rating, area, cross_cut_rating, turned=class_)


COMPUTE: dict[str, Compute] = {
    "blister density": _rated(methods.BLISTER_DENSITY),
    "blister size": _rated(methods.BLISTER_SIZE),
    "blister size number": _rated(methods.SIZE_NUMBER),
    "blister frequency": _rated(methods.FREQUENCY),
    "rust area": _rust_area,
    "rust grade": _graded(methods.RUST_GRADE, methods.RUST_AREA, rust_grade, may_differ=_EYES),
    "rust rating": _graded(methods.RUST_RATING, methods.RUST_AREA, rust_rating),
    "cross-cut class": _cut(methods.DRY, is_class=True),
    "cross-cut rating": _cut(methods.DRY, is_class=False),
    "wet cross-cut class": _cut(methods.WET, is_class=True),
    "wet cross-cut rating": _cut(methods.WET, is_class=False),
    "early water rating": _rated(methods.EARLY_WATER),
    "surfactant leaching rating": _rated(methods.LEACHING),
}
