"""Responses that the recipe gives exactly: no readings, no model, no error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fits.fit import Fit, Scale
from analysis.lab.deriving import option_values
from doe.methods.registry import METHODS
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, level_range
from doe.recipe.form import RecipeForm, make_form
from doe.recipe.quantities import quantity_of
from doe.study.brief import Response, Study
from doe.study.settings import FloatArray

# What the run interval of such a response is for.
COMPUTED = "computed, no error"
_AS_READ = Scale()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExactResponse:
    """One response as a function of the settings, known without error.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        per: The stage it belongs to.
        method: Name of the method that computes it.
        coding: The axes of the settings.
        form: The function.
    """

    response: str
    unit: str
    per: str
    method: str
    coding: Coding
    form: RecipeForm

    @property
    def scale(self) -> Scale:
        """The scale of its values: as they are."""
        return _AS_READ

    def values(self, settings: FloatArray) -> FloatArray:
        """Compute it at settings (n, k), lab units: (n,); NaN where no recipe can be made."""
        return self.form.values(settings)

    def gradient(self, settings: FloatArray) -> FloatArray:
        """Give the slopes at settings (n, k), lab units: (n, k) per coded unit."""
        slopes = self.form.gradient(settings)
        j = self.form.dose
        if j is not None:
            slopes[:, j] *= _lab_per_coded(settings, j, self.coding)
        return slopes


# Whatever gives a response at settings: a model of readings, or the recipe itself.
Surface = Fit | ExactResponse


def exact_response(study: Study, response: Response, coding: Coding) -> ExactResponse:
    """Make ready a response whose method is of the family "recipe".

    Args:
        study: The brief.
        response: Of the brief, with its method settled.
        coding: Its axes.

    Raises:
        StudyError: Data of raw materials are missing; every key that would give them.
        PlanError: Nothing can be weighed out.
    """
    method = METHODS[response.method or ""]
    quantity = quantity_of(method.name, option_values(response, method))
    return ExactResponse(
        response=response.name,
        unit=response.unit or method.unit,
        per=response.per,
        method=method.name,
        coding=coding,
        form=make_form(study, quantity),
    )


def _lab_per_coded(settings: FloatArray, j: int, coding: Coding) -> FloatArray:
    """Give d(lab) / d(coded) of a numeric factor, shape (n,); see `doe.model.coding.code`."""
    axis = coding.axes[j]
    assert isinstance(axis, NumericAxis)
    if axis.ranges:
        column = coding.index(axis.ranges[0].choice)
        choice = coding.axes[column]
        assert isinstance(choice, ChoiceAxis)
        own = [level_range(axis, level) for level in choice.levels]
        halves = np.array([0.0 if ends is None else _half(*ends, axis) for ends in own])
        half = halves[np.rint(np.nan_to_num(settings[:, column])).astype(np.intp)]
    else:
        half = np.full(len(settings), _half(axis.low, axis.high, axis))
    # x = exp(middle + half × coded) where the factor is coded by its logarithm.
    slope: FloatArray = half * np.nan_to_num(settings[:, j]) if axis.spacing == "log" else half
    return slope


def _half(low: float, high: float, axis: NumericAxis) -> float:
    width = float(np.log(high / low)) if axis.spacing == "log" else high - low
    # A range of no width codes as 0 whatever divides it.
    return width / 2.0 if width > 0.0 else 1.0
