"""Recipes: what a candidate's settings are and what to expect of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.choice.compromise import ExpectedResponse, Recipe
from analysis.choice.desirability import Aim, desirability, overall_desirability
from analysis.surface.acceptance import AcceptLimit, accept_limits
from analysis.surface.exact import Surface
from analysis.surface.noise import Production
from analysis.surface.predict import predict_averaged
from doe.model.coding import Coding
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.settings import FloatArray, Settings

# Settings without a step carry the digits of the search; more than these are noise.
DIGITS = 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecipeBook:
    """What it takes to say what a recipe gives.

    Attributes:
        study: The brief.
        region: Its region.
        fits: Models by response, computed responses among them.
        aims: Aims that count in the overall desirability.
        production: Where the noise factors lie.
        level: Confidence of the intervals.
    """

    study: Study
    region: Region
    fits: Mapping[str, Surface]
    aims: Sequence[Aim]
    production: Production
    level: float

    @property
    def coding(self) -> Coding:
        """The axes of the study."""
        return self.region.coding

    def recipe(self, row: FloatArray) -> Recipe:
        """Write up one recipe, shape (k,), lab units; noise factors are not among its settings."""
        expected = tuple(
            self._expected(response.name, row)
            for response in self.study.responses
            if response.name in self.fits
        )
        each = {one.response: one.desirability for one in expected}
        overall = overall_desirability(
            np.array([each[aim.response] for aim in self.aims], dtype=np.float64),
            [aim.importance for aim in self.aims],
        )
        return Recipe(settings=self.named(row), desirability=float(overall), expected=expected)

    def named(self, row: FloatArray) -> dict[str, float | str]:
        """Name the chosen settings; those that a level lacks and noise factors are left out."""
        table = Settings(names=self.coding.names, values=row[None, :], labels=self.coding.labels)
        noise = {self.coding.names[j] for j in self.production.columns}
        return {
            name: round(value, DIGITS) if isinstance(value, float) else value
            for name, value in table.row(0).items()
            if value is not None and name not in noise
        }

    def limits(self) -> tuple[AcceptLimit, ...]:
        """List the acceptance limits on responses with a fit."""
        limits = accept_limits(self.study.responses)
        return tuple(limit for limit in limits if limit.response in self.fits)

    def _expected(self, name: str, row: FloatArray) -> ExpectedResponse:
        fit = self.fits[name]
        prediction = predict_averaged(
            fit, row[None, :], self.production, region=self.region, level=self.level
        )
        aim = next((aim for aim in self.aims if aim.response == name), None)
        limits = [limit for limit in self.limits() if limit.response == name]
        return ExpectedResponse(
            response=name,
            unit=fit.unit,
            value=float(prediction.value[0]),
            value_is=prediction.value_is,
            mean_interval=_pair(prediction.mean_interval),
            run_interval=_pair(prediction.run_interval),
            predict_for=prediction.predict_for,
            desirability=float(desirability(aim, prediction.value)[0]) if aim else None,
            accepted=all(bool(limit.met(prediction.value)[0]) for limit in limits)
            if limits
            else None,
        )


def _pair(interval: FloatArray) -> tuple[float, float]:
    return float(interval[0, 0]), float(interval[0, 1])
