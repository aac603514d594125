"""The step `choose`: the compromise among all aims."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis.choice.beside_controls import BesideControls, compare_with_controls
from analysis.choice.compromise import Compromise, ExpectedResponse, Recipe
from analysis.choice.influential import InfluenceOnChoice
from analysis.choice.least_dose import GIVEN_AWAY
from analysis.choice.search import choose_compromise
from analysis.choice.trade_offs import TradeOffs, find_trade_offs
from analysis.choice.with_full import WithFull, compare_with_full
from analysis.surface.exact import Surface
from analysis.surface.noise import production_of
from doe.errors import OptimumError
from doe.steps.analysis_of import StudyAnalysis, analyse
from doe.steps.contract import envelope
from doe.steps.influence import influence_object, study_influence
from doe.steps.model_choice import FitOptions
from doe.steps.results import json_bytes, write_choices, write_results
from doe.steps.session import open_study
from doe.steps.trade_off_contract import trade_off_objects
from doe.steps.untold import not_searched, without_interval
from doe.study.choices import ChosenSettings
from doe.study.finding import Finding
from doe.study.names import match_name


@dataclass(frozen=True, slots=True, kw_only=True)
class ChooseOptions:
    """What `choose` may be asked for.

    Attributes:
        within_limits: Let every acceptance limit bind.
        influence: Choose again without each run, batch and day as well.
        view: Role whose importances to use; empty for the brief's own.
        keep: Write the settings to `choices.toml`.
        because: Why, kept with them.
        role: Who decides.
        level: Confidence of intervals, 0..1.
        seed: Seed of the search; None for the brief's.
        trade_offs: Search for the trade-offs round the compromise as well.
        give_away: Overall desirability that the lowest dose may cost, 0..1.
    """

    within_limits: bool = False
    influence: bool = False
    view: str = ""
    keep: bool = False
    because: str = ""
    role: str = ""
    level: float = 0.95
    seed: int | None = None
    trade_offs: bool = False
    give_away: float = GIVEN_AWAY

    @property
    def tries_out(self) -> bool:
        """Whether something is tried that is not on record."""
        return bool(self.within_limits or self.view or self.seed is not None) and not self.keep


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChooseOutcome:
    """The compromise and the models it rests on."""

    analysis: StudyAnalysis
    compromise: Compromise
    influence: InfluenceOnChoice | None = None
    seed: int
    against_controls: BesideControls
    with_full: WithFull | None = None
    trade_offs: TradeOffs | None = None
    kept: bool = False
    files: tuple[Path, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the team should know."""
        hangs = self.influence.findings if self.influence is not None else ()
        of_full = (self.with_full.finding,) if self.with_full is not None else ()
        traded = self.trade_offs.findings if self.trade_offs is not None else ()
        skipped = not_searched(self.analysis.gaps)
        untold = (*skipped, *without_interval(self.analysis.fitted))
        of_study = (*self.analysis.without_model, *untold, *self.analysis.findings)
        return (*self.compromise.findings, *of_full, *traded, *hangs, *of_study)

    @property
    def is_no(self) -> bool:
        """Whether no settings serve every aim at all, or none meet limits that must bind."""
        found = self.compromise
        return found.best.desirability <= 0.0 or (found.within_limits and bool(found.unmet))

    def contract(self) -> dict[str, Any]:
        """Give the object that `choose --json` prints."""
        return choose_contract(self)


def choose_study(path: Path, options: ChooseOptions | None = None) -> ChooseOutcome:
    """Search the region of a study for the compromise.

    Raises:
        DoeError: The study cannot be read, nothing can be fitted, or no response has an aim.
    """
    asked = options or ChooseOptions()
    session = open_study(path)
    analysis = analyse(session, FitOptions(level=asked.level, with_full=True))
    seed = session.seed(asked.seed)
    found = search_compromise(analysis, asked, seed)
    production = production_of(session.study, analysis.coding)
    against = compare_with_controls(found, analysis.fits, production, level=asked.level)
    outcome = ChooseOutcome(
        analysis=analysis, compromise=found, seed=seed, against_controls=against,
        with_full=full_compromise(analysis, found, asked, seed),
        trade_offs=search_trade_offs(analysis, found, asked, seed) if asked.trade_offs else None,
    )  # fmt: skip
    if asked.influence:
        hangs = study_influence(analysis, found, seed, thorough=True)
        outcome = replace(outcome, influence=hangs)
    if asked.keep:
        chosen = ChosenSettings(
            settings=dict(outcome.compromise.best.settings), because=asked.because, role=asked.role
        )
        session = write_choices(session, replace(session.choices, chosen=chosen), command="choose")
        outcome = replace(outcome, analysis=replace(analysis, session=session), kept=True)
    if not asked.tries_out:
        files = write_results(
            session, {"choose.json": json_bytes(choose_contract(outcome))}, command="choose"
        )
        outcome = replace(outcome, files=files)
    return outcome


