"""What follows for a result where a raw reading runs off the scale."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from analysis.lab.raw_unit import Computed, RawUnit
from doe.study.finding import Finding
from doe.study.readings import Reading

Bound = float | None


def monotone_result(
    unit: RawUnit,
    rises: Mapping[str, bool],
    result: Callable[[Mapping[str, float]], float],
    findings: Sequence[Finding] = (),
) -> Computed:
    """Compute a result, and bound it where raw readings are only bounds.

    Args:
        unit: Raw readings; columns of `rises` that it lacks are left out of what `result` gets.
        rises: Raw columns, and whether the result rises with each (it falls otherwise).
        result: The result of raw numbers by column; NaN where there is none.
        findings: What was found besides.

    Returns:
        The value with the flag that follows: `above`, `below` or `between`; no value where the
        bounds leave the result open on both sides, and then a finding says so.
    """
    ends = {name: _ends(unit, name) for name in rises if name in unit.values or _is_off(unit, name)}
    lower = _at({name: lo if rises[name] else hi for name, (lo, hi) in ends.items()}, result)
    upper = _at({name: hi if rises[name] else lo for name, (lo, hi) in ends.items()}, result)
    said = tuple(findings)
    if lower is not None and upper is not None:
        if lower == upper:
            return Computed(value=lower, findings=said)
        return Computed(value=lower, value_to=upper, flag="between", findings=said)
    if lower is not None:
        return Computed(value=lower, flag="above", findings=said)
    if upper is not None:
        return Computed(value=upper, flag="below", findings=said)
    return Computed(value=None, findings=said or (_open(unit, tuple(rises)),))


def _is_off(unit: RawUnit, name: str) -> bool:
    return name in unit.off_scale


def _ends(unit: RawUnit, name: str) -> tuple[Bound, Bound]:
    """Give the least and the greatest that a raw reading can be; None without an end."""
    if name in unit.off_scale:
        return _ends_of(unit.off_scale[name])
    return unit.values[name], unit.values[name]


def _ends_of(reading: Reading) -> tuple[Bound, Bound]:
    if reading.flag == "above":
        return reading.value, None
    if reading.flag == "below":
        return None, reading.value
    if reading.flag == "between":
        return reading.value, reading.value_to
    return None, None


def _at(raw: Mapping[str, Bound], result: Callable[[Mapping[str, float]], float]) -> float | None:
    known = {name: value for name, value in raw.items() if value is not None}
    if len(known) < len(raw) or not known:
        return None
    value = result(known)
    return value if math.isfinite(value) else None


def _open(unit: RawUnit, columns: Sequence[str]) -> Finding:
    return Finding(
        level="caution",
        what=f"{unit.label}: no result follows from {' and '.join(repr(one) for one in columns)}.",
        advice="Look whether the readings are complete and within their scale.",
    )
