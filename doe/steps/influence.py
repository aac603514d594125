"""What the compromise hangs on: chosen again without each run, batch and day."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from analysis.choice.compromise import Compromise
from analysis.choice.influence import InfluenceQuestion, assess_influence
from analysis.choice.influential import Influence, InfluenceOnChoice
from analysis.fits.without_runs import refitting
from doe.steps.analysis_of import StudyAnalysis


def study_influence(
    analysis: StudyAnalysis, compromise: Compromise, seed: int, *, thorough: bool
) -> InfluenceOnChoice:
    """Choose the compromise of an analysed study again without each run, batch and day.

    Args:
        analysis: The study with its models.
        compromise: In use.
        seed: Of the search.
        thorough: Whether responses with a likelihood of their own are fitted again, and
            ascents start all over the region for the units that move the compromise furthest.
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
    return assess_influence(question, np.random.default_rng(seed), slow=thorough, wide=thorough)


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
