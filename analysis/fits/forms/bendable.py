"""Which factors of a study a form may bend, and whether the runs have settings enough for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.lab.grind_time import grind_time_of
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.bend import FORM_KINDS, FORMS, Bend, FormName
from doe.model.coding import Coding, NumericAxis
from doe.model.term import Model
from doe.study.brief import Study
from doe.study.names import fold, match_name
from doe.study.settings import FloatArray

# What a grind time and a dose may follow; other factors have no form of their own.
OF_TIME: tuple[FormName, ...] = ("first order",)
OF_DOSE: tuple[FormName, ...] = ("coverage", "plateau", "two lines", "parabola")
# As it is typed for whichever form of a dose has the lowest AICc.
DEMAND_CURVE = "demand curve"
# Settings that differ by less than this part of the range are one: planned numbers, not readings.
_SAME = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedForm:
    """A form of a factor that is asked for, or tried.

    Attributes:
        factor: The factor.
        forms: The forms to try, the best of which is taken.
    """

    factor: str
    forms: tuple[FormName, ...]


def forms_of(study: Study, coding: Coding) -> tuple[WantedForm, ...]:
    """List what may be tried without being asked for: kinetics of the grind time, the dose."""
    found = []
    time, dose = grind_time_of(study), study.dose
    for factor, forms in ((time, OF_TIME), (dose, OF_DOSE)):
        if factor is not None and plain_axis(factor.name, coding) is not None:
            found.append(WantedForm(factor=factor.name, forms=forms))
    return tuple(found)


def wanted_form(text: str, coding: Coding, *, where: str = "--form") -> WantedForm | None:
    """Read a form as it is typed, `FACTOR: FORM`; None for the polynomial.

    Raises:
        FitError: There is no such factor or form.
    """
    factor, _, form = text.rpartition(":")
    name = fold(form)
    if name == "polynomial":
        return None
    numeric = [axis.name for axis in coding.axes if plain_axis(axis.name, coding) is not None]
    found = match_name(factor.strip(), numeric)
    known = next((one for one in FORMS if fold(one) == name), None)
    if found is None or (known is None and name != DEMAND_CURVE):
        raise FitError(
            f"there is no form '{text}'",
            where=where,
            allowed=f"polynomial, or FACTOR: FORM with a factor among {', '.join(numeric)} and a "
            f"form among {', '.join((*FORMS, DEMAND_CURVE))}",
            do="Factors in words, and those whose range hangs on a choice, have no form."
            if found is None
            else "",
        )
    return WantedForm(factor=found, forms=OF_DOSE if known is None else (known,))


def bend_of(form: FormName, factor: str, coding: Coding) -> Bend:
    """Give a form of a factor, its shape still open."""
    axis = axis_of(factor, coding)
    return Bend(factor=factor, form=form, shape=(), low=axis.low, high=axis.high)


def without_squares(model: Model, factor: str) -> Model:
    """Take out what a bend replaces: the terms that hold a higher power of the factor."""
    kept = tuple(term for term in model.terms if dict(term.powers).get(factor, 0) < 2)
    return Model(name=model.name, terms=kept)


def settings_tried(data: ResponseData, coding: Coding, factor: str) -> FloatArray:
    """Give the different settings of a factor in the runs of the plan, sorted, lab unit."""
    planned = np.array([name is None for name in data.control])
    values = data.planned.values[planned, coding.index(factor)]
    ordered = np.unique(values[np.isfinite(values)])
    if not len(ordered):
        return ordered
    steps = np.diff(ordered, prepend=-np.inf)
    return np.asarray(ordered[steps > _SAME * max(float(np.ptp(ordered)), 1e-300)])


def why_not(
    form: FormName, factor: str, model: Model, values: FloatArray, axis: NumericAxis
) -> str:
    """Say why a form cannot be tried, a phrase; empty where it can."""
    if not any(factor in term.names for term in model.terms):
        return f"the model holds no term with {factor}"
    least, n = FORM_KINDS[form].least_values, len(values)
    if n < least:
        there = f"{n} different settings" if n != 1 else "one setting"
        return f"the runs have {there} of {factor}, and this form needs {least}"
    if FORM_KINDS[form].needs_positive and min(float(values[0]), axis.low) <= 0.0:
        return f"{factor} goes down to 0, which has no logarithm"
    return ""


def axis_of(factor: str, coding: Coding) -> NumericAxis:
    """Give the axis of a factor that may be bent."""
    axis = plain_axis(factor, coding)
    assert axis is not None
    return axis


def plain_axis(name: str, coding: Coding) -> NumericAxis | None:
    """Give the axis of a numeric factor with one range; None for any other setting."""
    if name not in coding.names:
        return None
    axis = coding.axes[coding.index(name)]
    is_plain = isinstance(axis, NumericAxis) and not axis.ranges and axis.low < axis.high
    return axis if is_plain and isinstance(axis, NumericAxis) else None
