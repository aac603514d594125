"""The compromise as a value: chosen settings, what they give, what stands in the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from doe.study.finding import Finding

SettingsRow = Mapping[str, float | str]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedResponse:
    """One response at one recipe, response unit.

    Attributes:
        response: Name.
        unit: Unit.
        value: Mean, median or probability, see `value_is`.
        value_is: `mean`, `median` or `probability`.
        mean_interval: Where the true value lies.
        run_interval: Where one new run lies.
        predict_for: What the new run is, in words.
        desirability: 0..1; None for a response without an aim.
        accepted: Whether the value meets `accept`; None without limits.
    """

    response: str
    unit: str
    value: float
    value_is: str
    mean_interval: tuple[float, float]
    run_interval: tuple[float, float]
    predict_for: str
    desirability: float | None
    accepted: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """One candidate: settings in lab units, overall desirability and what it gives."""

    settings: SettingsRow
    desirability: float
    expected: tuple[ExpectedResponse, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelBest:
    """The best recipe at one level of a choice, on the bench's steps."""

    choice: str
    level: str
    recipe: Recipe


@dataclass(frozen=True, slots=True, kw_only=True)
class Compromise:
    """The settings that maximise overall desirability, and what the team should know of them.

    Attributes:
        best: The compromise, on the bench's steps.
        unrounded: Before the steps: settings and overall desirability.
        loss: Desirability given away by the steps.
        unmet: For each response whose `accept` is broken: a sentence.
        binding: Limits and ends of ranges that the compromise lies on, as sentences.
        alternatives: Recipes nearly as desirable that lie far away, best first.
        view: Role whose importances were used; empty for the brief's own.
        within_limits: Whether `accept` was made to bind.
        findings: What else to know, such as which response stands in the way.
        by_level: The best recipe at each level of each choice, in the brief's order.
    """

    best: Recipe
    unrounded: Recipe
    loss: float
    unmet: tuple[str, ...]
    binding: tuple[str, ...]
    alternatives: tuple[Recipe, ...]
    view: str
    within_limits: bool
    findings: tuple[Finding, ...]
    by_level: tuple[LevelBest, ...] = ()
