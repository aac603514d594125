"""The brief as a value: what `study.toml` says, section by section (DESIGN.md, section 2).

Each field holds one key. What several keys together must obey is checked where a brief is read
(`doe.study.brief_file`), so that all faults can be reported with their lines.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

# A larger ratio of variances cannot be told from infinity in double precision.
LARGEST_RATIO = 1e6

Stage = Literal["day", "batch", "sample", "panel"]
STAGES: tuple[Stage, ...] = ("day", "batch", "sample", "panel")


def is_number(said: object) -> bool:
    """Tell a number from everything else; a truth value is none."""
    return isinstance(said, int | float) and not isinstance(said, bool)


def _number_or_word(said: Any) -> Any:
    if not (is_number(said) or isinstance(said, str)):
        raise PydanticCustomError("number_or_word", "neither a number nor a word")
    return _finite(said)


def _finite(said: Any) -> Any:
    if isinstance(said, float) and not math.isfinite(said):
        raise PydanticCustomError("finite_number", "not a finite number")
    return said


def _levels(said: Any) -> Any:
    if not isinstance(said, list | tuple):
        raise PydanticCustomError("levels_list", "not a list")
    if not (all(map(is_number, said)) or all(isinstance(one, str) for one in said)):
        raise PydanticCustomError("levels_mixed", "neither all numbers nor all words")
    return tuple(_finite(one) for one in said)


def _condition(said: Any) -> Any:
    if isinstance(said, list | tuple):
        return tuple(_number_or_word(one) for one in said)
    return _number_or_word(said)


# Quoted numbers stay words, truth values are no numbers, and a number is finite.
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Truth = Annotated[bool, Field(strict=True)]
NumberOrWord = Annotated[Number | str, BeforeValidator(_number_or_word)]
Levels = Annotated[tuple[str, ...] | tuple[Number, ...], BeforeValidator(_levels)]
Condition = Annotated[Number | str | tuple[Number | str, ...], BeforeValidator(_condition)]


class Section(BaseModel):
    """A part of the brief; frozen, and closed to keys it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, strict=False)


class About(Section):
    """`[study]`: what is asked and who must agree."""

    title: str
    question: str = ""
    seed: Whole | None = Field(default=None, ge=0)
    roles: tuple[str, ...] = ()


class Pigment(Section):
    """`[pigment]`: what is ground."""

    name: str
    kind: Literal["inorganic", "organic", "carbon black", "effect", "filler"] | None = None
    specific_surface_m2_per_g: Number | None = Field(default=None, gt=0)
    oil_absorption_g_per_100g: Number | None = Field(default=None, gt=0)
    density_g_per_ml: Number | None = Field(default=None, gt=0)
    isoelectric_ph: Number | None = Field(default=None, ge=0, le=14)
    price_per_kg: Number | None = Field(default=None, ge=0)
    lot: str | None = None
    weighing_percent: Number | None = Field(default=None, ge=0)


class Material(Section):
    """What every weighed raw material may say of itself, as supplied.

    `solids_percent` is what stays in the film, the active matter where it is not said;
    `voc_percent` and `voc_exempt_percent` what evaporates besides water, the latter 0 where it is
    not said; the rest is water. `solids_density_g_per_ml` is that of the dry matter.
    """

    name: str
    active_percent: Number = Field(default=100.0, gt=0, le=100)
    solids_percent: Number | None = Field(default=None, ge=0, le=100)
    density_g_per_ml: Number | None = Field(default=None, gt=0)
    solids_density_g_per_ml: Number | None = Field(default=None, gt=0)
    voc_percent: Number | None = Field(default=None, ge=0, le=100)
    voc_exempt_percent: Number | None = Field(default=None, ge=0, le=100)
    solvent_density_g_per_ml: Number | None = Field(default=None, gt=0)
    oil_absorption_g_per_100g: Number | None = Field(default=None, gt=0)
    price_per_kg: Number | None = Field(default=None, ge=0)
    lot: str | None = None
    weighing_percent: Number | None = Field(default=None, ge=0)


class BatchIngredient(Material):
    """`[[millbase.ingredient]]`: percent of the batch, as supplied."""

    kind: Literal["binder", "filler", "pigment", "other"] | None = None
    percent: Number = Field(ge=0, le=100)


