"""What the team agreed on, by version: a record that holds all of it and needs nothing beside it.

Versions are kept in order and never changed; a version is superseded by the next one, and final
once its final word is on record. What is foretold stands in it as it was then.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pydantic import ConfigDict

# What the record is called; read and written by the study folder alone.
AGREEMENT_FILE = "agreement.toml"
# A key that nobody reads is a slip of the pen: it is refused.
_CLOSED = ConfigDict(extra="forbid")

State = Literal["draft", "final", "superseded"]
Says = Literal["agrees", "objects"]
EndPointKind = Literal["fineness", "strength", "viscosity", "temperature"]
END_POINTS: tuple[EndPointKind, ...] = ("fineness", "strength", "viscosity", "temperature")
FormulaPart = Literal["mill base", "let-down"]
Verdict = Literal["met", "met on average", "not met", ""]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleLine:
    """What a role said of a version.

    Attributes:
        role: As the brief names it.
        says: Agrees or objects.
        date: When.
        because: Why.
    """

    __pydantic_config__ = _CLOSED
    role: str
    says: Says
    date: dt.date
    because: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FinalWord:
    """That a version is final.

    Attributes:
        date: Since when.
        without: Roles of the brief that never spoke.
        because: Why without them.
    """

    __pydantic_config__ = _CLOSED
    date: dt.date
    without: tuple[str, ...] = ()
    because: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedSetting:
    """One setting, lab units; a choice by its level.

    Attributes:
        name: As in the brief.
        value: What is set.
        unit: Its unit; empty for a share of the package and for a choice.
        tolerance: How far production may lie off, ±; None where nothing states it.
        tolerance_from: What states it, in words.
        window_low: Lower end of the tolerance box, in which all settings may lie at once; None
            where none was sought.
        window_high: Its upper end.
        held: Whether the brief holds it throughout, so that no model knows it: yes, else empty.
    """

    __pydantic_config__ = _CLOSED
    name: str
    value: float | str
    unit: str = ""
    tolerance: float | None = None
    tolerance_from: str = ""
    window_low: float | None = None
    window_high: float | None = None
    held: Literal["yes", ""] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FormulaLine:
    """One raw material as supplied, in the order of addition.

    Attributes:
        name: As in the brief.
        kind: Its place in the recipe.
        percent: Grams on 100 g of mill base.
        part: Where it goes in: the mill base or the let-down.
        tolerance_percent: Of its own grams, ±; None where nothing states it.
        tolerance_from: What states it, in words.
    """

    __pydantic_config__ = _CLOSED
    name: str
    kind: str
    percent: float
    part: FormulaPart = "mill base"
    tolerance_percent: float | None = None
    tolerance_from: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedTitration:
    """A setting that is reached by adding something until the instrument shows it.

    Attributes:
        factor: Such as pH.
        unit: Its unit.
        target: Where it is set.
        titrant: What is added.
        held_back_percent: Balance kept back for it at first, % of the batch.
        tolerance: How far off it may lie, ±; None where nothing states it.
    """

    __pydantic_config__ = _CLOSED
    factor: str
    unit: str = ""
    target: float
    titrant: str
    held_back_percent: float = 0.0
    tolerance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedEndPoint:
    """When a mill anywhere is done, and where it must stop.

    Attributes:
        kind: Fineness, strength, viscosity or temperature.
        name: The response or factor that tells it.
        unit: Its unit.
        at_least: Limit of the brief, or of what was tried; None without.
        at_most: The same upwards.
        value: What is expected there; None for a temperature that is no setting.
        low: Where one new run lies, lower end.
        high: Upper end.
        limit_from: Whose the limit is where the brief does not accept or refuse by it, in words.
    """

    __pydantic_config__ = _CLOSED
    kind: EndPointKind
    name: str
    unit: str = ""
    at_least: float | None = None
    at_most: float | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    limit_from: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LaboratorySetting:
    """How the laboratory mill was run: good for that mill alone."""

    __pydantic_config__ = _CLOSED
    name: str
    value: float | str
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedReading:
    """What is expected of one response, response unit, as it was foretold then.

    Attributes:
        response: Its name.
        unit: Its unit.
        value: Mean, median or probability, see `value_is`.
        value_is: Which of them.
        true_low: Where the true value lies, lower end; None without an error.
        true_high: Upper end.
        run_low: Where one new run lies, lower end.
        run_high: Upper end.
        predict_for: What that run is, in words.
        limits: Its limits, in words.
        verdict: Whether they are met; empty without limits.
        probability: That a production batch meets them as tested; None where it was not drawn.
    """

    __pydantic_config__ = _CLOSED
    response: str
    unit: str = ""
    value: float
    value_is: str
    true_low: float | None = None
    true_high: float | None = None
    run_low: float | None = None
    run_high: float | None = None
    predict_for: str = ""
    limits: tuple[str, ...] = ()
    verdict: Verdict = ""
    probability: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedGain:
    """What the formula gains on a control; see `analysis.surface.against_control`."""

    __pydantic_config__ = _CLOSED
    response: str
    unit: str = ""
    control: str
    measure: Literal["difference", "ratio"]
    value: float
    low: float | None = None
    high: float | None = None
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreedConfirmation:
    """A round of confirmation batches, as it stood.

    Attributes:
        number: Its number.
        where: Laboratory or plant.
        verdict: What the batches said; empty while they wait.
        here: Whether it was made at the settings of this version: yes or no.
        words: All of it in a sentence.
    """

    __pydantic_config__ = _CLOSED
    number: int
    where: str
    verdict: str = ""
    here: Literal["yes", "no"] = "yes"
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """One version of the agreement: what was proposed, on what, and what each role said of it.

    Attributes:
        number: 1 for the first.
        date: When it was proposed.
        because: Why.
        role: Who proposed it; empty where that was not said.
        settings_are: Whether the settings were kept, given or the compromise.
        settings: What is set.
        inputs: Hash of every input, by its name.
        last_run: The last run that there was; later ones break no agreement by being there.
        seed: Of all draws.
        level: Confidence of the intervals, 0..1.
        batch_kg: Size of the production batch that the card was first made for.
        formula: Raw materials as supplied; empty where the brief has no mill base.
        titrations: What is titrated.
        end_points: When a mill is done.
        laboratory: How the laboratory mill was run.
        readings: What is expected.
        gains: What it gains on the controls.
        probability: That a production batch meets every limit as tested; None without limits.
        probability_error: Of its draws, one standard deviation.
        probability_true: The same by true values.
        window_probability: What the probability stays at in the tolerance box; None without one.
        confirmations: Rounds of confirmation batches.
        choices: Decisions that it rests on, sentences.
        cautions: What the models warned of, sentences.
        not_tested: What nobody has tested, sentences.
        lines: What the roles said, in order.
        final: The final word; None for a draft.
    """

    __pydantic_config__ = _CLOSED
    number: int
    date: dt.date
    because: str = ""
    role: str = ""
    settings_are: str = ""
    settings: tuple[AgreedSetting, ...]
    inputs: Mapping[str, str]
    last_run: int = 0
    seed: int
    level: float
    batch_kg: float
    formula: tuple[FormulaLine, ...] = ()
    titrations: tuple[AgreedTitration, ...] = ()
    end_points: tuple[AgreedEndPoint, ...] = ()
    laboratory: tuple[LaboratorySetting, ...] = ()
    readings: tuple[AgreedReading, ...] = ()
    gains: tuple[AgreedGain, ...] = ()
    probability: float | None = None
    probability_error: float | None = None
    probability_true: float | None = None
    window_probability: float | None = None
    confirmations: tuple[AgreedConfirmation, ...] = ()
    choices: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    not_tested: tuple[str, ...] = ()
    lines: tuple[RoleLine, ...] = ()
    final: FinalWord | None = None

    def settings_table(self) -> dict[str, float | str]:
        """Give the settings that the models know, by name."""
        return {one.name: one.value for one in self.settings if not one.held}


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Every version of a study's agreement, in order; none before the first was proposed."""

    versions: tuple[Version, ...] = ()

    @property
    def latest(self) -> Version | None:
        """The version that counts."""
        return self.versions[-1] if self.versions else None

    def state(self, version: Version) -> State:
        """Tell whether a version is a draft, final or superseded."""
        if version is not self.latest:
            return "superseded"
        return "draft" if version.final is None else "final"
