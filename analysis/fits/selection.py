"""Smaller models by the rules of hierarchy, never silently.

Source:
    Burnham and Anderson (2002), Model Selection and Multimodel Inference, 2nd ed., section 2.4, for
    AICc; DESIGN.md, section 5, "Models", for what may be dropped.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from analysis.fits.candidates import Candidates, candidates_of
from analysis.fits.fit import Scale
from analysis.fits.fitted_response import FittedResponse, fit_response, table_of
from analysis.fits.near_models import near_models
from analysis.fits.ranking import Ranked, rank_models
from analysis.fits.reduction import beside
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.hierarchy import drop_group, may_drop
from doe.model.terms import Model, Term, term_label
from doe.study.finding import Finding

By = Literal["best", "backward", "p"]
# A term stays at twice the usual 5 %: leaving out one that acts costs more than keeping one that
# does not (Montgomery 2017, section 10.5).
P_TO_STAY = 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One group of terms left out.

    Attributes:
        terms: The terms, as tables show them.
        p: Of their joint test at that point; None without degrees of freedom for the error.
        aicc: Of the model without them.
    """

    terms: tuple[str, ...]
    p: float | None
    aicc: float | None


def reduce_model(
    data: ResponseData, coding: Coding, model: Model, *, scale: Scale, by: By = "best"
) -> tuple[Model, tuple[Step, ...]]:
    """Leave out what does nothing, as far as hierarchy allows.

    Args:
        data: The response over its runs.
        coding: The settings.
        model: The model to start from; the runs must carry it.
        scale: The scale it is fitted on.
        by: `best` takes the model with the lowest AICc among all that hierarchy allows, or among
            those that a search meets where they are too many; `backward` drops the group that
            lowers AICc most, again and again; `p` the weakest one while its p is above 0.10.

    Returns:
        The smaller model and the steps to it, none if nothing should go.
    """
    return _Search(data, coding, model, scale).by(by)


def reduce_fit(
    data: ResponseData,
    coding: Coding,
    fitted: FittedResponse,
    *,
    level: float = 0.95,
    by: By = "best",
) -> FittedResponse:
    """Fit the reduced model, and say beside it what was left out and what that does.

    Args:
        data: The response over its runs.
        coding: The settings.
        fitted: The full model, fitted.
        level: Confidence of intervals.
        by: See `reduce_model`.
    """
    scale = fitted.fit.scale
    search = _Search(data, coding, fitted.fit.model, scale)
    smaller, steps = search.by(by)
    if steps:
        now = fit_response(data, coding, model=smaller, scale=scale, level=level)
        told = _told(fitted, now, steps)
    else:
        now = fitted
        told = Finding(level="note", what="Nothing could be left out: every term earns its place.")
    reduction = beside(
        (fitted.fit, fitted.assessment), (now.fit, now.assessment), way=by,
        near=near_models(search.ranked), seen=search.ranked.seen, complete=search.ranked.complete,
    )  # fmt: skip
    return replace(now, findings=(told, *now.findings), reduction=reduction)


class _Search:
    """Models by dropping, each solved once on the same rows, blocks and controls."""

    def __init__(self, data: ResponseData, coding: Coding, model: Model, scale: Scale) -> None:
        table, _, _ = table_of(data, coding, model)
        self._coding, self._model = coding, model
        self._of: Candidates = candidates_of(data, coding, scale, table)

    def by(self, way: By) -> tuple[Model, tuple[Step, ...]]:
        ways = {"best": self.best, "backward": self.backward_by_aicc, "p": self.backward}
        return ways[way]()

    @cached_property
    def ranked(self) -> Ranked:
        return rank_models(self._of, self._model, self._coding)

    def backward(self) -> tuple[Model, tuple[Step, ...]]:
        model = self._model
        steps: list[Step] = []
        while True:
            tried = [
                (self._of.p(model, smaller), group, smaller)
                for group, smaller in self._smaller(model)
            ]
            weakest = max(tried, key=lambda one: _or_one(one[0]), default=None)
            if weakest is None or _or_one(weakest[0]) <= P_TO_STAY:
                return model, tuple(steps)
            p, group, model = weakest
            steps.append(self._step(group, p, model))

    def best(self) -> tuple[Model, tuple[Step, ...]]:
        if not self.ranked.models:
            return self.backward_by_aicc()
        best, _ = self.ranked.models[0]
        return best, self._steps_to(best)

    def backward_by_aicc(self) -> tuple[Model, tuple[Step, ...]]:
        model = self._model
        steps: list[Step] = []
        while True:
            tried = [(self._aicc(small), group, small) for group, small in self._smaller(model)]
            lowest = min(tried, key=lambda one: one[0], default=None)
            if lowest is None or lowest[0] >= self._aicc(model):
                return model, tuple(steps)
            _, group, smaller = lowest
            steps.append(self._step(group, self._of.p(model, smaller), smaller))
            model = smaller

    def _steps_to(self, best: Model) -> tuple[Step, ...]:
        """Leave out one group after the other, the weakest first, until the best model is there."""
        model, wanted = self._model, set(best.terms)
        steps: list[Step] = []
        while set(model.terms) != wanted:
            tried = [
                (self._of.p(model, smaller), group, smaller)
                for group, smaller in self._smaller(model)
                if not wanted & set(group)
            ]
            p, group, model = max(tried, key=lambda one: _or_one(one[0]))
            steps.append(self._step(group, p, model))
        return tuple(steps)

    def _smaller(self, model: Model) -> Iterator[tuple[tuple[Term, ...], Model]]:
        for group in may_drop(model, self._coding):
            smaller = drop_group(model, group, self._coding)
            if len(smaller.terms) < len(model.terms):
                yield group, smaller

    def _aicc(self, model: Model) -> float:
        aicc = self._of.aicc(model)
        return aicc if aicc is not None else float("inf")

    def _step(self, group: tuple[Term, ...], p: float | None, small: Model) -> Step:
        names = tuple(term_label(term) for term in group)
        return Step(terms=names, p=p, aicc=self._of.aicc(small))


def _or_one(p: float | None) -> float:
    return 1.0 if p is None else p


def _told(full: FittedResponse, reduced: FittedResponse, steps: tuple[Step, ...]) -> Finding:
    names = [name for step in steps for name in step.terms]
    shown = ", ".join(f"'{name}'" for name in names[:8])
    more = f" and {len(names) - 8} more" if len(names) > 8 else ""
    evidence: dict[str, float | int | str] = {
        "terms before": len(full.fit.model.terms),
        "terms left": len(reduced.fit.model.terms),
    }
    for name, one in (("before", full.assessment), ("after", reduced.assessment)):
        if one.aicc is not None:
            evidence[f"AICc {name}"] = round(one.aicc, 2)
        if one.r2_predicted is not None:
            evidence[f"predicted R² {name}"] = round(one.r2_predicted, 3)
    return Finding(
        level="caution",
        what=f"Left out of the {full.fit.model.name} model: {shown}{more}. The runs chose the "
        "terms, so the p-values and intervals of those that stay are too sure of themselves.",
        evidence=evidence,
        advice="See whether the compromise moves between the full and the reduced model; where it "
        "does, trust neither without more runs.",
        source="Burnham and Anderson (2002), Model Selection and Multimodel Inference, section 2.4",
    )