def search_compromise(
    analysis: StudyAnalysis,
    options: ChooseOptions,
    seed: int,
    *,
    instead: Mapping[str, Surface] | None = None,
) -> Compromise:
    """Run the search on an analysed study, with other models instead of some where given."""
    surfaces = {**analysis.surfaces, **(instead or {})}
    roles = [view.role for view in analysis.session.study.views]
    view = match_name(options.view, roles) or options.view
    return choose_compromise(
        analysis.session.study, analysis.region, surfaces, view=view,
        within_limits=options.within_limits, rng=np.random.default_rng(seed), level=options.level,
    )  # fmt: skip


def search_trade_offs(
    analysis: StudyAnalysis, found: Compromise, options: ChooseOptions, seed: int
) -> TradeOffs:
    """Search for the trade-offs round a compromise of an analysed study."""
    return find_trade_offs(
        analysis.session.study, analysis.region, analysis.surfaces, found, seed=seed,
        level=options.level, given_away=options.give_away,
    )  # fmt: skip


def full_compromise(
    analysis: StudyAnalysis, found: Compromise, options: ChooseOptions, seed: int
) -> WithFull | None:
    """Choose again with the full models; None where no terms were left out of any with an aim."""
    aimed = {response.name for response in analysis.session.study.responses if response.aim}
    full = {
        name: one.reduction.full_fit
        for name, one in analysis.fitted.items()
        if one.reduction is not None and one.reduction.dropped and name in aimed
    }
    if not full:
        return None
    again: Compromise | None = None
    with suppress(OptimumError):
        again = search_compromise(analysis, options, seed, instead=full)
    return compare_with_full(found, again, tuple(full), analysis.coding)


def choose_contract(outcome: ChooseOutcome) -> dict[str, Any]:
    """Give the contract's object for a compromise."""
    found, against = outcome.compromise, outcome.against_controls
    body = {
        **recipe_object(found.best),
        "against_controls": [asdict(one) for one in against.best],
        "influence": influence_object(outcome.influence),
        "unmet": list(found.unmet),
        "binding": list(found.binding),
        "alternatives": [
            {**recipe_object(recipe), "against_controls": [asdict(one) for one in own]}
            for recipe, own in zip(found.alternatives, against.alternatives, strict=True)
        ],
        "by_level": [
            {"choice": one.choice, "level": one.level, **recipe_object(one.recipe)}
            for one in found.by_level
        ],
        "before_steps": recipe_object(found.unrounded),
        "loss_by_steps": found.loss,
        "with_full_models": _full_object(outcome.with_full),
        **trade_off_objects(outcome.trade_offs, outcome.analysis.coding),
        "view": found.view,
        "within_limits": found.within_limits,
        "not_fitted": dict(outcome.analysis.not_fitted),
        "not_computed": dict(outcome.analysis.not_computed),
        "seed": outcome.seed,
    }
    return envelope(body, inputs=outcome.analysis.session.inputs(), findings=outcome.findings)


def _full_object(found: WithFull | None) -> dict[str, Any] | None:
    if found is None:
        return None
    recipe = recipe_object(found.compromise.best) if found.compromise is not None else {}
    moves = [asdict(move) for move in found.moves]
    return {"responses": list(found.responses), **recipe, "moves": moves}


def recipe_object(recipe: Recipe) -> dict[str, Any]:
    """Give one recipe as the contract has it."""
    return {
        "settings": dict(recipe.settings),
        "desirability": recipe.desirability,
        "predictions": {item.response: _expected_object(item) for item in recipe.expected},
    }


def _expected_object(item: ExpectedResponse) -> dict[str, Any]:
    return {
        "value": item.value,
        "value_is": item.value_is,
        "unit": item.unit,
        "mean_interval": item.mean_interval,
        "run_interval": item.run_interval,
        "predict_for": item.predict_for,
        "desirability": item.desirability,
        "accepted": item.accepted,
    }
