"""The smaller models of one response in the order of their AICc.

Where runs share strata every model has variance ratios of its own. Models are then ordered at the
ratios of one of them, which takes each AICc too high or right, the first ones are looked at with
their own ratios, and this again from the best one's ratios until the best stays the best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fits.candidates import Candidates
from analysis.fits.subsets import WeighedRows, every_subset
from doe.model.coding import Coding
from doe.model.hierarchy_units import Units, units_of
from doe.model.terms import Model

# The search must give the same models again: its starts are drawn from this seed.
_SEED = 20021
# Models that are fitted with variance ratios of their own; each takes about 10 ms.
MOST_REFITTED = 60
_MOST_TURNS = 4
# Models that are written out, best first.
_MOST_KEPT = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """Models by AICc, the lowest first.

    Attributes:
        models: Each with its AICc; those without a value are left out.
        seen: How many models were looked at.
        complete: Whether these are all that hierarchy allows.
        rows: What they are least squares on, at the variance ratios of the best one.
    """

    models: tuple[tuple[Model, float], ...]
    seen: int
    complete: bool
    rows: WeighedRows


def rank_models(of: Candidates, model: Model, coding: Coding) -> Ranked:
    """Order a model and all smaller ones by AICc, as far as a search meets them."""
    ranking = _Ranking(of, units_of(model, coding))
    return ranking.exact() if of.rows(model).is_exact else ranking.by_turns()


class _Ranking:
    def __init__(self, of: Candidates, units: Units) -> None:
        self._of, self._units = of, units

    def exact(self) -> Ranked:
        rows = self._of.rows(self._units.model)
        found = every_subset(self._units, rows, self._rng)
        # Thousands far behind the best are of no use to anybody.
        first = found.best_first()[:_MOST_KEPT]
        models = ((self._units.model_of(state), found.heights[state]) for state in first)
        return Ranked(
            models=tuple((model, height) for model, height in models if np.isfinite(height)),
            seen=len(found.heights),
            complete=found.complete,
            rows=rows,
        )

    def by_turns(self) -> Ranked:
        heights: dict[Model, float] = {}
        best = self._units.model
        for _ in range(_MOST_TURNS):
            rows = self._of.rows(best)
            found = every_subset(self._units, rows, self._rng)
            for state in found.best_first()[:MOST_REFITTED]:
                model = self._units.model_of(state)
                if model not in heights:
                    height = self._of.aicc(model)
                    heights[model] = float("inf") if height is None else height
            before, best = best, min(heights, key=lambda one: (heights[one], len(one.terms)))
            if best == before:
                break
        ordered = sorted(heights, key=lambda one: (heights[one], len(one.terms)))
        return Ranked(
            models=tuple((m, heights[m]) for m in ordered if np.isfinite(heights[m])),
            seen=len(found.heights),
            complete=found.complete and len(heights) == len(found.heights),
            rows=self._of.rows(best),
        )

    @property
    def _rng(self) -> np.random.Generator:
        return np.random.default_rng(_SEED)
