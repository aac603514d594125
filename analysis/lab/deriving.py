"""From raw readings to readings of the responses: each by the method that the brief names.

Source:
    DESIGN.md, sections 1 ("reading, response") and 2 (`from`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.lab.as_made import AsMade, as_made
from analysis.lab.computing.registry import COMPUTE
from analysis.lab.grind_time import grind_time_of
from analysis.lab.raw_grouping import (
    GroupedUnit,
    References,
    group_units,
    raw_unit,
    references_of,
    unit_label,
)
from analysis.lab.raw_unit import Computed, OptionValues, RawUnit
from doe.methods.method import Method
from doe.methods.registry import METHODS
from doe.methods.settling import OF
from doe.study.brief import Response, Study
from doe.study.computed_merge import COMPUTED
from doe.study.doubt import Doubt, tell
from doe.study.finding import Finding
from doe.study.plan import Plan
from doe.study.raw_data import RawData
from doe.study.readings import Actual, Reading, Readings

# Scale types on which twice as much is as far as half as much.
_RATIOS = frozenset({"ratio", "percent of standard", "distance", "count", "time to event"})
START, END = "start_d", "end_d"


@dataclass(frozen=True, slots=True, kw_only=True)
class Derived:
    """What the raw readings of a study amount to.

    Attributes:
        readings: One line a unit, age and repeat of each response that a method computes, ids
            from 1.
        doubts: What the arithmetic doubts of each unit.
    """

    readings: tuple[Reading, ...]
    doubts: tuple[Doubt, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The doubts as they are told, those alike once with all their units."""
        return tell(self.doubts)


def derive_readings(
    study: Study,
    plan: Plan,
    raw: RawData,
    entered: Readings,
    actuals: Sequence[Actual] = (),
) -> Derived:
    """Compute every response that has a method, as far as its raw readings are there.

    Args:
        study: The brief, methods settled.
        plan: The runs.
        raw: All raw readings.
        entered: Readings entered as they are; others may be computed from them.
        actuals: What was really done: days and grind times.
    """
    made = as_made(study, plan, actuals)
    found: dict[str, list[Reading]] = {}
    for reading in entered.current():
        if not reading.source.startswith(COMPUTED):
            found.setdefault(reading.response, []).append(reading)
    derived: list[Reading] = []
    doubts = _Doubts()
    for response in _in_order(study):
        method = METHODS[response.method or ""]
        if method.table is not None:
            references = references_of(method.table, raw, plan, made.day, actuals)
            rows = _from_units(response, method, raw, references, doubts)
        else:
            rows = _from_another(study, response, method, plan, made, found, doubts)
        found.setdefault(response.name, []).extend(rows)
        derived += rows
    numbered = tuple(replace(row, id=i) for i, row in enumerate(derived, start=1))
    return Derived(readings=numbered, doubts=tuple(doubts.found))


def option_values(response: Response, method: Method) -> OptionValues:
    """Give the options of a response, defaults where the brief is silent."""
    defaults = {one.name: one.default for one in method.options if one.default is not None}
    return {**defaults, **response.options}


def _in_order(study: Study) -> list[Response]:
    """List the responses with a method, each behind those that it is computed from."""
    waiting = [one for one in study.responses if one.method in METHODS and one.method in COMPUTE]
    names = {one.name for one in waiting}
    ordered: list[Response] = []
    while waiting:
        ready = [one for one in waiting if one.options.get(OF) not in names]
        if not ready:
            return ordered  # a circle, refused where the brief is read
        ordered += ready
        names -= {one.name for one in ready}
        waiting = [one for one in waiting if one.name in names]
    return ordered


class _Doubts:
    """Doubts of single units, as they come."""

    def __init__(self) -> None:
        self.found: list[Doubt] = []

    def add(self, response: str, unit: GroupedUnit, findings: Iterable[Finding]) -> None:
        self.found += [
            Doubt(
                finding=finding, about=response, label=unit_label(unit.key), responses=(response,),
                runs=unit.key[:1], sources=unit.sources,
            )
            for finding in findings
        ]  # fmt: skip


# --- from the raw readings of one unit ---------------------------------------------------------


def _from_units(
    response: Response, method: Method, raw: RawData, references: References, doubts: _Doubts
) -> list[Reading]:
    table = method.table
    if table is None:
        return []
    options = option_values(response, method)
    rows = []
    for unit in group_units(table, raw):
        if unit.key[0] not in references.day:
            continue
        settled = unit.settled
        if settled is not None:
            done = Computed(value=None, flag=settled.flag)
            rows.append(_reading(response, method, unit, done, because=settled.because))
            continue
        if not _is_complete(unit, method):
            continue
        ready = raw_unit(unit, table, references)
        done = COMPUTE[method.name](ready, options)
        doubts.add(response.name, unit, (*done.findings, *_untypical(method, done)))
        if done.value is not None:
            rows.append(_reading(response, method, unit, done))
    return rows


