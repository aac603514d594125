"""What a brief says of its region, statement by statement, in numbers and in words."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from doe.errors import StudyError
from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, level_range
from doe.model.polytope import SAME
from doe.study.brief import Forbid, Limit, Study
from doe.study.names import fold, match_name
from doe.study.settings import FloatArray

_COMPARISON = re.compile(r"\s*(>=|<=|≥|≤|>|<)\s*(.+?)\s*")
_SIGNS = {"≥": ">=", "≤": "<="}
# "Below 9.3" is read as this part of the range below 9.3 where the bench has no step.
JUST_INSIDE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HalfSpace:
    """One bound `a · x <= b` over the k settings, lab units, and what it says in words."""

    a: FloatArray
    b: float
    words: str

    def with_fixed(self, fixed: Mapping[int, float]) -> HalfSpace:
        """Take held settings out of the bound; one that the level lacks (NaN) counts 0."""
        a, b = self.a.copy(), self.b
        for j, value in fixed.items():
            b -= 0.0 if np.isnan(value) else float(a[j]) * value
            a[j] = 0.0
        return HalfSpace(a=a, b=b, words=self.words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One condition of a `[[forbid]]`: `sign` is one of > >= < <= or = (a level or a number)."""

    sign: str
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Prohibition:
    """A `[[forbid]]`: it strikes where, for every setting, one of its conditions holds.

    Attributes:
        conditions: For each setting's column the conditions, of which one must hold.
        words: The forbid as people read it.
    """

    conditions: tuple[tuple[int, tuple[Comparison, ...]], ...]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Statements:
    """All bounds of a brief beside the ranges.

    Attributes:
        limits: The `[[limit]]` entries; one entry with both ends gives two.
        prohibitions: The `[[forbid]]` entries that can strike.
    """

    limits: tuple[HalfSpace, ...]
    prohibitions: tuple[Prohibition, ...]


def statements_of(study: Study, coding: Coding) -> Statements:
    """Read limits and forbids off a brief; held factors enter with their value.

    Raises:
        StudyError: A statement names what the study lacks, or compares what has no number.
    """
    held = {f.name: f.value for f in study.factors if f.kind == "held" and f.value is not None}
    limits = [h for i, limit in enumerate(study.limits, 1) for h in _limit(limit, i, coding, held)]
    forbids = [_forbid(forbid, i, coding, held) for i, forbid in enumerate(study.forbids, 1)]
    return Statements(limits=tuple(limits), prohibitions=tuple(f for f in forbids if f is not None))


def range_half_spaces(
    coding: Coding, levels: Mapping[int, float]
) -> tuple[tuple[HalfSpace, ...], Mapping[int, float]]:
    """Give the ends of every range at one combination of levels.

    Args:
        coding: The k settings.
        levels: The level index of each named choice and the number of each numeric level factor.

    Returns:
        A low and a high end for each free setting; and the held settings, NaN for one that the
        level lacks.
    """
    held = dict(levels)
    ends: list[HalfSpace] = []
    for j, axis in enumerate(coding.axes):
        if j in held:
            continue
        low_high = _own_range(axis, coding, levels)
        if low_high is None:
            held[j] = float("nan")
            continue
        unit = f" {axis.unit}" if isinstance(axis, NumericAxis) and axis.unit else ""
        what = "range of" if isinstance(axis, NumericAxis) else "share of"
        e = np.eye(len(coding.axes))[j]
        low, high = low_high
        ends.append(HalfSpace(a=-e, b=-low, words=f"{what} '{axis.name}', at least {low:g}{unit}"))
        ends.append(HalfSpace(a=e, b=high, words=f"{what} '{axis.name}', at most {high:g}{unit}"))
    return tuple(ends), held


def level_combinations(coding: Coding) -> list[dict[int, float]]:
    """List every combination of the levels of named choices and numeric level factors."""
    sets: dict[int, tuple[float, ...]] = {}
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            there = (i for i, level in enumerate(axis.levels) if level not in axis.never)
            sets[j] = tuple(float(i) for i in there)
        elif isinstance(axis, NumericAxis) and axis.levels:
            sets[j] = axis.levels
    return [dict(zip(sets, levels, strict=True)) for levels in product(*sets.values())]


def strikes(comparison: Comparison, value: float, span: float) -> bool:
    """Tell whether a condition holds at a setting; one that a level lacks meets none."""
    near = SAME * max(span, abs(comparison.value))
    at = abs(value - comparison.value) <= near
    return {
        "=": at,
        ">": value > comparison.value and not at,
        "<": value < comparison.value and not at,
        ">=": value > comparison.value or at,
        "<=": value < comparison.value or at,
    }[comparison.sign]


def beyond(comparison: Comparison, j: int, coding: Coding, words: str) -> HalfSpace | None:
    """Give the half-space that is left where a condition on a range does not hold.

    `> 9.3` leaves 9.3 itself. `>= 9.3` leaves what lies below: the next step of the bench, or a
    millionth of the range. A single number forbids nothing that has a width: None.
    """
    axis = coding.axes[j]
    assert not isinstance(axis, ChoiceAxis)
    e = np.eye(len(coding.axes))[j]
    inside = axis.step if axis.step else JUST_INSIDE * (axis.high - axis.low)
    value = comparison.value
    if comparison.sign.startswith(">"):
        if comparison.sign == ">=":
            value = _step_below(value, axis.low, inside) if axis.step else value - inside
        return HalfSpace(a=e, b=value, words=words)
    if comparison.sign.startswith("<"):
        if comparison.sign == "<=":
            value = _step_above(value, axis.low, inside) if axis.step else value + inside
        return HalfSpace(a=-e, b=-value, words=words)
    return None


