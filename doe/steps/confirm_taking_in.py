"""Taking confirmation batches into the models, and what that moves."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

from analysis.choice.compromise import Compromise
from doe.errors import OptimumError
from doe.model.coding import NumericAxis, ShareAxis
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.choose import ChooseOptions, search_compromise

# Coefficients that move by at least so many of their former standard errors are named.
WORTH_NAMING = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingMove:
    """How far one setting of the compromise moved; `part` of its range, None for a choice."""

    setting: str
    before: float | str | None
    after: float | str | None
    part: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CoefficientMove:
    """How far one coefficient moved, fitted scale; `in_errors` of its former standard error."""

    response: str
    term: str
    before: float
    after: float
    in_errors: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What taking in a round moved.

    Attributes:
        settings: Settings of the compromise; empty where there is none before or after.
        desirability: Of the compromise before and after; None where there is none.
        coefficients: All that are in both models, the farthest first.
        other_models: Responses whose models have other terms now.
    """

    settings: tuple[SettingMove, ...]
    desirability: tuple[float, float] | None
    coefficients: tuple[CoefficientMove, ...]
    other_models: tuple[str, ...]

    @property
    def largest(self) -> SettingMove | None:
        """The setting that moved farthest; None where none can be compared."""
        told = [one for one in self.settings if one.part is not None]
        return max(told, key=lambda one: one.part or 0.0) if told else None

    @property
    def named(self) -> tuple[CoefficientMove, ...]:
        """The coefficients that moved by a standard error or more."""
        return tuple(one for one in self.coefficients if (one.in_errors or 0.0) >= WORTH_NAMING)


def what_moved(before: StudyAnalysis, after: StudyAnalysis, seed: int) -> Moved:
    """Compare models and compromise before and after."""
    old, new = _compromise(before, seed), _compromise(after, seed)
    settings: tuple[SettingMove, ...] = ()
    desirability = None
    if old is not None and new is not None:
        settings = _settings(before, old, new)
        desirability = (old.best.desirability, new.best.desirability)
    coefficients, others = _coefficients(before, after)
    return Moved(
        settings=settings, desirability=desirability, coefficients=coefficients,
        other_models=others,
    )  # fmt: skip


def _compromise(analysis: StudyAnalysis, seed: int) -> Compromise | None:
    with suppress(OptimumError):
        return search_compromise(analysis, ChooseOptions(), seed)
    return None


def _settings(analysis: StudyAnalysis, old: Compromise, new: Compromise) -> tuple[SettingMove, ...]:
    spans = {
        axis.name: axis.high - axis.low
        for axis in analysis.coding.axes
        if isinstance(axis, NumericAxis | ShareAxis)
    }
    found = []
    for name, before in old.best.settings.items():
        after = new.best.settings.get(name)
        part = None
        if isinstance(before, float) and isinstance(after, float) and name in spans:
            part = abs(after - before) / spans[name]
        found.append(SettingMove(setting=name, before=before, after=after, part=part))
    return tuple(found)


def _coefficients(
    before: StudyAnalysis, after: StudyAnalysis
) -> tuple[tuple[CoefficientMove, ...], tuple[str, ...]]:
    moves: list[CoefficientMove] = []
    others = []
    for name, old in before.fitted.items():
        new = after.fitted.get(name)
        known = {row.label: row for row in new.assessment.coefficients} if new else {}
        rows = old.assessment.coefficients
        if set(known) != {row.label for row in rows}:
            others.append(name)
        for row in rows:
            if row.label in known:
                now, error = known[row.label].estimate, row.std_error
                by = abs(now - row.estimate) / error if error else None
                moves.append(
                    CoefficientMove(
                        response=name, term=row.label, before=row.estimate, after=now, in_errors=by
                    )
                )
    return tuple(sorted(moves, key=lambda one: -(one.in_errors or 0.0))), tuple(others)
