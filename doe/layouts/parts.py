"""Parts of a study: its package, its factors, what is set per batch; and kinds of factors."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from doe.errors import PlanError
from doe.layouts.request import Request
from doe.model.coding import (
    ChoiceAxis,
    Coding,
    NumericAxis,
    ShareAxis,
    coding_of,
    present_levels,
)
from doe.model.region import region_of
from doe.model.terms import is_blend
from doe.study.brief import STAGES, Study
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorKinds:
    """Which factors can take which columns of a coded table; indices of the coding's axes.

    Attributes:
        ranges: Numeric factors with three or more settings within −1 to +1.
        two_level: Named choices and numeric factors with exactly two levels.
        choices: Named choices with three or more levels.
    """

    ranges: tuple[int, ...]
    two_level: tuple[int, ...]
    choices: tuple[int, ...]


def factor_kinds(coding: Coding) -> FactorKinds:
    """Sort the factors of a coding by the columns that they can take."""
    ranges: list[int] = []
    two_level: list[int] = []
    choices: list[int] = []
    for i, axis in enumerate(coding.axes):
        if isinstance(axis, NumericAxis):
            (two_level if len(axis.levels) == 2 else ranges).append(i)
        elif isinstance(axis, ChoiceAxis):
            (two_level if len(axis.levels) == 2 else choices).append(i)
    return FactorKinds(ranges=tuple(ranges), two_level=tuple(two_level), choices=tuple(choices))


def level_count(axis: NumericAxis | ChoiceAxis, of_a_range: int) -> int:
    """Count the levels of an axis; a range without levels takes the number given."""
    return len(axis.levels) or of_a_range


def package_part(request: Request) -> Request:
    """Reduce a request to its package: the limits and forbids that name only additives stay."""
    study = _with_only(request.study, keep=(), package=True)
    return _for_study(request, study)


def factor_part(request: Request) -> Request:
    """Reduce a request to its factors: the limits and forbids that name only factors stay."""
    keep = tuple(factor.name for factor in request.study.varied_factors)
    return _for_study(request, _with_only(request.study, keep=keep, package=False))


def batch_part(request: Request) -> Request:
    """Reduce a request to what is set per day or batch."""
    keep = tuple(f.name for f in request.study.varied_factors if STAGES.index(f.set_per) < _SAMPLE)
    package = request.study.package is not None
    return _for_study(request, _with_only(request.study, keep=keep, package=package))


_SAMPLE = STAGES.index("sample")


def require_factors_alone(request: Request, layout: str) -> None:
    """Refuse a layout for factors where shares that sum to 1 take part.

    Raises:
        PlanError: The study has a package, or no factor that varies.
    """
    if is_blend(request.coding):
        raise PlanError(
            f"the layout '{layout}' sets factors one by one, and the shares of the package "
            "must sum to 1",
            do="Take 'crossed', which combines a layout of the package with one of the factors.",
        )
    if not request.coding.factors:
        raise PlanError(
            f"the layout '{layout}' needs at least one factor that varies",
            do="Give a factor of the brief a range or levels.",
        )


def require_every_factor(request: Request, layout: str, columns: tuple[int, ...]) -> None:
    """Refuse a fraction whose columns hold a factor and a choice that may lack it.

    At the level that lacks it the factor's column stands still, and with it the balance of the
    table and what it says of aliases are gone.

    Raises:
        PlanError: A level of a choice among the columns lacks a factor among them.
    """
    coding = request.coding
    for i in columns:
        axis = coding.axes[i]
        if not isinstance(axis, NumericAxis) or len(present_levels(axis)) == len(axis.ranges):
            continue
        choice = axis.ranges[0].choice
        if coding.index(choice) in columns:
            lacking = [entry.level for entry in axis.ranges if entry.low is None]
            raise PlanError(
                f"'{axis.name}' is no setting at {choice} {' and '.join(lacking)}, so its column "
                "would not be balanced",
                where=f"layout '{layout}'",
                allowed="factors that every level of the choices has",
                do="Take 'full factorial', or 'optimal'.",
            )


def require_package_alone(request: Request, layout: str) -> None:
    """Refuse a layout for shares where factors vary as well, or where there are no shares.

    Raises:
        PlanError: The study has no package, or factors that vary.
    """
    if not request.coding.shares:
        raise PlanError(
            f"the layout '{layout}' is for the shares of a package, and the brief has none",
            do="Take a layout for factors, such as 'central composite', or add [package].",
        )
    if request.coding.factors:
        names = ", ".join(f"'{axis.name}'" for axis in request.coding.factors)
        raise PlanError(
            f"the layout '{layout}' sets the package only, and {names} would not be varied",
            do="Take 'crossed', or hold these factors with `value =` in the brief.",
        )


def assembled(
    coding: Coding, table: FloatArray, columns: tuple[int, ...], crossed: tuple[int, ...]
) -> FloatArray:
    """Turn a table of coded columns into coded settings, crossed with the levels of the rest.

    Args:
        coding: The axes; every one is in `columns` or in `crossed`.
        table: Shape (n, c), coded; a choice of two levels by sign, its first level +1.
        columns: The axis of each column of the table.
        crossed: Axes whose levels are each combined with the whole table.

    Returns:
        Shape (n · levels, k): numeric factors coded, choices as level indices.
    """
    coded = np.zeros((table.shape[0], len(coding.axes)))
    # A package of one additive is no blend: its share is 1.
    coded[:, [i for i, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)]] = 1.0
    for position, i in enumerate(columns):
        column = table[:, position]
        is_choice = isinstance(coding.axes[i], ChoiceAxis)
        coded[:, i] = np.where(column > 0, 0.0, 1.0) if is_choice else column
    for i in crossed:
        levels = _coded_levels(coding.axes[i])
        repeated = np.repeat(coded, len(levels), axis=0)
        repeated[:, i] = np.tile(levels, coded.shape[0])
        coded = repeated
    return coded


def _coded_levels(axis: object) -> FloatArray:
    if isinstance(axis, ChoiceAxis):
        return np.arange(len(axis.levels), dtype=np.float64)
    return np.array([-1.0, 1.0])


def _for_study(request: Request, study: Study) -> Request:
    return replace(request, study=study, coding=coding_of(study), region=region_of(study))


def _with_only(study: Study, *, keep: tuple[str, ...], package: bool) -> Study:
    names = set(keep) | ({a.name for a in study.additives} if package else set())
    held = {f.name for f in study.factors if f.kind == "held"}
    factors = tuple(f for f in study.factors if f.name in keep or f.name in held)
    return study.model_copy(
        update={
            "package": study.package if package else None,
            "factors": factors,
            "limits": tuple(x for x in study.limits if set(x.sum) <= names | held),
            "forbids": tuple(x for x in study.forbids if set(x.settings) <= names | held),
        }
    )
