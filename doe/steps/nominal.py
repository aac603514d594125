"""The settings that a decision is about: those given, else those kept, else the compromise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.surface.lines import TOUCH, inside_region
from analysis.surface.noise import Production, full_row, production_of
from doe.errors import Fault, StudyError
from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, ShareAxis, settings_table
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.choose import ChooseOptions, search_compromise
from doe.steps.settings_text import own_ends, settings_row, split_assignment, typed_value
from doe.study.brief import Study
from doe.study.names import match_name
from doe.study.settings import FloatArray

KEPT, FRESH, GIVEN = "kept settings", "compromise", "given settings"
# Closer than this part of its range to an end, a setting lies at the end.
_AT_END = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nominal:
    """One recipe.

    Attributes:
        row: Shape (k,), lab units; noise factors at their production mean.
        settings: By name, noise factors left out; a choice by its level.
        of: Whether they are kept, given or the compromise.
        inside: Whether they lie inside the region of the brief.
        at_edge: Settings at an end of their range.
    """

    row: FloatArray
    settings: dict[str, float | str]
    of: str
    inside: bool
    at_edge: tuple[str, ...]


def nominal_of(analysis: StudyAnalysis, at: Sequence[str], seed: int) -> Nominal:
    """Find the settings, as `risk` does.

    Args:
        analysis: The study.
        at: `NAME=VALUE` once a setting; empty for those kept, else the compromise.
        seed: Of the search.

    Raises:
        StudyError: The settings given do not fit, or lie outside the region of the brief.
        OptimumError: There is no compromise.
    """
    coding = analysis.coding
    production = production_of(analysis.session.study, coding)
    row, of = nominal_row(analysis, at, seed)
    noise = {coding.names[j] for j in production.columns}
    if at:
        refuse_outside(analysis, row)
    return Nominal(
        row=row, of=of, settings=named_settings(row, coding, production),
        inside=bool(inside_region(analysis.region, row[None, :], production.columns)[0]),
        at_edge=_at_edge(row, coding, noise),
    )  # fmt: skip


def nominal_row(
    analysis: StudyAnalysis,
    at: Sequence[str],
    seed: int,
    *,
    afresh: bool = False,
    level: float = 0.95,
) -> tuple[FloatArray, str]:
    """Give the settings, shape (k,), noise factors at their mean, and whose they are.

    Args:
        analysis: The study.
        at: `NAME=VALUE` once a setting; empty for those kept, else the compromise.
        seed: Of the search.
        afresh: Search the compromise anew, whatever was kept.
        level: Confidence of the compromise's intervals, 0..1.

    Raises:
        StudyError: Settings that were given or kept cannot be read.
    """
    coding = analysis.coding
    production = production_of(analysis.session.study, coding)
    chosen = analysis.session.choices.chosen
    if at:
        pairs = [split_assignment(text) for text in at]
        return _row(pairs, coding, production, "--at"), GIVEN
    if chosen is not None and not afresh:
        kept = [(name, typed_value(value)) for name, value in chosen.settings.items()]
        return _row(kept, coding, production, "choices.toml, [chosen]"), KEPT
    found = search_compromise(analysis, ChooseOptions(level=level), seed)
    return full_row(found.best.settings, coding, production), FRESH


def _row(
    pairs: Sequence[tuple[str, str]], coding: Coding, production: Production, where: str
) -> FloatArray:
    """Read settings; noise factors, which nobody sets, lie at their production mean."""
    given = dict(pairs)
    if len(given) < len(pairs):
        raise StudyError("a setting is given twice", where=where)
    named = [match_name(name, coding.names) for name in given]
    for column, mean in zip(production.columns, production.means, strict=True):
        axis = coding.axes[column]
        if axis.name not in named:
            # Any level of a choice will do: it is drawn, not set.
            any_one = axis.levels[0] if isinstance(axis, ChoiceAxis) else float(mean)
            given[axis.name] = typed_value(any_one)
    return settings_row(given, coding, where)


def named_settings(
    row: FloatArray, coding: Coding, production: Production
) -> dict[str, float | str]:
    """Name settings of a row, shape (k,); noise factors and what a level lacks are left out."""
    noise = {coding.names[j] for j in production.columns}
    named = settings_table(row[None, :], coding).row(0)
    return {name: value for name, value in named.items() if value is not None and name not in noise}


def refuse_outside(analysis: StudyAnalysis, row: FloatArray) -> None:
    """Refuse given settings, shape (k,), lab units, that no run stands behind.

    Raises:
        StudyError: Which setting lies outside its range, or which limits they break.
    """
    production = production_of(analysis.session.study, analysis.coding)
    if bool(inside_region(analysis.region, row[None, :], production.columns)[0]):
        return
    do = "Give settings inside, or widen the brief and plan runs there ('millbase extend STUDY')."
    faults = _range_faults(row, analysis.coding, set(production.columns), do)
    study = analysis.session.study
    # Without either it is the last digit of the shares that misses their sum.
    if not faults and (study.limits or study.forbids):
        faults = [_limit_fault(study, do)]
    if faults:
        raise StudyError.from_faults(faults)


def _range_faults(row: FloatArray, coding: Coding, noise: set[int], do: str) -> list[Fault]:
    faults = []
    for j, (value, axis) in enumerate(zip(row, coding.axes, strict=True)):
        ends = _ends(axis, row, coding)
        if j in noise or ends is None or np.isnan(value):
            continue
        low, high = ends
        slack = TOUCH * max(1.0, high - low)
        if not low - slack <= value <= high + slack:
            faults.append(
                Fault(
                    what=f"'{axis.name}' is {value:.6g}, outside the region of the brief",
                    where="--at", allowed=f"{low:g} to {high:g}", do=do,
                )
            )  # fmt: skip
    return faults


def _limit_fault(study: Study, do: str) -> Fault:
    """Say that each setting lies in its range, and all of them together do not."""
    told = []
    for one in study.limits:
        total = " + ".join(f"{factor:g} × {name}" for name, factor in one.sum.items())
        ends = (("at least", one.at_least), ("at most", one.at_most))
        told += [f"{total} {words} {end:g}" for words, end in ends if end is not None]
    return Fault(
        what="each setting lies in its range, but together they break a limit of the brief",
        where="--at", allowed="; ".join(told) or "no combination under [[forbid]]", do=do,
    )  # fmt: skip


def _ends(axis: Axis, row: FloatArray, coding: Coding) -> tuple[float, float] | None:
    if isinstance(axis, ChoiceAxis):
        return None
    own = own_ends(axis, row, coding) if isinstance(axis, NumericAxis) else None
    return own or (axis.low, axis.high)


def _at_edge(row: FloatArray, coding: Coding, noise: set[str]) -> tuple[str, ...]:
    found = []
    for value, axis in zip(row, coding.axes, strict=True):
        if not isinstance(axis, NumericAxis | ShareAxis) or axis.name in noise or np.isnan(value):
            continue
        ends = _ends(axis, row, coding)
        assert ends is not None  # a number and a share have ends
        low, high = ends
        if min(abs(value - low), abs(value - high)) <= _AT_END * (high - low):
            found.append(axis.name)
    return tuple(found)
