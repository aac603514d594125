"""Settings, region and production as the page's script reads them."""

from __future__ import annotations

import numpy as np

from analysis.report.decide.numbers import Json, number, numbers
from analysis.surface.noise import Production
from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, ShareAxis, level_range
from doe.model.region import Piece, Region
from doe.study.brief import Factor, Study


def axes_data(coding: Coding, study: Study) -> list[Json]:
    """Describe every setting, in column order."""
    return [_axis(axis, coding, study) for axis in coding.axes]


def held_data(study: Study) -> list[Json]:
    """Describe what the brief holds throughout."""
    return [
        {"name": factor.name, "value": factor.value, "unit": factor.unit}
        for factor in study.factors
        if factor.kind == "held"
    ]


def region_data(region: Region) -> Json:
    """Give the convex pieces of the region, A x ≤ b each, with what every bound says."""
    return {
        "spans": numbers(region.spans),
        "pieces": [_piece(piece) for piece in region.pieces],
        "implied": [[number(low), number(high)] for low, high in region.implied],
    }


def production_data(production: Production) -> Json:
    """Give the points over which noise factors are averaged."""
    return {
        "columns": list(production.columns),
        "points": numbers(production.points),
        "weights": numbers(production.weights),
        "means": numbers(production.means),
    }


def _axis(axis: Axis, coding: Coding, study: Study) -> Json:
    if isinstance(axis, ShareAxis):
        return {
            "name": axis.name, "kind": "share", "unit": "", "low": axis.low, "high": axis.high,
            "step": axis.step, "noise": False,
        }  # fmt: skip
    factor = _factor(study, axis.name)
    said = {"name": axis.name, "noise": axis.noise, "per": factor.set_per}
    if isinstance(axis, ChoiceAxis):
        return {**said, "kind": "choice", "unit": "", "levels": list(axis.levels)}
    return {
        **said, "kind": "number", "unit": axis.unit, "low": axis.low, "high": axis.high,
        "step": axis.step, "log": axis.spacing == "log", "marks": list(axis.levels),
        **_ranges(axis, coding),
    }  # fmt: skip


def _factor(study: Study, name: str) -> Factor:
    return next(factor for factor in study.factors if factor.name == name)


def _ranges(axis: NumericAxis, coding: Coding) -> Json:
    """Give the range at each level of the choice it hangs on, false where the level lacks it."""
    if not axis.ranges:
        return {"rangedBy": None, "ranges": []}
    column = coding.index(axis.ranges[0].choice)
    choice = coding.axes[column]
    assert isinstance(choice, ChoiceAxis)
    ends = [level_range(axis, level) for level in choice.levels]
    return {"rangedBy": column, "ranges": [False if one is None else list(one) for one in ends]}


def _piece(piece: Piece) -> Json:
    return {
        "fixed": [[j, number(value)] for j, value in piece.fixed.items()],
        "A": numbers(piece.A) if len(piece.A) else [],
        "b": numbers(piece.b),
        "words": list(piece.words),
        "total": piece.total,
        "low": numbers(np.asarray(piece.low)),
        "high": numbers(np.asarray(piece.high)),
    }
