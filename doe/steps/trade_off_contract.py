"""The trade-offs of `choose` as the contract has them."""

from __future__ import annotations

from typing import Any

from analysis.choice.compromise import Recipe
from analysis.choice.frontier import Frontier
from analysis.choice.least_dose import LeastDose
from analysis.choice.limit_prices import LimitPrices
from analysis.choice.regret import LeastRegret
from analysis.choice.trade_offs import TradeOffs
from analysis.choice.weights import Pull
from doe.model.coding import Coding
from doe.study.settings import Settings

KEYS = ("frontier", "weights", "views", "least_regret", "limit_prices", "least_dose")


def trade_off_objects(found: TradeOffs | None, coding: Coding) -> dict[str, Any]:
    """Give the keys of the trade-offs; each is null where it was not asked for."""
    if found is None:
        return dict.fromkeys(KEYS)
    return {
        "frontier": _frontier(found.frontier, coding) if found.frontier else None,
        "weights": [_pull(one) for one in found.weights],
        "views": [_pull(one) for one in found.views],
        "least_regret": _regret(found.least_regret) if found.least_regret else None,
        "limit_prices": _prices(found.limit_prices),
        "least_dose": _dose(found.least_dose) if found.least_dose else None,
    }


def _frontier(found: Frontier, coding: Coding) -> dict[str, Any]:
    table = Settings(names=coding.names, values=found.settings, labels=coding.labels)
    shown = set(found.shown)
    return {
        "responses": list(found.responses),
        "units": list(found.units),
        "between_steps": True,
        "without_useless": found.is_useful,
        "recipes": [
            {
                "settings": {k: v for k, v in table.row(i).items() if v is not None},
                "values": [float(x) for x in found.values[i]],
                "desirability": float(found.desirability[i]),
                "accepted": bool(found.accepted[i]),
                "shown": i in shown,
            }
            for i in range(len(found.settings))
        ],
        "best_of_each": dict(zip(found.responses, found.anchors, strict=True)),
        "unmatched": found.cover,
        "sampled": found.n_sampled,
        "above_compromise": found.beaten,
    }


def _pull(one: Pull) -> dict[str, Any]:
    return {
        "view": one.view,
        "response": one.response,
        "times": one.times,
        "importances": dict(one.importances),
        **_recipe(one.recipe),
        "desirability_of_compromise": one.stayed,
        "gained": one.gained,
        "desirability_by_brief": one.by_brief,
        "before_steps": _recipe(one.unrounded),
        "moved": one.moved,
        "moves_most": one.setting,
        "changes": dict(one.changes),
    }


def _regret(found: LeastRegret) -> dict[str, Any]:
    return {
        **_recipe(found.recipe),
        "worst_regret": found.worst,
        "worst_regret_of_compromise": found.worst_of_compromise,
        "before_steps": {**_recipe(found.unrounded), "worst_regret": found.worst_unrounded},
        "regrets": [
            {
                "view": one.view,
                "best": one.best,
                "settings_of_best": dict(one.recipe.settings),
                "compromise": one.compromise,
                "least_regret": one.least_regret,
            }
            for one in found.views
        ],
    }


def _prices(found: LimitPrices) -> dict[str, Any]:
    return {
        "within_limits": {**_recipe(found.within), "met": found.is_met},
        "prices": [
            {
                "limit": one.limit,
                "kind": one.kind,
                "response": one.response,
                "relaxed_by": one.by,
                "unit": one.unit,
                "binds": one.binds,
                "gain": one.gain,
                **_recipe(one.recipe),
                "changes": dict(one.changes),
                "beyond_tried": one.beyond_tried,
            }
            for one in found.prices
        ],
    }


def _dose(found: LeastDose) -> dict[str, Any]:
    return {
        "factor": found.factor,
        "unit": found.unit,
        "dose": found.dose,
        "dose_of_compromise": found.of_compromise,
        "given_away": found.given_away,
        "keeps_limits": found.keeps_limits,
        **_recipe(found.recipe),
        "changes": dict(found.changes),
    }


def _recipe(recipe: Recipe) -> dict[str, Any]:
    return {
        "settings": dict(recipe.settings),
        "desirability": recipe.desirability,
        "values": {one.response: one.value for one in recipe.expected},
    }
