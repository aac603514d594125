"""What a further round is asked for, and what a way of extending gives back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from doe.layouts.request import LayoutRuns
from doe.model.coding import Coding
from doe.model.region import Region
from doe.model.terms import model_names
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.settings import FloatArray

# How a round that was added to a plan is called in its entry of plan.json.
LAYOUT = "extension"


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A run that gave nothing.

    Attributes:
        run: Its number.
        why: What was said of it.
        responses: Responses that lack it; empty for all.
        gelled: Whether it gelled: made again it would gel again.
        repaired: Whether an earlier round made up for it.
    """

    run: int
    why: str
    responses: tuple[str, ...] = ()
    gelled: bool = False
    repaired: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Extension:
    """What is wanted of the next round; None leaves the decision to the way of extending.

    Attributes:
        study: The brief.
        coding: Its axes.
        region: All settings it allows.
        plan: The runs so far.
        failures: Runs that gave nothing.
        model: Name of the model that the round is made for.
        asked_model: Whether somebody asked for that model.
        runs: New runs, controls not counted.
        batches: New mill batches, controls not counted.
        shared: Samples of one batch share it, as in the rounds before.
        factor: Name of the one factor whose signs are changed in a fold-over.
        axial_beyond: Axial runs may leave the ranges of the brief.
        area: Settings, shape (g, k), round which the prediction is to be sharpened; lab units.
        area_words: What that area is, in words.
        area_spread: Part of the region that it spans, 0..1.
        variance_ratio: Variance of each random stratum over the residual variance.
        starts: Random starts of a search.
        seed: Seed of every random choice.
    """

    study: Study
    coding: Coding
    region: Region
    plan: Plan
    failures: tuple[Failure, ...] = ()
    model: str
    asked_model: bool = False
    runs: int | None = None
    batches: int | None = None
    shared: bool = False
    factor: str | None = None
    axial_beyond: bool = False
    area: FloatArray | None = None
    area_words: str = ""
    area_spread: float = 0.0
    variance_ratio: float = 1.0
    starts: int | None = None
    seed: int = 0

    @property
    def round_number(self) -> int:
        """Number of the new round."""
        return max((entry.number for entry in self.plan.rounds), default=0) + 1

    @property
    def standing(self) -> tuple[int, ...]:
        """Rows of the plan that count: no controls, no confirmations, nothing that failed."""
        failed = {failure.run for failure in self.failures}
        return tuple(
            i
            for i, run in enumerate(self.plan.run)
            if self.plan.kind[i] not in ("control", "confirm") and run not in failed
        )

    @property
    def held(self) -> FloatArray:
        """Settings of the runs that count, shape (m, k), lab units."""
        values: FloatArray = np.asarray(self.plan.settings.values)[list(self.standing)]
        return values

    def rows_of(self, failures: tuple[Failure, ...]) -> FloatArray:
        """Give the settings of failed runs, shape (f, k), lab units."""
        rows = [self.plan.run.index(failure.run) for failure in failures]
        values: FloatArray = np.asarray(self.plan.settings.values)[rows]
        return values


def way_for_a_model(ask: Extension) -> str:
    """Give the command that places runs in any region: for the next larger model, if there is one.

    The model is named, since `--for model` alone has nothing to do for the largest.
    """
    names = model_names(ask.coding)
    place = names.index(ask.model) + (0 if ask.asked_model else 1)
    return command_for_a_model(names[min(place, len(names) - 1)])


def command_for_a_model(name: str) -> str:
    """Write the command that places runs for a model, in quotes."""
    typed = f'"{name}"' if " " in name else name
    return f"'millbase extend STUDY --for model --model {typed}'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Purpose:
    """One way of extending a plan, as the registry lists it.

    Attributes:
        name: What the user types after `--for`.
        title: How an answer calls it.
        for_: When to choose it, one sentence.
        make: Makes the new runs; raises PlanError where it can't.
    """

    name: str
    title: str
    for_: str
    make: Callable[[Extension], LayoutRuns]
