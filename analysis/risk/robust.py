"""The robust choice: the most probable settings, and the best ones at no less than a probability.

Both stand beside the compromise, on the bench's steps. The compromise is where the responses are
expected to be best; the robust choice is where most production batches meet every limit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.choice.chart import Chart, charts_of
from analysis.choice.compromise import Recipe
from analysis.choice.desirability import Aim, aims_of
from analysis.choice.objective import Objective, make_objective
from analysis.choice.recipe import RecipeBook
from analysis.risk.chance_search import Place, Tried, Wanted, seek, settle_on_steps, try_region
from analysis.risk.draws import DrawPlan, Estimate
from analysis.risk.model import RiskModel
from analysis.risk.probability import Risk
from analysis.risk.smooth import SmoothChance, make_chance
from analysis.surface.exact import Surface
from analysis.surface.noise import production_of
from doe.errors import OptimumError
from doe.model.coding import ChoiceAxis
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.settings import FloatArray

LEVEL = 0.9
# Draws of the search and of what is reported: every draw gives a share of a chance, so that few do.
SEARCH_DRAWS, FINAL_DRAWS, SCRAMBLINGS = 256, 8_192, 8
# Probabilities this near are one for a team that makes batches, not draws; our own choice.
EQUAL = 0.002
# Part of the region that is as good as the best before its extent is worth a word.
WIDE = 0.05
TRIES = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Standing:
    """One recipe among those that are set side by side.

    Attributes:
        name: compromise, most probable, or best at the level.
        row: Settings, shape (k,), lab units.
        recipe: Settings by name, desirability, what each response is expected to be.
        probability: Joint, of tested values.
        probability_true: Joint, of the batches' own values.
        loss: Given away by the bench's steps: probability, or desirability for the best at a
            level; 0 for the compromise, whose own is told with it.
        on_steps: Whether it lies on the bench's steps.
    """

    name: str
    row: FloatArray
    recipe: Recipe
    probability: Estimate
    probability_true: Estimate
    loss: float = 0.0
    on_steps: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """How far settings range that are as probable as the most probable ones.

    Attributes:
        setting: Name.
        unit: Its unit.
        low: Lowest, lab units; for a choice None.
        high: Highest.
        levels: Levels of a choice that are as good.
    """

    setting: str
    unit: str
    low: float | None
    high: float | None
    levels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RobustChoice:
    """Compromise and robust choice side by side.

    Attributes:
        level: Probability that the best recipe must reach, 0..1.
        compromise: Or whatever settings were asked about; None where there are none.
        most_probable: Largest joint probability; of equals, the most desirable.
        best_at_level: Largest desirability at the level; None where it is out of reach, or no
            response has an aim.
        anywhere: Where probability is flat: how far its settings may range; empty where it peaks.
        flat_part: Part of the region that is as probable as the best, 0..1.
        tried: Points looked at all over the region.
        findings: What to know.
    """

    level: float
    compromise: Standing | None
    most_probable: Standing
    best_at_level: Standing | None
    anywhere: tuple[Extent, ...]
    flat_part: float
    tried: int
    findings: tuple[Finding, ...] = ()

    @property
    def standings(self) -> tuple[Standing, ...]:
        """All that there are, the compromise first."""
        every = (self.compromise, self.most_probable, self.best_at_level)
        return tuple(one for one in every if one is not None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RobustQuestion:
    """What the robust choice is sought in.

    Attributes:
        study: The brief.
        region: Its region.
        surfaces: Models and computed responses by name.
        model: Production batches, ready to be drawn.
        level: Probability that the best recipe must reach, 0..1.
        seed: Of draws and starts.
        view: Role whose importances count; empty for the brief's own.
        interval_level: Confidence of the intervals of what is expected.
    """

    study: Study
    region: Region
    surfaces: Mapping[str, Surface]
    model: RiskModel
    level: float = LEVEL
    seed: int = 1
    view: str = ""
    interval_level: float = 0.95


def choose_robustly(question: RobustQuestion, compromise: FloatArray | None = None) -> RobustChoice:
    """Find the robust choice.

    Args:
        question: In what, and at which probability.
        compromise: Settings to set beside it and to start from as well, shape (k,), lab units.

    Raises:
        OptimumError: No recipe keeps the limits where noise factors are at their production mean.
    """
    search = _Search.of(question)
    also = [] if compromise is None else [compromise]
    summit = seek(search.by_chance, search.charts, search.tried, also)
    flat, extents = search.flat_round(summit)
    if flat >= WIDE and search.objective is not None:
        # Of recipes that are equally probable the most desirable.
        summit = search.most_desirable(summit, also)
    most = search.standing("most probable", search.by_chance, summit)
    best = search.best_at_level([*also, summit.settings])
    beside = None if compromise is None else search.as_it_is("compromise", compromise)
    return RobustChoice(
        level=question.level,
        compromise=beside,
        most_probable=most,
        best_at_level=best,
        anywhere=extents if flat >= WIDE else (),
        flat_part=flat,
        tried=len(search.tried.settings),
        findings=tuple(_findings(question, beside, most, best, flat, extents)),
    )


def told_alike(found: RobustChoice, risk: Risk) -> RobustChoice:
    """Give settings whose risk is told elsewhere the same probability here.

    The search draws on its own, and two numbers for one recipe would ask which of them is right.
    The others keep theirs.
    """

    def alike(one: Standing | None) -> Standing | None:
        if one is None or not _is_same(one.row, risk.nominal):
            return one
        return replace(one, probability=risk.probability, probability_true=risk.probability_true)

    most = alike(found.most_probable)
    assert most is not None
    return replace(
        found, compromise=alike(found.compromise), most_probable=most,
        best_at_level=alike(found.best_at_level),
    )  # fmt: skip


def _is_same(row: FloatArray, nominal: FloatArray) -> bool:
    """Tell whether two rows set the same; where noise factors lie is not set."""
    known = ~np.isnan(nominal) & ~np.isnan(row)
    return bool(np.allclose(row[known], nominal[known], rtol=1e-9, atol=0.0))


def fine_chance(model: RiskModel, seed: int) -> SmoothChance:
    """Make the probability ready to be told, not only to be compared."""
    return make_chance(model, DrawPlan(draws=FINAL_DRAWS, scramblings=SCRAMBLINGS, seed=seed))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Search:
    question: RobustQuestion
    charts: tuple[Chart, ...]
    tried: Tried
    coarse: SmoothChance
    fine: SmoothChance
    objective: Objective | None
    book: RecipeBook

    @classmethod
    def of(cls, question: RobustQuestion) -> _Search:
        production = production_of(question.study, question.region.coding)
        charts = charts_of(question.region, production)
        if not charts:
            raise OptimumError(
                "no recipe keeps the limits where noise factors are at their production mean",
                where="study.toml",
                allowed="limits that leave room at the production mean",
                do="Check production against the limits that name noise factors.",
            )
        aims = _known_aims(question)
        plan = DrawPlan(draws=SEARCH_DRAWS, scramblings=4, seed=question.seed)
        return cls(
            question=question,
            charts=charts,
            tried=try_region(charts, np.random.default_rng(question.seed)),
            coarse=make_chance(question.model, plan),
            fine=fine_chance(question.model, question.seed + 1),
            objective=make_objective(question.surfaces, aims, (), production) if aims else None,
            book=RecipeBook(
                study=question.study, region=question.region, fits=question.surfaces, aims=aims,
                production=production, level=question.interval_level,
            ),
        )  # fmt: skip

    @property
    def by_chance(self) -> Wanted:
        return Wanted(chance=self.coarse)

    def standing(self, name: str, wanted: Wanted, summit: Place) -> Standing:
        """Bring a summit onto the steps and say what it gives, with what the steps cost."""
        settled = settle_on_steps(wanted, self.charts, self.book.coding, summit)
        found = self.as_it_is(name, summit.settings if settled is None else settled.settings)
        if settled is None:
            return replace(found, on_steps=False)
        if wanted.by_desirability:
            before = self.book.recipe(summit.settings).desirability
            return replace(found, loss=max(0.0, before - found.recipe.desirability))
        before = float(self.fine.probability(summit.settings[None, :])[0])
        return replace(found, loss=max(0.0, before - found.probability.value))

    def as_it_is(self, name: str, row: FloatArray) -> Standing:
        """Say what a recipe gives."""
        return Standing(
            name=name,
            row=row,
            recipe=self.book.recipe(row),
            probability=self.fine.estimate(row),
            probability_true=self.fine.estimate(row, tested=False),
        )

    def flat_round(self, summit: Place) -> tuple[float, tuple[Extent, ...]]:
        """Find which part of the region is as probable as the summit, and how far it ranges."""
        every = self.coarse.probability(self.tried.settings)
        best = float(self.coarse.probability(summit.settings[None, :])[0])
        equal = every >= best - EQUAL
        rows = np.vstack([self.tried.settings[equal], summit.settings[None, :]])
        return float(equal.mean()), tuple(self._extent(j, rows[:, j]) for j in self._moving())

    def _moving(self) -> list[int]:
        noise = self.book.production.columns
        return [j for j in range(len(self.book.coding.axes)) if j not in noise]

    def _extent(self, j: int, values: FloatArray) -> Extent:
        axis = self.book.coding.axes[j]
        if isinstance(axis, ChoiceAxis):
            levels = tuple(axis.levels[int(i)] for i in np.unique(values[~np.isnan(values)]))
            return Extent(setting=axis.name, unit="", low=None, high=None, levels=levels)
        known = values[~np.isnan(values)]
        low, high = (float(known.min()), float(known.max())) if len(known) else (None, None)
        return Extent(setting=axis.name, unit=getattr(axis, "unit", ""), low=low, high=high)

    def most_desirable(self, summit: Place, also: Sequence[FloatArray]) -> Place:
        """Find the most desirable recipe that is as probable as a summit."""
        reached = float(self.coarse.probability(summit.settings[None, :])[0]) - EQUAL
        wanted = Wanted(chance=self.coarse, objective=self.objective, level=max(reached, 1e-6))
        found = seek(wanted, self.charts, self.tried, [*also, summit.settings])
        return found if found.merit > 0.0 else summit

    def best_at_level(self, also: Sequence[FloatArray]) -> Standing | None:
        """Find the most desirable recipe at the level; None where none reaches it, or no aim."""
        if self.objective is None:
            return None
        asked = level = self.question.level
        for _ in range(TRIES):
            wanted = Wanted(chance=self.coarse, objective=self.objective, level=level)
            summit = seek(wanted, self.charts, self.tried, also)
            if summit.merit <= 0.0:
                return None
            found = self.standing("best at the level", wanted, summit)
            short = asked - found.probability.value
            if short <= 0.0:
                return found
            # The few draws of the search flatter what they chose: ask them for a little more.
            level = min(level + 1.5 * short + 1e-4, 1.0 - 1e-6)
        return None


def _known_aims(question: RobustQuestion) -> tuple[Aim, ...]:
    try:
        aims = aims_of(question.study, question.view)
    except OptimumError:
        return ()
    return tuple(aim for aim in aims if aim.response in question.surfaces)


def _findings(
    question: RobustQuestion,
    beside: Standing | None,
    most: Standing,
    best: Standing | None,
    flat: float,
    extents: Sequence[Extent],
) -> list[Finding]:
    found = []
    top, asked = most.probability.value, question.level
    if top < asked:
        found.append(
            Finding(
                level="caution",
                what=f"No settings were found where {100 * asked:g} of 100 production batches meet "
                f"every limit: the best that was found is {100 * top:.1f}.",
                advice="Take out the source of scatter that costs most, relax a limit, or make "
                "runs that make the models surer.",
            )
        )
    elif beside is not None and beside.probability.value < asked and best is not None:
        found.append(
            Finding(
                level="caution",
                what=f"At these settings {100 * beside.probability.value:.1f} of 100 production "
                f"batches meet every limit; other settings reach {100 * asked:g} of 100.",
                advice="Weigh the robust choice against them: it stands beside them.",
            )
        )
    if flat >= WIDE:
        ranges = "; ".join(extent_words(one) for one in extents)
        found.append(
            Finding(
                level="note",
                what="The probability is as large as it gets almost anywhere here: " + ranges + ".",
                evidence={"part of the region": round(flat, 3)},
                advice="Let other things decide among them, such as cost or ease.",
            )
        )
    return found


def extent_words(one: Extent) -> str:
    """Say how far a setting ranges.

    Example:
        >>> extent_words(Extent(setting="pH", unit="", low=8.0, high=9.25))
        'pH 8 to 9.25'
    """
    if one.levels:
        return f"{one.setting} {' or '.join(one.levels)}"
    if one.low is None or one.high is None:
        return f"{one.setting} lacking"
    return f"{one.setting} {one.low:.3g} to {one.high:.3g} {one.unit}".rstrip()
