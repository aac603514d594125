"""From models and decisions to one version of the agreement, with all that stands behind it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from analysis.agreement.end_points import end_points, laboratory_settings
from analysis.agreement.formula import Box, agreed_settings, make_formula
from analysis.agreement.not_tested import WhatWasDone, not_tested
from analysis.choice.compromise import ExpectedResponse
from analysis.choice.recipe import RecipeBook
from analysis.fits.fit import Fit
from analysis.surface.acceptance import AcceptLimit
from analysis.surface.against_control import AgainstControl, against_control
from analysis.surface.exact import Surface
from analysis.surface.lines import inside_region
from analysis.surface.noise import Production, full_row, production_of
from doe.methods.kinds import kind_of
from doe.model.region import Region
from doe.study.agreement import (
    AgreedConfirmation,
    AgreedGain,
    AgreedReading,
    Verdict,
    Version,
)
from doe.study.brief import Study
from doe.study.choices import Choices, ResponseChoice
from doe.study.plan import Plan
from doe.study.sentence import begun
from doe.study.settings import FloatArray

# More terms than these are counted; choices.toml, whose hash stands beside, names them all.
MOST_TERMS_NAMED = 3

SettingsByName = Mapping[str, float | str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What an agreement is made on.

    Attributes:
        study: The brief.
        region: All settings that it allows.
        surfaces: Whatever tells a response, by response.
        fits: The fitted ones among them.
        plan: The runs; None without.
        choices: Decisions that change a number.
        n_read: How many runs have a reading, by response.
        not_told: Why a response has no model, by response.
        gelled: Runs that gelled.
        cautions: What the models warn of, sentences.
        level: Confidence of the intervals, 0..1.
    """

    study: Study
    region: Region
    surfaces: Mapping[str, Surface]
    fits: Mapping[str, Fit] = field(default_factory=dict)
    plan: Plan | None = None
    choices: Choices = field(default_factory=Choices)
    n_read: Mapping[str, int] = field(default_factory=dict)
    not_told: Mapping[str, str] = field(default_factory=dict)
    gelled: tuple[int, ...] = ()
    cautions: tuple[str, ...] = ()
    level: float = 0.95

    @property
    def production(self) -> Production:
        """Where the noise factors lie."""
        return production_of(self.study, self.region.coding)

    def row(self, settings: SettingsByName) -> FloatArray:
        """Turn settings into a row, shape (k,), lab units, noise at its mean or first level."""
        production = self.production
        row = full_row(settings, self.region.coding, production)
        for i, j in enumerate(production.columns):
            if np.isnan(row[j]):
                row[j] = production.points[0, i]
        return row


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedRisk:
    """What production may expect of the settings.

    Attributes:
        probability: That a production batch meets every limit as tested.
        error: Of its draws, one standard deviation.
        probability_true: The same by true values.
        per_response: Of each response alone.
        box: Ends of the tolerance box by setting; None where there is none.
        box_probability: What the probability stays at inside it.
        why_no_box: Why there is none, a phrase; empty where there is one.
    """

    probability: float
    error: float
    probability_true: float
    per_response: Mapping[str, float] = field(default_factory=dict)
    box: Box | None = None
    box_probability: float | None = None
    why_no_box: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What is proposed, by whom, on what.

    Attributes:
        number: Of the version.
        date: Of the proposal.
        because: Why.
        role: Who proposes; empty where that was not said.
        settings: By name.
        settings_are: Whether they were kept, given or the compromise.
        inputs: Hash of every input.
        seed: Of all draws.
        batch_kg: Size of the production batch.
        risk: What production may expect; None without limits.
        confirmations: Rounds of confirmation batches.
    """

    number: int
    date: dt.date
    because: str
    role: str
    settings: SettingsByName
    settings_are: str
    inputs: Mapping[str, str]
    seed: int
    batch_kg: float
    risk: AgreedRisk | None = None
    confirmations: tuple[AgreedConfirmation, ...] = ()


def propose_version(ground: Ground, proposal: Proposal) -> Version:
    """Write a version: the formula, what it gives, what it rests on, what was not tested.

    Raises:
        PlanError: The recipe cannot be weighed out.
    """
    study, settings, risk = ground.study, proposal.settings, proposal.risk
    formula = make_formula(study, settings)
    readings = expected_readings(ground, settings, risk.per_response if risk else None)
    gained = gains(ground, settings)
    compared = tuple(dict.fromkeys(one.control for one in gained))
    return Version(
        number=proposal.number,
        date=proposal.date,
        because=proposal.because,
        role=proposal.role,
        settings_are=proposal.settings_are,
        settings=agreed_settings(study, settings, risk.box if risk else None),
        inputs=dict(proposal.inputs),
        last_run=max(ground.plan.run, default=0) if ground.plan else 0,
        seed=proposal.seed,
        level=ground.level,
        batch_kg=proposal.batch_kg,
        formula=formula.lines,
        titrations=formula.titrations,
        end_points=end_points(study, readings),
        laboratory=laboratory_settings(study, settings),
        readings=readings,
        gains=gained,
        probability=risk.probability if risk else None,
        probability_error=risk.error if risk else None,
        probability_true=risk.probability_true if risk else None,
        window_probability=risk.box_probability if risk else None,
        confirmations=proposal.confirmations,
        choices=choice_sentences(ground.choices),
        cautions=ground.cautions,
        not_tested=not_tested(_what_was_done(ground, proposal, compared)),
    )


def expected_readings(
    ground: Ground, settings: SettingsByName, chances: Mapping[str, float] | None = None
) -> tuple[AgreedReading, ...]:
    """Foretell every response, averaged over how noise factors drift.

    Args:
        ground: The models.
        settings: By name.
        chances: Probability by response that a batch meets its limits.
    """
    book = RecipeBook(
        study=ground.study, region=ground.region, fits=ground.surfaces, aims=(),
        production=ground.production, level=ground.level,
    )  # fmt: skip
    recipe = book.recipe(ground.row(settings))
    limits = book.limits()
    return tuple(
        _reading(
            ground.study, one, [limit for limit in limits if limit.response == one.response],
            (chances or {}).get(one.response),
        )
        for one in recipe.expected
    )  # fmt: skip


def gains(ground: Ground, settings: SettingsByName) -> tuple[AgreedGain, ...]:
    """Set the recipe beside every control that was run."""
    row = ground.row(settings)[None, :]
    found: list[AgainstControl] = []
    for fit in ground.fits.values():
        for control in fit.with_controls.names if fit.with_controls else ():
            found += against_control(
                fit, row, control, production=ground.production, level=ground.level
            )
    return tuple(
        AgreedGain(
            response=one.response, unit=one.unit, control=one.control, measure=one.measure,
            value=one.value, low=_finite(one.interval[0]), high=_finite(one.interval[1]),
            level=one.level,
        )
        for one in found
    )  # fmt: skip


def choice_sentences(choices: Choices) -> tuple[str, ...]:
    """Say every decision that changes a number, a sentence each."""
    return tuple(_choice_sentences(choices))


def _reading(
    study: Study, one: ExpectedResponse, limits: list[AcceptLimit], chance: float | None
) -> AgreedReading:
    true_low, true_high = map(_finite, one.mean_interval)
    run_low, run_high = map(_finite, one.run_interval)
    return AgreedReading(
        response=one.response, unit=one.unit, value=one.value, value_is=one.value_is,
        true_low=true_low, true_high=true_high, run_low=run_low, run_high=run_high,
        predict_for=one.predict_for, limits=_limit_words(study, one.response, limits),
        verdict=_verdict(one, limits), probability=chance,
    )  # fmt: skip


def _limit_words(study: Study, name: str, limits: list[AcceptLimit]) -> tuple[str, ...]:
    """Say the limits, those of a rating in its classes."""
    response = study.response(name)
    if kind_of(response) != "rating" or response.accept is None:
        return tuple(limit.bound() for limit in limits)
    ends = (("at most", response.accept.at_most), ("at least", response.accept.at_least))
    return tuple(f"rated {word} {end:g}" for word, end in ends if end is not None)


def _verdict(one: ExpectedResponse, limits: list[AcceptLimit]) -> Verdict:
    """Tell whether the limits are met, by the whole interval of one new run or on average."""
    if one.accepted is None:
        return ""
    if not one.accepted:
        return "not met"
    ends = np.array(one.run_interval)
    if one.value_is == "probability" or not np.isfinite(ends).all():
        return "met on average"
    whole = all(bool(limit.met(ends).all()) for limit in limits)
    return "met" if whole else "met on average"


def _what_was_done(ground: Ground, proposal: Proposal, compared: tuple[str, ...]) -> WhatWasDone:
    row = ground.row(proposal.settings)
    inside = inside_region(ground.region, row[None, :], ground.production.columns)
    return WhatWasDone(
        study=ground.study, plan=ground.plan, settings=proposal.settings,
        is_inside=bool(inside[0]), n_read=ground.n_read, not_told=ground.not_told,
        gelled=ground.gelled, compared=compared, confirmations=proposal.confirmations,
    )  # fmt: skip


def _choice_sentences(choices: Choices) -> Iterator[str]:
    for name in sorted(choices.responses):
        one = choices.responses[name]
        yield f"{name}: {_model_words(one)}{_why(one.because, one.role)}."
    for note in choices.standing_notes():
        of = f" in {note.response}" if note.response else ""
        said = {"stands": "stands although it was doubted"}.get(note.says, note.says)
        number = f"{note.subject} {note.number}"
        yield f"{begun(number)}{of}: {said}{_why(note.because, note.role)}."
    for taken in choices.taken_in:
        why = _why(taken.because, taken.role)
        yield f"Confirmation round {taken.round}: taken into the models{why}."
    if choices.chosen is not None:
        kept = ", ".join(
            f"{name} {value}" if isinstance(value, str) else f"{name} {value:g}"
            for name, value in choices.chosen.settings.items()
        )
        yield f"Settings kept: {kept}{_why(choices.chosen.because, choices.chosen.role)}."


def _model_words(one: ResponseChoice) -> str:
    parts = [one.model or "the model of the command"]
    if one.dropped:
        named = f": {', '.join(one.dropped)}" if len(one.dropped) <= MOST_TERMS_NAMED else ""
        word = "term" if len(one.dropped) == 1 else "terms"
        parts.append(f"{len(one.dropped)} {word} left out{named}")
    if one.scale:
        parts.append(f"scale {one.scale}" + (f" {one.power:g}" if one.power is not None else ""))
    if one.form:
        parts.append(one.form)
    return ", ".join(parts)


def _why(because: str, role: str) -> str:
    if not because:
        return f" ({role})" if role else ""
    return f", because {because}" + (f" ({role})" if role else "")


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
