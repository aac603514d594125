"""What was frozen when confirmation batches were planned: predictions and the rule, as values.

An entry holds all that judging needs on the fitted scale, so that no later change of the models, of
the brief or of the choices can move what the batches are held against.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

Where = Literal["laboratory", "plant"]
# What `confirmation.json` is called; read and written by the study folder alone.
CONFIRMATION_FILE = "confirmation.json"
# What the plan calls such a round.
CONFIRMATION_LAYOUT = "confirmation"
# Of the details of such a round: whether it was made in the plant.
PLANT_DETAIL = "plant"
SharedBy = Literal["joint", "bonferroni", "single", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenScale:
    """The scale of a prediction; see `analysis.fits.fit.Scale`."""

    name: Literal["identity", "log", "logit", "square root", "power"]
    power: float | None = None
    bounds: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenControl:
    """What the runs so far say of a control; fitted scale.

    Attributes:
        control: Its name.
        mean: Its mean.
        std_error: Of that mean.
    """

    control: str
    mean: float
    std_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenResponse:
    """What was foretold of one response; on the fitted scale unless it says otherwise.

    Attributes:
        response: Its name.
        unit: Its unit.
        scale: The scale of all numbers without another word.
        centre: What is foretold.
        model_variance: Of `centre`, from the coefficients.
        components: Variance of each stratum, of one value as planned to be read.
        test_share: Part of the lowest stratum that is test where no stratum parts it from the
            batch, 0..1; None where that is not known or not needed.
        model_df: Degrees of freedom of `model_variance`; None without end.
        df: Degrees of freedom of the mean of the planned units; None without end.
        times: Half width of the interval over the standard deviation of that mean.
        interval: Where that mean must lie, response unit.
        value: What is foretold, response unit.
        value_is: mean or median.
        limits: Limits of a batch's tested value, response unit: at least, at most.
        is_judged: Whether the interval is part of the rule.
        why_not: Why it is not.
        effect: How far off a formula is that should be found out; None where none was stated.
        lack_of_fit: Least p of the lack-of-fit tests of its model; None without one.
        controls: What is known of the controls.
    """

    response: str
    unit: str
    scale: FrozenScale
    centre: float
    model_variance: float
    components: Mapping[str, float]
    test_share: float | None = None
    model_df: float | None = None
    df: float | None
    times: float | None
    interval: tuple[float, float] | None
    value: float
    value_is: str
    limits: tuple[float | None, float | None] = (None, None)
    is_judged: bool = True
    why_not: str = ""
    effect: float | None = None
    lack_of_fit: float | None = None
    controls: tuple[FrozenControl, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FrozenRule:
    """When the batches confirm the formula.

    Attributes:
        level: Chance that a right formula has every mean inside its interval, 0..1.
        each_level: Level of each response's own interval.
        shared_by: `joint` by the responses' covariance, `bonferroni` without it or where it bounds,
            `single` for one response, `none` where limits alone count.
        words: The rule, sentences.
    """

    level: float
    each_level: float
    shared_by: SharedBy
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmation:
    """One round of confirmation batches, as planned.

    Attributes:
        number: 1 for the first of a study.
        round: Its round in the plan.
        where: In the laboratory or the plant.
        runs: Run numbers, controls among them.
        settings: What is set, by name; a choice by its level.
        settings_are: Whether they were kept, given or the compromise.
        at_edge: Settings that lie at an end of their range.
        inside: Whether they lie inside the region that was tried.
        responses: What was foretold.
        rule: The rule.
        pass_right: Chance that a right formula passes the whole rule; None in the plant.
        batch_kg: Size of a plant batch, kg; None in the laboratory or where it was not stated.
        who: Role that planned it.
        because: Why, as they said it.
        seed: Of all draws.
        version: Of millbase.
        inputs: Hashes of what the predictions rest on, by name.
    """

    number: int
    round: int
    where: Where
    runs: tuple[int, ...]
    settings: Mapping[str, float | str]
    settings_are: str
    at_edge: tuple[str, ...] = ()
    inside: bool = True
    responses: tuple[FrozenResponse, ...]
    rule: FrozenRule
    pass_right: float | None = None
    batch_kg: float | None = None
    who: str = ""
    because: str = ""
    seed: int
    version: str
    inputs: Mapping[str, str] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """Name it in a sentence."""
        place = "plant" if self.where == "plant" else "laboratory"
        return f"confirmation {self.number} ({place}, round {self.round})"


def is_plant_round(details: Mapping[str, Any]) -> bool:
    """Tell a round of plant batches by what the plan has on record of it."""
    return bool(details.get(PLANT_DETAIL))
