"""What the compromise hangs on: chosen again without each run, batch and day."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict
from typing import Any

import numpy as np

from analysis.choice.compromise import Compromise
from analysis.choice.influence import Choose, InfluenceQuestion, assess_influence
from analysis.choice.influential import Influence, InfluenceOnChoice
from analysis.choice.search import choose_compromise
from analysis.fits.without_runs import refitting
from analysis.surface.exact import Surface
from doe.errors import OptimumError
from doe.steps.analysis_of import StudyAnalysis


def study_influence(
    analysis: StudyAnalysis, compromise: Compromise, seed: int, *, thorough: bool
) -> InfluenceOnChoice:
    """Choose the compromise of an analysed study again without each run, batch and day.

    Args:
        analysis: The study with its models.
        compromise: In use.
        seed: Of the search.
        thorough: Whether responses with a likelihood of their own are fitted again, and the whole
            region is searched for the units that move the compromise furthest.
    """
    question = InfluenceQuestion(
        study=analysis.session.study,
        region=analysis.region,
        surfaces=analysis.surfaces,
        refittings={
            name: refitting(analysis.data[name], analysis.coding, fitted)
            for name, fitted in analysis.fitted.items()
        },
        compromise=compromise,
    )
    choose = _whole_search(analysis, compromise, seed) if thorough else None
    return assess_influence(question, np.random.default_rng(seed), slow=thorough, choose=choose)


def _whole_search(analysis: StudyAnalysis, compromise: Compromise, seed: int) -> Choose:
    def choose(again: Mapping[str, Surface]) -> Compromise | None:
        with suppress(OptimumError):
            return choose_compromise(
                analysis.session.study,
                analysis.region,
                {**analysis.surfaces, **again},
                view=compromise.view,
                within_limits=compromise.within_limits,
                rng=np.random.default_rng(seed),
            )
        return None

    return choose


def influence_object(found: InfluenceOnChoice | None) -> dict[str, Any] | None:
    """Give the contract's object; None where it was not asked for."""
    if found is None:
        return None
    return {
        "present": found.present,
        "held": list(found.held),
        "units": [_unit_object(one) for one in found.units],
    }


def _unit_object(one: Influence) -> dict[str, Any]:
    return {
        "kind": one.unit.kind,
        "number": one.unit.number,
        "runs": list(one.unit.runs),
        "reach": one.reach,
        "moves": [asdict(move) for move in one.moves],
        "desirability": one.desirability,
        "desirability_at_present": one.at_present,
        "predictions": {
            moved.response: {"unit": moved.unit, "before": moved.before, "after": moved.after}
            for moved in one.predictions
        },
        "not_fitted": list(one.not_fitted),
        "searched": one.searched,
    }
