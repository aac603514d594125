"""Readings to responses: which runs can be fitted, by which settings, and what is told of the rest.

Source:
    DESIGN.md, sections 2 ("Reading key", flags) and 5 ("Repeats", "Strata").
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.lab.as_made import AsMade, as_made
from analysis.lab.blocking import blocking_of
from analysis.lab.off_scale import ends_of, off_scale_findings, off_scale_flag
from analysis.lab.one_age import at_one_age
from analysis.lab.response_data import ResponseData, in_words
from analysis.lab.said import reasons_to_leave_out
from doe.study.brief import Response, Study
from doe.study.choices import Choices
from doe.study.confirmation import CONFIRMATION_LAYOUT, is_plant_round
from doe.study.finding import Finding
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Actual, Flag, Reading, Readings


def gather(
    study: Study,
    plan: Plan,
    readings: Readings,
    actuals: Sequence[Actual] = (),
    choices: Choices | None = None,
) -> dict[str, ResponseData]:
    """Sort the readings of each response into what can be fitted and what cannot, and say why.

    Args:
        study: The brief.
        plan: The runs.
        readings: All lines of `readings.csv`; the latest of each key counts.
        actuals: All lines of `actuals.csv`.
        choices: What was said of runs, batches and days with `note`.

    Returns:
        One entry for each response of the brief, in its order, also for one without any reading.
    """
    made = as_made(study, plan, actuals)
    current = readings.current()
    return {
        response.name: _response(study, plan, response, current, made, choices or Choices())
        for response in study.responses
    }


@dataclass(slots=True)
class _Sorted:
    """The runs of a plan, sorted by what their readings allow."""

    values: dict[int, tuple[float, ...]]
    off_scale: dict[int, Flag]
    off_scale_readings: dict[int, tuple[Reading, ...]]
    gelled: list[int]
    pending: list[int]
    left_out: dict[int, str]


def _response(
    study: Study,
    plan: Plan,
    response: Response,
    current: Sequence[Reading],
    made: AsMade,
    choices: Choices,
) -> ResponseData:
    own = [reading for reading in current if fold(reading.response) == fold(response.name)]
    own, age_findings = at_one_age(own, response.age_d)
    said = reasons_to_leave_out(choices, plan, made.day, response.name)
    sorted_runs = _sort(plan, response, own, said, _confirming(plan, choices))
    findings = (
        *made.findings,
        *age_findings,
        *_waiting(sorted_runs, response),
        *_left_out(sorted_runs, response),
        *off_scale_findings(
            response, plan, made.settings, sorted_runs.off_scale, sorted_runs.gelled
        ),
    )
    data = ResponseData(
        response=response,
        **_rows(study, plan, made, sorted_runs.values),
        off_scale=sorted_runs.off_scale,
        off_scale_readings=sorted_runs.off_scale_readings,
        gelled=tuple(sorted_runs.gelled),
        pending=tuple(sorted_runs.pending),
        left_out=sorted_runs.left_out,
        findings=findings,
    )
    return replace(data, whole=_whole(study, plan, made, sorted_runs, data))


def _rows(
    study: Study, plan: Plan, made: AsMade, values: Mapping[int, tuple[float, ...]]
) -> dict[str, Any]:
    """Gather what is known of the runs with values, in the order of the plan."""
    place = {run: i for i, run in enumerate(plan.run)}
    rows = [place[run] for run in plan.run if run in values]
    chosen = np.array(rows, dtype=np.int64)
    blocking = blocking_of(study, plan, made.day, rows)
    controls = plan.control_names
    return {
        "run": tuple(plan.run[i] for i in rows),
        "planned": plan.settings.take(chosen),
        "actual": made.settings.take(chosen),
        "repeats": tuple(values[plan.run[i]] for i in rows),
        "kind": tuple(plan.kind[i] for i in rows),
        "control": tuple(
            controls.get(plan.run[i], "control") if plan.kind[i] == "control" else None
            for i in rows
        ),
        "batch": tuple(plan.batch[i] for i in rows),
        "day": tuple(made.day[i] for i in rows),
        "sample": tuple(plan.sample[i] for i in rows),
        "panel": tuple(plan.panel[i] for i in rows),
        "block": blocking.of if blocking else tuple(None for _ in rows),
        "order": tuple(made.order[i] for i in rows),
        "blocking": blocking,
    }


def _whole(
    study: Study, plan: Plan, made: AsMade, found: _Sorted, data: ResponseData
) -> ResponseData | None:
    """Put the runs off the scale among the rows; None where nothing is known of any."""
    read = [value for repeats in found.values.values() for value in repeats]
    ends = ends_of(found.off_scale_readings, data.response, read)
    if not ends:
        return None
    known = {run: tuple(map(_known_end, pairs)) for run, pairs in ends.items()}
    rows = _rows(study, plan, made, {**found.values, **known})
    return replace(data, **rows, ends=ends)


def _known_end(pair: tuple[float, float]) -> float:
    low, high = pair
    if np.isinf(low):
        return high
    return low if np.isinf(high) else (low + high) / 2.0


def _sort(
    plan: Plan,
    response: Response,
    own: Sequence[Reading],
    said: Mapping[int, str],
    confirming: Mapping[int, str],
) -> _Sorted:
    result = _Sorted({}, {}, {}, [], [], {})
    lines: dict[int, list[Reading]] = {}
    for reading in sorted(own, key=lambda r: (r.panel or 0, r.repeat, r.id)):
        lines.setdefault(reading.run, []).append(reading)
    for unit in _units(plan, response):
        run = next((r for r in unit if r in lines), unit[0])
        found = [reading for r in unit for reading in lines.get(r, [])]
        _sort_one(result, response, run, found, said.get(run, ""), confirming.get(run, ""))
    return result


def _sort_one(
    result: _Sorted,
    response: Response,
    run: int,
    found: Sequence[Reading],
    said: str,
    confirming: str,
) -> None:
    off = [reading for reading in found if off_scale_flag(reading, response) is not None]
    if any(reading.flag == "gelled" for reading in found) and not said:
        result.gelled.append(run)
    if said:
        result.left_out[run] = said
    elif confirming:
        if found:
            result.left_out[run] = confirming
    elif off:
        flag = off_scale_flag(off[0], response)
        if flag is not None:
            result.off_scale[run] = flag
            result.off_scale_readings[run] = tuple(found)
    elif values := [r.value for r in found if r.flag == "ok" and r.value is not None]:
        result.values[run] = tuple(values)
    elif why := _why_nothing(found):
        result.left_out[run] = why
    else:
        result.pending.append(run)


def _confirming(plan: Plan, choices: Choices) -> dict[int, str]:
    """Say why runs that test the models do not build them, by run: until somebody takes them in.

    The controls of such a round wait with it. Batches of the plant are never taken in.
    """
    rounds = {
        entry.number: is_plant_round(entry.details)
        for entry in plan.rounds
        if entry.layout == CONFIRMATION_LAYOUT
    }
    found = {}
    for run, number, kind in zip(plan.run, plan.round, plan.kind, strict=True):
        if rounds.get(number, False):
            found[run] = "a batch of the plant does not build the models of the laboratory"
        elif kind == "confirm" and number not in choices.rounds_taken_in:
            found[run] = "a confirmation run tests the model and does not build it"
        elif number in rounds and number not in choices.rounds_taken_in:
            found[run] = "a control beside confirmation runs waits with them"
    return found


def _why_nothing(found: Sequence[Reading]) -> str:
    for reading in found:
        if reading.flag in ("lost", "excluded", "gelled"):
            return f"{reading.flag}, {reading.because}" if reading.because else reading.flag
    return ""


def _units(plan: Plan, response: Response) -> list[list[int]]:
    """Group the runs that are one unit for this response: a batch, a sample, or each its own."""
    stage = {"batch": plan.batch, "sample": plan.sample}.get(response.per, plan.panel)
    units: dict[tuple[str, int], list[int]] = {}
    for run, number in zip(plan.run, stage, strict=True):
        key = ("unit", number) if number is not None else ("run", run)
        units.setdefault(key, []).append(run)
    return list(units.values())


def _waiting(result: _Sorted, response: Response) -> tuple[Finding, ...]:
    if not result.pending:
        return ()
    nothing = not result.values
    return (
        Finding(
            level="note",
            what=f"'{response.name}' waits for readings of {in_words('run', result.pending)}"
            + (": it has none yet." if nothing else "; the rest is fitted."),
            evidence={"waiting": len(result.pending), "read": len(result.values)},
            advice="Enter the workbook again when they are in.",
        ),
    )


def _left_out(result: _Sorted, response: Response) -> tuple[Finding, ...]:
    reasons: dict[str, list[int]] = {}
    for run, why in result.left_out.items():
        reasons.setdefault(why, []).append(run)
    return tuple(
        Finding(
            level="note",
            what=f"{in_words('run', runs).capitalize()} left out of '{response.name}': {why}.",
            evidence={"runs": len(runs)},
        )
        for why, runs in reasons.items()
    )