class LetdownIngredient(Material):
    """`[[letdown.ingredient]]` and a control's own ingredients: grams, as supplied."""

    kind: Literal["binder", "filler", "pigment", "other"] | None = None
    grams: Number = Field(ge=0)


class Millbase(Section):
    """`[millbase]`: weighed once a batch."""

    batch_g: Number = Field(gt=0)
    sample_g: Number | None = Field(default=None, gt=0)
    pigment_percent: Number = Field(gt=0, lt=100)
    balance: str = "water"
    balance_density_g_per_ml: Number | None = Field(default=None, gt=0)
    balance_price_per_kg: Number | None = Field(default=None, ge=0)
    ingredients: tuple[BatchIngredient, ...] = Field(default=(), alias="ingredient")


class Letdown(Section):
    """`[letdown]`: made once a sample."""

    millbase_g: Number = Field(gt=0)
    ingredients: tuple[LetdownIngredient, ...] = Field(default=(), alias="ingredient")


class WhitePaste(Material):
    """`[tint.white]`: the white paste of the white reduction, as supplied."""

    name: str = "white paste"


class Tint(Section):
    """`[tint]`: the white reduction for colour strength."""

    letdown_g: Number = Field(gt=0)
    white_g: Number = Field(gt=0)
    white: WhitePaste | None = None


class Additive(Material):
    """`[[package.additive]]`: a member of the package; low and high are shares of active matter."""

    low: Number = Field(ge=0, le=1)
    high: Number = Field(ge=0, le=1)
    solvent_percent: Number = Field(default=0.0, ge=0, le=100)
    hydrophilic_fraction: Number | None = Field(default=None, ge=0, le=1)
    step: Number | None = Field(default=None, gt=0)


class NamedMaterial(Material):
    """`[[material]]`: data of what is named elsewhere.

    That is the additive that a level of a named choice stands for, without a package, or a balance
    that is not water.
    """

    kind: Literal["binder", "filler", "pigment", "other"] | None = None
    hydrophilic_fraction: Number | None = Field(default=None, ge=0, le=1)


class Package(Section):
    """`[package]`: the additive blend, whose shares add to 1."""

    set_per: Stage = "batch"
    additives: tuple[Additive, ...] = Field(alias="additive", min_length=1)


class LevelRange(Section):
    """`[[factor.range]]`: the factor's own range at a level of a named choice."""

    when: Mapping[str, str]
    low: Number
    high: Number


class Production(Section):
    """How a noise factor drifts in production, lab units."""

    mean: Number
    sd: Number = Field(ge=0)


class Factor(Section):
    """`[[factor]]`: anything set besides the shares."""

    name: str
    role: Literal["dose"] | None = None
    unit: str = ""
    low: Number | None = None
    high: Number | None = None
    spacing: Literal["even", "log"] = "even"
    ranges: tuple[LevelRange, ...] = Field(default=(), alias="range")
    set_per: Stage = "batch"
    set_by: str | None = None
    step: Number | None = Field(default=None, gt=0)
    scatter_sd: Number | None = Field(default=None, ge=0)
    tolerance: Number | None = Field(default=None, ge=0)
    levels: Levels = ()
    noise: Truth = False
    production: Production | None = None
    value: NumberOrWord | None = None

    @property
    def kind(self) -> Literal["range", "levels", "choice", "held"]:
        """Tell a numeric range, numeric levels, a named choice and a held setting apart."""
        if self.value is not None:
            return "held"
        if not self.levels:
            return "range"
        return "choice" if isinstance(self.levels[0], str) else "levels"

    @property
    def ends(self) -> tuple[float, float] | None:
        """Least and greatest setting of a range, over the levels that range it; None without."""
        lows = [self.low] if self.low is not None else [one.low for one in self.ranges]
        highs = [self.high] if self.high is not None else [one.high for one in self.ranges]
        return (min(lows), max(highs)) if lows and highs else None


class Limit(Section):
    """`[[limit]]`: a linear bound over several settings, lab units."""

    sum: Mapping[str, Number] = Field(min_length=1)
    at_most: Number | None = None
    at_least: Number | None = None
    because: str = ""


class Forbid(Section):
    """`[[forbid]]`: settings that must not occur together; all conditions hold at once."""

    settings: Mapping[str, Condition] = Field(min_length=1)
    because: str = ""


