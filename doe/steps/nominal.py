"""The settings that a decision is about: those given, else those kept, else the compromise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.surface.lines import inside_region
from analysis.surface.noise import production_of
from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.risk import RiskOptions, named_settings, nominal_settings
from doe.steps.settings_text import own_ends
from doe.study.settings import FloatArray

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
        StudyError: The settings given do not fit.
        OptimumError: There is no compromise.
    """
    coding = analysis.coding
    production = production_of(analysis.session.study, coding)
    row, of = nominal_settings(analysis, RiskOptions(at=tuple(at)), seed, production)
    noise = {coding.names[j] for j in production.columns}
    return Nominal(
        row=row, of=of, settings=named_settings(row, coding, production),
        inside=bool(inside_region(analysis.region, row[None, :], production.columns)[0]),
        at_edge=_at_edge(row, coding, noise),
    )  # fmt: skip


def _at_edge(row: FloatArray, coding: Coding, noise: set[str]) -> tuple[str, ...]:
    found = []
    for value, axis in zip(row, coding.axes, strict=True):
        if not isinstance(axis, NumericAxis | ShareAxis) or axis.name in noise or np.isnan(value):
            continue
        low, high = (own_ends(axis, row, coding) if isinstance(axis, NumericAxis) else None) or (
            axis.low,
            axis.high,
        )
        if min(abs(value - low), abs(value - high)) <= _AT_END * (high - low):
            found.append(axis.name)
    return tuple(found)
