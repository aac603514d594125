"""Adopting a table: settings and results that someone else made become plan and readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

import doe
from doe.errors import Fault, ResultsError
from doe.study.adopt_settings import RowsAsked, adopt_settings
from doe.study.brief import Study
from doe.study.column_match import match_columns
from doe.study.finding import Finding
from doe.study.hashes import goals_hash, region_hash
from doe.study.names import match_name
from doe.study.plan import KINDS, Kind, Plan, Round
from doe.study.readings import Reading
from doe.study.settings import FloatArray, Settings
from doe.study.tables import Table
from doe.study.unit_labels import UnitColumn, plain_label, unit_column
from doe.study.wide_readings import READING_COLUMNS, row_readings, run_column, wide_readings

__all__ = ["LAYOUT", "adopt_table", "wide_readings"]

LAYOUT = "adopted"
# Settings that differ by no more than this part, or by this beside 0, were typed as one.
_SAME, _SAME_AT_0 = 1e-9, 1e-12
_UNITS = ("day", "batch", "sample", "panel")
_COLUMNS = ("run", *_UNITS, "block", "kind", "control", "order", *READING_COLUMNS)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rows:
    """What each line of the table says besides settings and results."""

    table: Table
    study: Study
    run: list[int | None]
    kind: list[Kind | None]
    control: list[str | None]
    units: dict[str, UnitColumn]
    block: list[str]


def adopt_table(
    table: Table, study: Study, *, entered: str = ""
) -> tuple[Plan, tuple[Reading, ...], tuple[Finding, ...]]:
    """Take in settings and results that stand in one table.

    Columns are named as in the brief, with `run`, `batch`, `day`, `block`, `sample`, `panel`,
    `kind`, `control` and `order` where present. Settings outside the ranges are taken and named.
    Lines without a run number are numbered in their order, and equal ones are replicates; lines of
    one run are repeats and must have equal settings. The batch column is believed even where a
    batch factor varies inside it, and that is said.

    Args:
        table: The table.
        study: The brief.
        entered: Time of entry to note with the readings.

    Returns:
        The plan of one round, with the labels of a `block` column in its details; the readings,
        their ids counting from 1; and what the reader ought to know.

    Raises:
        ResultsError: The table has faults; the error holds all of them.
    """
    responses = [response.name for response in study.responses]
    blocks = [block.name for block in study.blocks]
    held = [factor.name for factor in study.factors if factor.kind == "held"]
    expected = (*study.setting_names, *responses)
    columns = match_columns(table, expected, (*_COLUMNS, *blocks, *held))
    faults = [*_missing(table, columns.missing, study, columns.suggestions)]
    faults.extend(columns.misspelt(table))
    if not len(table):
        faults.append(Fault(where=table.source, what="the table has names but no lines"))
    findings = [*table.notes, *columns.left_aside(table)]
    rows = _rows(table, study, faults, findings)
    asked = RowsAsked(
        table=table, study=study, is_control=tuple(kind == "control" for kind in rows.kind)
    )
    settings = adopt_settings(asked, faults, findings)
    faults.extend(_contradictions(rows, settings))
    readings = row_readings(table, study, rows.run, faults, entered=entered)
    if faults:
        raise ResultsError.from_faults(faults)
    findings.extend(_about_results(table, columns.missing, responses, readings))
    findings.extend(_held_elsewhere(table, study))
    findings.extend(_varies_inside(rows, settings))
    return _plan(rows, settings), readings, tuple(findings)


def _missing(
    table: Table, missing: Sequence[str], study: Study, suggestions: dict[str, str]
) -> list[Fault]:
    """Name the settings that have no column; a slip of the pen is told once, by its column."""
    return [
        Fault(
            where=table.source,
            what=f"there is no column for the setting '{name}'",
            do="Add it, or hold it in the brief by `value = …`.",
        )
        for name in missing
        if name in study.setting_names and name not in suggestions.values()
    ]


def _rows(table: Table, study: Study, faults: list[Fault], findings: list[Finding]) -> _Rows:
    units = {name: unit_column(table, name) for name in _UNITS}
    for column in units.values():
        findings.extend(column.findings)
    has_run = table.find("run") is not None
    counted: list[int | None] = [i + 1 for i in range(len(table))]
    run = run_column(table, faults) if has_run else counted
    kind, control = _kinds(table, study, faults)
    label = _block_column(table, study)
    return _Rows(
        table=table,
        study=study,
        run=run,
        kind=kind,
        control=control,
        units=units,
        block=[plain_label(table.text(i, label), table) for i in range(len(table))]
        if label
        else [],
    )


def _block_column(table: Table, study: Study) -> str | None:
    """Find the column of block labels: `block`, else one named as a block of the brief."""
    names = ["block", *(block.name for block in study.blocks)]
    wanted = [name for name in names if match_name(name, _UNITS) is None]
    return next((name for name in wanted if table.find(name) is not None), None)


def _kinds(
    table: Table, study: Study, faults: list[Fault]
) -> tuple[list[Kind | None], list[str | None]]:
    """Read kinds and controls; a line that names a control is one."""
    controls = [control.name for control in study.controls]
    kinds: list[Kind | None] = []
    names: list[str | None] = []
    for i in range(len(table)):
        said, named = table.text(i, "kind"), table.text(i, "control")
        kind = next((one for one in KINDS if match_name(said, [one])), None)
        if said and kind is None:
            what, allowed = f"the kind '{said}' is not known", ", ".join(KINDS)
            faults.append(Fault(where=table.place(i, "kind"), what=what, allowed=allowed))
        kind = "control" if named else kind
        name = match_name(named, controls)
        if kind == "control" and not named and len(controls) == 1:
            name = controls[0]
        if kind == "control" and name is None:
            allowed = ", ".join(f"'{one}'" for one in controls) or "no control: the brief has none"
            what = f"'{named}' is no control of the brief" if named else "which control is this?"
            column = "control" if table.find("control") else "kind"
            faults.append(Fault(where=table.place(i, column), what=what, allowed=allowed))
        kinds.append(kind)
        names.append(name if kind == "control" else None)
    return kinds, names


def _contradictions(rows: _Rows, settings: Settings) -> list[Fault]:
    """Find lines of one run that differ in what is one for a run."""
    faults: list[Fault] = []
    for first, i in _later_lines(rows):
        told = [
            name
            for k, name in enumerate(settings.names)
            if not _equal(settings.values[first, k], settings.values[i, k])
        ]
        told += [
            name
            for name in ("day", "batch", "sample")
            if rows.units[name].numbers[first] != rows.units[name].numbers[i]
        ]
        told += ["block"] if rows.block and rows.block[first] != rows.block[i] else []
        if told:
            lines = rows.table.lines
            what = f"lines {lines[first]} and {lines[i]} are both run {rows.run[i]}"
            faults.append(
                Fault(
                    where=rows.table.place(i, "run"),
                    what=f"{what}, but differ in {', '.join(told)}",
                    do="Give them two run numbers, or mend the settings.",
                )
            )
    return faults


def _later_lines(rows: _Rows) -> list[tuple[int, int]]:
    """Pair each later line of a run with the first."""
    first: dict[int, int] = {}
    pairs: list[tuple[int, int]] = []
    for i, run in enumerate(rows.run):
        if run is not None and first.setdefault(run, i) != i:
            pairs.append((first[run], i))
    return pairs


def _plan(rows: _Rows, settings: Settings) -> Plan:
    later = {i for _, i in _later_lines(rows)}
    kept = _bench_order(rows.table, [i for i in range(len(rows.run)) if i not in later])
    runs = tuple(run for i in kept if (run := rows.run[i]) is not None)
    several = {rows.run[i] for i in later}
    numbers = {name: tuple(rows.units[name].numbers[i] for i in kept) for name in _UNITS}
    panel = tuple(
        None if run in several else one for run, one in zip(runs, numbers["panel"], strict=True)
    )
    details: dict[str, object] = {
        f"{name}_labels": dict(column.labels)
        for name, column in rows.units.items()
        if column.labels
    }
    if rows.block:
        details["blocks"] = {run: rows.block[i] for i, run in zip(kept, runs, strict=True)}
    entry = Round(
        number=1,
        layout=LAYOUT,
        models=(),
        version=doe.__version__,
        region_hash=region_hash(rows.study),
        goals_hash=goals_hash(rows.study),
        runs=runs,
        controls={
            run: name
            for i, run in zip(kept, runs, strict=True)
            if (name := rows.control[i]) is not None
        },
        reasons=(f"Adopted from {rows.table.source}.",),
        details=details,
    )
    return Plan(
        settings=settings.take(kept),
        run=runs,
        round=(1,) * len(runs),
        day=numbers["day"],
        batch=numbers["batch"],
        sample=numbers["sample"],
        panel=panel,
        kind=_kinds_of(rows, settings, kept),
        rounds=(entry,),
    )


def _bench_order(table: Table, kept: list[int]) -> list[int]:
    """Sort the lines as they were made where the table says so."""
    order = {i: table.number(i, "order", []) for i in kept}
    return sorted(kept, key=lambda i: math.inf if (at := order[i]) is None else at)


def _kinds_of(rows: _Rows, settings: Settings, kept: list[int]) -> tuple[Kind, ...]:
    """Call the second run of equal settings a replicate where the table has no kind."""
    values = settings.values[kept]
    kinds: list[Kind] = []
    for place, i in enumerate(kept):
        kinds.append(rows.kind[i] or ("replicate" if _is_again(values, place) else "design"))
    return tuple(kinds)


def _is_again(values: FloatArray, place: int) -> bool:
    """Tell whether an earlier row has the settings of this one, to the digits of a table."""
    own, earlier = values[place], values[:place]
    reach = np.maximum(_SAME * np.maximum(np.abs(own), np.abs(earlier)), _SAME_AT_0)
    alike = (np.abs(own - earlier) <= reach) | (np.isnan(own) & np.isnan(earlier))
    return bool(alike.all(axis=1).any())


def _equal(one: float, other: float) -> bool:
    if np.isnan(one) or np.isnan(other):
        return bool(np.isnan(one) and np.isnan(other))
    return math.isclose(one, other, rel_tol=_SAME, abs_tol=_SAME_AT_0)


def _about_results(
    table: Table, missing: Sequence[str], responses: Sequence[str], readings: Sequence[Reading]
) -> list[Finding]:
    findings = [
        Finding(
            level="note",
            what=f"{table.source}: there is no column for '{name}'; it is pending.",
        )
        for name in responses
        if name in missing
    ]
    if not readings:
        what = f"{table.source}: the table has settings but no results yet."
        findings.append(Finding(level="note", what=what))
    return findings


def _held_elsewhere(table: Table, study: Study) -> list[Finding]:
    """Name lines that were made at another value than the one the brief holds."""
    findings: list[Finding] = []
    for factor in study.factors:
        if factor.kind != "held" or table.find(factor.name) is None:
            continue
        texts = {table.text(i, factor.name) for i in range(len(table))} - {""}
        unlike = sorted(text for text in texts if not _is_held(text, factor.value, table))
        if unlike:
            findings.append(
                Finding(
                    level="caution",
                    what=f"{table.source}: the brief holds '{factor.name}' at {factor.value}, "
                    f"the table has {', '.join(unlike[:8])}; the column is left aside.",
                    advice="Give the factor a range or levels if it was varied.",
                )
            )
    return findings


def _is_held(text: str, value: float | str | None, table: Table) -> bool:
    if isinstance(value, str):
        return match_name(text, [value]) is not None
    try:
        found = float(text.replace(table.decimal, "."))
    except ValueError:
        return False
    return value is not None and math.isclose(found, value)


def _varies_inside(rows: _Rows, settings: Settings) -> list[Finding]:
    """Say where a setting varies inside a unit that it is set once for; the table is believed."""
    study = rows.study
    package_stage = study.package.set_per if study.package else "batch"
    stages = {additive.name: package_stage for additive in study.additives}
    stages |= {factor.name: factor.set_per for factor in study.varied_factors}
    findings: list[Finding] = []
    for name in settings.names:
        column, numbers = settings.column(name), rows.units[stages[name]].numbers
        units: dict[int, float] = {}
        torn = {
            number
            for number, value, control in zip(numbers, column, rows.control, strict=True)
            if number is not None
            and control is None
            and not _equal(units.setdefault(number, float(value)), value)
        }
        if torn:
            findings.append(
                Finding(
                    level="caution",
                    what=f"'{name}' is set once a {stages[name]} by the brief, but varies inside "
                    f"{len(torn)} of the table's; the column is believed.",
                    evidence={stages[name]: min(torn), "count": len(torn)},
                    advice=f"Look whether the {stages[name]} column is right, or set `set_per`.",
                )
            )
    return findings