def _step_below(value: float, low: float, step: float) -> float:
    return float(round(low + (np.ceil((value - low) / step - SAME) - 1) * step, 12))


def _step_above(value: float, low: float, step: float) -> float:
    return float(round(low + (np.floor((value - low) / step + SAME) + 1) * step, 12))


def _own_range(
    axis: Axis, coding: Coding, levels: Mapping[int, float]
) -> tuple[float, float] | None:
    assert not isinstance(axis, ChoiceAxis)
    if not isinstance(axis, NumericAxis) or not axis.ranges:
        return axis.low, axis.high
    j = coding.index(axis.ranges[0].choice)
    choice = coding.axes[j]
    assert isinstance(choice, ChoiceAxis)
    return level_range(axis, choice.levels[int(levels[j])])


def _limit(
    limit: Limit, number: int, coding: Coding, held: Mapping[str, float | str]
) -> list[HalfSpace]:
    where = f"study.toml, [[limit]] {number}"
    a = np.zeros(len(coding.axes))
    constant = 0.0
    for text, weight in limit.sum.items():
        name = match_name(text, (*coding.names, *held))
        if name is None:
            raise _stranger(text, where, coding)
        value = held.get(name)
        axis = None if value is not None else coding.axes[coding.index(name)]
        if isinstance(axis, ChoiceAxis) or isinstance(value, str):
            raise StudyError(
                f"'{name}' is a named choice and cannot be added up",
                where=where,
                allowed="numeric factors and additives",
                do="Use [[forbid]] for settings that must not occur together.",
            )
        if value is not None:
            constant += weight * float(value)
        else:
            a[coding.index(name)] += weight
    body = " + ".join(f"{_weight(w)}{name}" for name, w in limit.sum.items())
    why = f" ({limit.because})" if limit.because else ""
    ends = []
    if limit.at_most is not None:
        words = f"limit {body} ≤ {limit.at_most:g}{why}"
        ends.append(HalfSpace(a=a, b=limit.at_most - constant, words=words))
    if limit.at_least is not None:
        words = f"limit {body} ≥ {limit.at_least:g}{why}"
        ends.append(HalfSpace(a=-a, b=constant - limit.at_least, words=words))
    return ends


def _weight(weight: float) -> str:
    return "" if weight == 1 else f"{weight:g} × "


def _forbid(
    forbid: Forbid, number: int, coding: Coding, held: Mapping[str, float | str]
) -> Prohibition | None:
    where = f"study.toml, [[forbid]] {number}"
    conditions: list[tuple[int, tuple[Comparison, ...]]] = []
    for text, wanted in forbid.settings.items():
        name = match_name(text, (*coding.names, *held))
        if name is None:
            raise _stranger(text, where, coding)
        each = wanted if isinstance(wanted, tuple) else (wanted,)
        if name in held:
            if not any(_held_strikes(one, held[name], where) for one in each):
                return None
            continue
        axis = coding.axes[coding.index(name)]
        conditions.append(
            (coding.index(name), tuple(_comparison(one, axis, where) for one in each))
        )
    body = ", ".join(f"{name} {_condition_words(value)}" for name, value in forbid.settings.items())
    why = f" ({forbid.because})" if forbid.because else ""
    return Prohibition(conditions=tuple(conditions), words=f"forbid {body}{why}")


def _condition_words(value: float | str | tuple[float | str, ...]) -> str:
    each = value if isinstance(value, tuple) else (value,)
    return " or ".join(one if isinstance(one, str) else f"{one:g}" for one in each)


def _held_strikes(wanted: float | str, value: float | str, where: str) -> bool:
    if isinstance(value, str):
        return isinstance(wanted, str) and fold(wanted) == fold(value)
    return strikes(_numeric(wanted, "", where), float(value), 0.0)


def _comparison(wanted: float | str, axis: Axis, where: str) -> Comparison:
    if isinstance(axis, ChoiceAxis):
        level = match_name(str(wanted), axis.levels)
        if level is None:
            raise StudyError(
                f"'{axis.name}' has no level '{wanted}'",
                where=where,
                allowed=", ".join(axis.levels),
                do="Name one of its levels.",
            )
        return Comparison(sign="=", value=float(axis.levels.index(level)))
    return _numeric(wanted, axis.name, where)


def _numeric(wanted: float | str, name: str, where: str) -> Comparison:
    if not isinstance(wanted, str):
        return Comparison(sign="=", value=float(wanted))
    match = _COMPARISON.fullmatch(wanted)
    sign, digits = (match.group(1), match.group(2)) if match else ("=", wanted)
    try:
        return Comparison(sign=_SIGNS.get(sign, sign), value=float(digits))
    except ValueError:
        raise StudyError(
            f"'{wanted}' is no condition on '{name}'",
            where=where,
            allowed='a number, or "> 9.3" with >, >=, < or <=',
            do="Write the sign and one number with a decimal point.",
        ) from None


def _stranger(text: str, where: str, coding: Coding) -> StudyError:
    return StudyError(
        f"'{text}' is no setting of this study",
        where=where,
        allowed=", ".join(coding.names),
        do="Name additives and factors as they stand in the brief.",
    )