class Block(Section):
    """`[[block]]`: runs made under like conditions."""

    name: str
    size: Whole | None = Field(default=None, gt=0)
    effect: Literal["random", "fixed"] | None = None


class Control(Section):
    """`[[control]]`: a fixed recipe run beside the plan."""

    name: str
    every: str | None = None
    settings: Mapping[str, NumberOrWord] = Field(default_factory=dict)
    ingredients: tuple[LetdownIngredient, ...] = Field(default=(), alias="ingredient")


class Accept(Section):
    """`accept = { … }`: the limits a tested value must meet, response unit."""

    at_most: Number | None = None
    at_least: Number | None = None


ScaleName = Literal["identity", "log", "logit", "square root", "power", "auto"]


class Response(Section):
    """`[[response]]`: what is modelled."""

    name: str
    unit: str = ""
    per: Literal["batch", "sample", "panel"] = "sample"
    method: str | None = Field(default=None, alias="from")
    options: Mapping[str, NumberOrWord] = Field(default_factory=dict, alias="with")
    age_d: Number | None = Field(default=None, ge=0)
    aim: Literal["low", "high", "target"] | None = None
    best: Number | None = None
    worst: Number | None = None
    worst_low: Number | None = None
    worst_high: Number | None = None
    shape: Number = Field(default=1.0, gt=0)
    importance: Number = Field(default=1.0, gt=0)
    accept: Accept | None = None
    scale: ScaleName = "identity"
    power: Number | None = None
    bounds: tuple[Number, Number] | None = None
    when_gelled: Literal["above", "missing"] = "missing"
    kind: Literal["number", "rating", "count"] | None = None
    repeatability_sd: Number | None = Field(default=None, ge=0)


class View(Section):
    """`[[view]]`: one role's own importances."""

    role: str
    importance: Mapping[str, Number]


class PlanWishes(Section):
    """`[plan]`: what the plan should be able to see."""

    sd: Mapping[str, Number] = Field(default_factory=dict)
    effect: Mapping[str, Number] = Field(default_factory=dict)
    variance_ratio: Number = Field(default=1.0, ge=0, le=LARGEST_RATIO)
    batches_per_day: Whole | None = Field(default=None, gt=0)


class Study(Section):
    """One question about one package: the whole brief.

    Shares are proportions of active matter; every other setting is in the unit of its factor.
    """

    format: Literal[1] = 1
    about: About = Field(alias="study")
    pigment: Pigment | None = None
    millbase: Millbase | None = None
    letdown: Letdown | None = None
    tint: Tint | None = None
    package: Package | None = None
    materials: tuple[NamedMaterial, ...] = Field(default=(), alias="material")
    factors: tuple[Factor, ...] = Field(default=(), alias="factor")
    limits: tuple[Limit, ...] = Field(default=(), alias="limit")
    forbids: tuple[Forbid, ...] = Field(default=(), alias="forbid")
    blocks: tuple[Block, ...] = Field(default=(), alias="block")
    controls: tuple[Control, ...] = Field(default=(), alias="control")
    responses: tuple[Response, ...] = Field(default=(), alias="response")
    views: tuple[View, ...] = Field(default=(), alias="view")
    wishes: PlanWishes = Field(default_factory=PlanWishes, alias="plan")

    @property
    def additives(self) -> tuple[Additive, ...]:
        """The members of the package; empty without one."""
        return self.package.additives if self.package else ()

    @property
    def varied_factors(self) -> tuple[Factor, ...]:
        """The factors that the plan sets, held ones left out, in the brief's order."""
        return tuple(factor for factor in self.factors if factor.kind != "held")

    @property
    def setting_names(self) -> tuple[str, ...]:
        """The columns of every table of settings: additives, then varied factors."""
        return tuple(a.name for a in self.additives) + tuple(f.name for f in self.varied_factors)

    @property
    def dose(self) -> Factor | None:
        """The factor with the role of the dose, if the brief has one."""
        return next((factor for factor in self.factors if factor.role == "dose"), None)

    def response(self, name: str) -> Response:
        """Find a response by its exact name.

        Raises:
            KeyError: No response has that name.
        """
        for response in self.responses:
            if response.name == name:
                return response
        raise KeyError(name)
