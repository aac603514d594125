"""A dose ladder: its doses, and the weigh-out of each pot.

Pigment and total water are the same in every pot: only then does viscosity follow the dose alone.
So a pot weighs as much more as it holds more active matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from doe.errors import PlanError
from doe.recipe.batch_recipe import weigh_batch
from doe.recipe.package import package_stage
from doe.recipe.recipe import BatchRecipe
from doe.recipe.titration import SettingsRow
from doe.study.brief import Package, Study
from doe.study.finding import Finding

# Pots of a ladder: common practice.
FEWEST, MOST, USUAL = 6, 10, 8
# How far the ladder reaches past the suggested range. Ours: demand may be half of what rules of
# thumb say, and the rise past the minimum must show, too.
WIDEN_BELOW, WIDEN_ABOVE = 0.5, 1.5
# Digits of a dose that a bench can weigh.
DOSE_DIGITS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderPot:
    """One pot: its number, its place at the bench, its weigh-out; the control has dose 0."""

    number: int
    order: int
    dose: float
    recipe: BatchRecipe | None

    @property
    def is_control(self) -> bool:
        """Whether it holds no additive."""
        return self.dose == 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LadderPlan:
    """A planned ladder.

    Attributes:
        pots: In bench order, the control among them.
        row: The settings that all pots share.
        order_words: How the order was chosen.
        findings: What the formulator ought to know.
    """

    pots: tuple[LadderPot, ...]
    row: SettingsRow
    order_words: str
    findings: tuple[Finding, ...]


def ladder_doses(low: float, high: float, steps: int, grid: float | None = None) -> list[float]:
    """Space doses evenly in their logarithm, rounded to what a bench weighs.

    Args:
        low: Lowest dose, above 0.
        high: Highest dose.
        steps: How many, 6 to 10.
        grid: Smallest difference that the bench sets; None rounds to two digits.

    Raises:
        PlanError: The ends or the number do not make a ladder.

    Example:
        >>> ladder_doses(0.4, 3.2, 7)
        [0.4, 0.57, 0.8, 1.1, 1.6, 2.3, 3.2]
    """
    if not 0 < low < high < 100:
        raise PlanError(
            f"the ladder would run from {low:g} to {high:g} %",
            where="--from, --to",
            allowed="from above 0 to a higher dose below 100, % active on pigment",
            do="The pot without additive is added of itself.",
        )
    if not FEWEST <= steps <= MOST:
        raise PlanError(
            f"{steps} pots", where="--steps", allowed=f"{FEWEST} to {MOST} doses",
            do="Fewer leave a curve unseen; more are better spent on repeats.",
        )  # fmt: skip
    doses = [_rounded(float(dose), grid) for dose in np.geomspace(low, high, steps)]
    if len(set(doses)) < steps or min(doses) <= 0:
        raise PlanError(
            "two doses of the ladder round to the same",
            where="--from, --to",
            do="Set them farther apart, ask for fewer steps, or lower the step of the dose.",
        )
    return doses


def widened(low: float, high: float) -> tuple[float, float]:
    """Widen a suggested range on both sides, so that some doses lie below the demand."""
    return WIDEN_BELOW * low, WIDEN_ABOVE * high


def plan_ladder(
    study: Study,
    doses: Sequence[float],
    row: SettingsRow,
    *,
    seed: int | None,
    ascending_because: str = "",
) -> LadderPlan:
    """Weigh out the pots of a ladder and set their order.

    Args:
        study: The brief.
        doses: % active on pigment, rising.
        row: Shares and factors, without the dose.
        seed: Of the random order.
        ascending_because: Why the pots are made in rising order; empty for a random one.

    Raises:
        PlanError: A recipe cannot be weighed.
    """
    every = [0.0, *doses]
    recipes = _recipes(study, every, row)
    if ascending_because:
        order = list(range(len(every)))
        words = f"rising doses, because {ascending_because}"
    else:
        order = [int(i) for i in np.random.default_rng(seed).permutation(len(every))]
        words = f"random, seed {seed}"
    pots = [
        LadderPot(number=i + 1, order=order.index(i) + 1, dose=dose, recipe=recipe)
        for i, (dose, recipe) in enumerate(zip(every, recipes, strict=True))
    ]
    return LadderPlan(
        pots=tuple(sorted(pots, key=lambda pot: pot.order)), row=row, order_words=words,
        findings=_findings(study, recipes),
    )  # fmt: skip


def _recipes(study: Study, doses: Sequence[float], row: SettingsRow) -> list[BatchRecipe | None]:
    if study.millbase is None:
        return [None for _ in doses]
    in_batch = _additives_in_batch(study)
    name = study.dose.name if study.dose else ""
    recipes = [
        weigh_batch(in_batch, {**row, name: dose}, where=f"ladder, dose {dose:g} %")
        for dose in doses
    ]
    # The pot in the middle is the brief's batch; the others hold as much water as it does.
    water_g = recipes[(len(recipes) + 1) // 2].total_water_g
    return [_with_water(one, water_g, doses[i]) for i, one in enumerate(recipes)]


def _with_water(recipe: BatchRecipe, water_g: float, dose: float) -> BatchRecipe:
    """Change the water to weigh alone, so that the pot holds so much in all."""
    more = water_g - recipe.total_water_g
    weighed = recipe.water_to_weigh_g + more
    if weighed < 0:
        raise PlanError(
            f"no water is left to weigh at {dose:g} %",
            where="--to",
            do="End the ladder at a lower dose, or take pigment_percent down.",
        )
    return replace(
        recipe,
        batch_g=recipe.batch_g + more,
        lines=tuple(
            replace(line, as_supplied_g=weighed, water_g=weighed)
            if line.kind == "balance"
            else line
            for line in recipe.lines
        ),
    )


def _additives_in_batch(study: Study) -> Study:
    """Put the additives into the mill base, wherever the study itself sets them."""
    package = study.package
    moved = None if package is None else Package(set_per="batch", additive=package.additives)
    factors = tuple(
        one.model_copy(update={"set_per": "batch"}) if one.role == "dose" else one
        for one in study.factors
    )
    return study.model_copy(update={"package": moved, "factors": factors})


def _findings(study: Study, recipes: Sequence[BatchRecipe | None]) -> tuple[Finding, ...]:
    findings = []
    if study.millbase is None:
        findings.append(
            Finding(
                level="caution",
                what="The brief has no [millbase], so the ladder has doses but no weigh-outs.",
                advice="Add [millbase] with batch_g and pigment_percent to study.toml.",
            )
        )
    if package_stage(study) == "sample":
        findings.append(
            Finding(
                level="note",
                what="The study sets its additives per sample; the ladder has them in the mill "
                "base.",
                advice="Its lowest dose is that of the grind.",
            )
        )
    seen = {one.what: one for recipe in recipes if recipe for one in recipe.findings}
    return (*findings, *seen.values())


def _rounded(dose: float, grid: float | None) -> float:
    if grid:
        return round(round(dose / grid) * grid, 10)
    return float(f"{dose:.{DOSE_DIGITS}g}")