def _is_complete(unit: GroupedUnit, method: Method) -> bool:
    """Tell whether all that the method needs is there; the rest is pending."""
    table = method.table
    if table is None:
        return False
    if any(column.is_needed and column.name not in unit.rows for column in table.columns):
        return False
    return all(word in unit.curves for word in table.curves) if table.curve else True


def _untypical(method: Method, done: Computed) -> tuple[Finding, ...]:
    """Doubt a value far from what such tests give, without dropping it.

    Far is beyond half or twice the range where values are ratios, else half its width outside.
    """
    if method.typical is None or done.value is None or done.flag != "ok":
        return ()
    if done.findings and method.scale == "log" and done.value <= 0:
        return ()  # the method has told that it cannot be
    low, high = method.typical
    least, greatest = low - (high - low) / 2, high + (high - low) / 2
    if method.scale_type in _RATIOS:
        least, greatest = low / 2, 2 * high
    if least <= done.value <= greatest:
        return ()
    return (
        Finding(
            level="caution",
            what=f"far outside {low:g} to {high:g} {method.unit}".rstrip()
            + ", where such readings lie as a rule.",
            evidence={"value": float(f"{done.value:.4g}")},
            advice="Look at the raw readings; the value is used as it stands.",
            source=f"Typical range: {method.typical_mark}.",
        ),
    )


def _plain(value: float | None) -> float | None:
    """Drop the digits that arithmetic leaves behind the twelfth."""
    return None if value is None else float(f"{value:.12g}")


def _reading(
    response: Response, method: Method, unit: GroupedUnit, done: Computed, because: str = ""
) -> Reading:
    run, panel, age, repeat = unit.key
    return Reading(
        id=1, run=run, panel=panel if response.per == "panel" else None, age_d=age, repeat=repeat,
        response=response.name, value=_plain(done.value), value_to=_plain(done.value_to),
        flag=done.flag,
        because=because, source=f"{COMPUTED}{method.name}",
    )  # fmt: skip


# --- from another response ---------------------------------------------------------------------


def _from_another(
    study: Study,
    response: Response,
    method: Method,
    plan: Plan,
    made: AsMade,
    found: Mapping[str, Sequence[Reading]],
    doubts: _Doubts,
) -> list[Reading]:
    options = option_values(response, method)
    rows = found.get(str(options.get(OF, "")), ())
    if method.gathers == "times in a batch":
        gathered = _over_time(study, plan, made, rows)
    elif method.gathers == "two ages":
        gathered = _over_ages(rows, options)
    else:
        return []
    compute = COMPUTE[method.name]
    readings = []
    for unit, points in gathered:
        done = compute(RawUnit(label=unit_label(unit.key), points=points), options)
        doubts.add(response.name, unit, (*done.findings, *_untypical(method, done)))
        if done.value is not None:
            readings.append(_reading(response, method, unit, done))
    return readings


def _over_time(
    study: Study, plan: Plan, made: AsMade, rows: Sequence[Reading]
) -> list[tuple[GroupedUnit, tuple[tuple[float, float], ...]]]:
    """Gather the values of each batch over grind time, repeats averaged."""
    factor = grind_time_of(study)
    if factor is None or factor.name not in made.settings.names:
        return []
    minutes = dict(zip(plan.run, made.settings.column(factor.name), strict=True))
    batch = dict(zip(plan.run, plan.batch, strict=True))
    first = {number: run for run, number in reversed(batch.items())}
    values: dict[int, dict[float, list[float]]] = {}
    for row in rows:
        number = batch.get(row.run)
        if number is not None and row.flag == "ok" and row.value is not None:
            at = float(minutes[row.run])
            values.setdefault(number, {}).setdefault(at, []).append(row.value)
    return [
        (GroupedUnit((first[number], None, None, 1)), _means(points))
        for number, points in sorted(values.items())
    ]


def _over_ages(
    rows: Sequence[Reading], options: OptionValues
) -> list[tuple[GroupedUnit, tuple[tuple[float, float], ...]]]:
    """Gather each unit's values at the two ages, repeats averaged; pending where one is not in."""
    ages = (float(options.get(START, 1.0)), float(options.get(END, 28.0)))
    values: dict[tuple[int, int | None], dict[float, list[float]]] = {}
    for row in rows:
        if row.age_d in ages and row.flag == "ok" and row.value is not None:
            unit = values.setdefault((row.run, row.panel), {})
            unit.setdefault(float(row.age_d), []).append(row.value)
    return [
        (GroupedUnit((run, panel, ages[1], 1)), _means(points))
        for (run, panel), points in sorted(
            values.items(), key=lambda one: (one[0][0], one[0][1] or 0)
        )
        if len(points) == 2
    ]


def _means(points: Mapping[float, Sequence[float]]) -> tuple[tuple[float, float], ...]:
    return tuple((x, float(np.mean(values))) for x, values in sorted(points.items()))
