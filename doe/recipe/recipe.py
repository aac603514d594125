"""A weigh-out as a value: what is weighed for one mill batch and for one sample of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from doe.study.finding import Finding

LineKind = Literal["balance", "additive", "ingredient", "pigment", "mill base", "let-down", "white"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeLine:
    """One raw material of a weigh-out.

    Attributes:
        name: Name of the material as in the brief.
        kind: Its place in the recipe.
        as_supplied_g: Grams to weigh.
        active_g: Grams of active matter in it.
        water_g: Grams of water in it.
        solvent_g: Grams of co-solvent in it.
    """

    name: str
    kind: LineKind
    as_supplied_g: float
    active_g: float
    water_g: float = 0.0
    solvent_g: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Titration:
    """A setting that is reached by adding something until the instrument shows it.

    Attributes:
        factor: Name of the factor, such as pH.
        unit: Its unit.
        target: Planned value.
        titrant: What is added, such as a base.
    """

    factor: str
    unit: str
    target: float
    titrant: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRecipe:
    """The weigh-out of one mill batch.

    Attributes:
        batch_g: Mass of the whole batch.
        lines: What is weighed, in order of addition, the balance first and the pigment last; the
            balance's grams are the whole of it, the part held back included.
        dose: Active matter on pigment, %; None where a control brings its own ingredients.
        titrations: What is titrated in the batch.
        held_back_g: The part of the balance not weighed at first, to be replaced by titrant and
            made up at the end.
        findings: What the formulator ought to know.
    """

    batch_g: float
    lines: tuple[RecipeLine, ...]
    dose: float | None = None
    titrations: tuple[Titration, ...] = ()
    held_back_g: float = 0.0
    findings: tuple[Finding, ...] = ()

    @property
    def balance(self) -> RecipeLine:
        """The line that fills the batch up, most often water."""
        return next(line for line in self.lines if line.kind == "balance")

    @property
    def pigment_g(self) -> float:
        """Grams of pigment; 0 where a control has none."""
        return sum(line.as_supplied_g for line in self.lines if line.kind == "pigment")

    @property
    def additives(self) -> tuple[RecipeLine, ...]:
        """The lines of the package, in the brief's order."""
        return tuple(line for line in self.lines if line.kind == "additive")

    @property
    def water_to_weigh_g(self) -> float:
        """Grams of balance to weigh, the part held back included."""
        return self.balance.as_supplied_g

    @property
    def first_water_g(self) -> float:
        """Grams of balance to weigh at the start, the part held back left out."""
        return self.balance.as_supplied_g - self.held_back_g

    @property
    def total_water_g(self) -> float:
        """Grams of water from the balance and from inside every material."""
        return sum(line.water_g for line in self.lines)

    @property
    def non_volatile_g(self) -> float:
        """Grams of pigment and active matter."""
        return sum(line.active_g for line in self.lines if line.kind != "balance")

    def line(self, name: str) -> RecipeLine:
        """Find a line by its exact name.

        Raises:
            KeyError: No line has that name.
        """
        for line in self.lines:
            if line.name == name:
                return line
        raise KeyError(name)


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleRecipe:
    """What is weighed for one sample drawn from a batch.

    Attributes:
        draw_g: Mass drawn from the mill; None where the brief does not say.
        letdown: Mill base, what is added to it, and additives that are set per sample.
        tint: Let-down and white paste of the white reduction; empty without one.
        titrations: What is titrated in the let-down.
    """

    draw_g: float | None = None
    letdown: tuple[RecipeLine, ...] = ()
    tint: tuple[RecipeLine, ...] = ()
    titrations: tuple[Titration, ...] = ()
