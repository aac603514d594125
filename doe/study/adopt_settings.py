"""Settings of a foreign table, in lab units, with what is doubtful named."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doe.errors import Fault
from doe.study.brief import Factor, Study
from doe.study.finding import Finding
from doe.study.level_ranges import own_ranges
from doe.study.names import match_name
from doe.study.numerals import half_last_digit, number_text
from doe.study.plan_settings import choice_labels, is_level
from doe.study.settings import FloatArray, Settings
from doe.study.tables import Table

# Shares are often printed with two decimals: a sum is off by half a unit of them at most.
SHARE_TOLERANCE = 0.005
# What adding a few decimals may be off by in floating point.
_EXACT = 1e-9
_LISTED = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsAsked:
    """What reading the settings needs to know of a table.

    Attributes:
        table: The table.
        study: The brief.
        is_control: Whether each row is a control, which may leave settings open.
    """

    table: Table
    study: Study
    is_control: tuple[bool, ...]


def adopt_settings(asked: RowsAsked, faults: list[Fault], findings: list[Finding]) -> Settings:
    """Read the settings of every row.

    Args:
        asked: The table and what it is read for.
        faults: Gathers what is wrong; the settings are of no use then.
        findings: Gathers what the reader ought to know.
    """
    study, table = asked.study, asked.table
    names = study.setting_names
    values = np.full((len(table), len(names)), np.nan)
    factors = {factor.name: factor for factor in study.varied_factors}
    for k, name in enumerate(names):
        if table.find(name) is None:
            continue
        factor = factors.get(name)
        if factor is not None and factor.kind == "choice":
            values[:, k] = _choice(asked, factor, faults)
        else:
            values[:, k] = _numbers(asked, name, factor, faults)
    n_shares = len(study.additives)
    if n_shares:
        values[:, :n_shares] = _shares(asked, values[:, :n_shares], faults, findings)
    settings = Settings(names=names, values=values, labels=choice_labels(study))
    if faults:
        return settings
    open_faults, settings = _open_settings(asked, settings, findings)
    faults.extend(open_faults)
    findings.extend(_beyond_ranges(asked, settings))
    return settings


def range_of(
    study: Study, factor: Factor, row: dict[str, float | str | None]
) -> tuple[float, float] | None:
    """Give low and high of a factor in a row; None if the row's level lacks the factor."""
    if factor.kind == "levels":
        levels = [float(level) for level in factor.levels]
        return min(levels), max(levels)
    by_level = own_ranges(study, factor)
    if not by_level:
        return factor.ends
    said = row.get(next(iter(factor.ranges[0].when)))
    level = match_name(said, by_level) if isinstance(said, str) else None
    return by_level[level] if level is not None else None


def _choice(asked: RowsAsked, factor: Factor, faults: list[Fault]) -> list[float]:
    levels = [str(level) for level in factor.levels]
    column: list[float] = []
    for i in range(len(asked.table)):
        text = asked.table.text(i, factor.name)
        level = match_name(text, levels) if text else None
        column.append(math.nan if level is None else float(levels.index(level)))
        if text and level is None:
            faults.append(
                Fault(
                    where=asked.table.place(i, factor.name),
                    what=f"'{factor.name}' has no level '{text}'",
                    allowed=", ".join(f"'{one}'" for one in levels),
                )
            )
    return column


def _numbers(
    asked: RowsAsked, name: str, factor: Factor | None, faults: list[Fault]
) -> list[float]:
    table = asked.table
    levels = [float(level) for level in factor.levels] if factor else []
    column: list[float] = []
    for i in range(len(table)):
        value = table.number(i, name, faults)
        if value is not None and levels and not asked.is_control[i]:
            level = _level_meant(value, table.text(i, name), levels, table)
            if level is None:
                allowed = ", ".join(number_text(one) for one in levels)
                what = f"'{name}' has no level {number_text(value)}"
                faults.append(Fault(where=table.place(i, name), what=what, allowed=allowed))
            value = level
        column.append(math.nan if value is None else value)
    return column


def _level_meant(value: float, text: str, levels: Sequence[float], table: Table) -> float | None:
    """Find the level that a printed number stands for, within its last digit."""
    nearest = min(levels, key=lambda level: abs(level - value))
    is_near = abs(nearest - value) <= half_last_digit(text, table.decimal)
    return nearest if is_near or is_level(value, levels) else None


def _shares(
    asked: RowsAsked, shares: FloatArray, faults: list[Fault], findings: list[Finding]
) -> FloatArray:
    """Check that the shares add to 1, or in every row to 100, which is taken as per cent."""
    table, names = asked.table, [additive.name for additive in asked.study.additives]
    if any(table.find(name) is None for name in names):
        return shares
    rows = [i for i in range(len(table)) if np.isfinite(shares[i]).all()]
    sums = {i: float(shares[i].sum()) for i in rows}
    halves = _half_digits(table, names)
    # Whole numbers are exact where shares are proportions (0 and 1), and rounded as per cent.
    slack = sum(half for half in halves if half < 0.5) + _EXACT
    off_one = [i for i in rows if abs(sums[i] - 1.0) > max(SHARE_TOLERANCE, slack)]
    if not off_one:
        findings.extend(_rounded(table, sums))
        return shares
    if all(abs(sums[i] - 100.0) <= max(100.0 * SHARE_TOLERANCE, sum(halves)) for i in rows):
        what = f"{table.source}: the shares add to 100 in every row and are taken as per cent."
        findings.append(Finding(level="note", what=what, evidence={"rows": len(rows)}))
        return shares / 100.0
    listed = ", ".join(f"{table.lines[i]} ({sums[i]:.6g})" for i in off_one[:_LISTED])
    more = f" and {len(off_one) - _LISTED} more" if len(off_one) > _LISTED else ""
    faults.append(
        Fault(
            where=table.source,
            what=f"the shares of {', '.join(names)} do not add to 1 in lines {listed}{more}",
            allowed="shares that add to 1 in every row, or to 100 in every row",
        )
    )
    return shares


def _half_digits(table: Table, names: Sequence[str]) -> list[float]:
    """Give half a unit of the last digit of each share, as its finest cell is printed."""
    return [
        min(half_last_digit(text, table.decimal) for text in texts)
        for name in names
        if (texts := [text for i in range(len(table)) if (text := table.text(i, name))])
    ]


def _rounded(table: Table, sums: dict[int, float]) -> list[Finding]:
    """Say that sums are off by rounding only; the shares are taken as printed."""
    off = [i for i, total in sums.items() if abs(total - 1.0) > _EXACT]
    if not off:
        return []
    return [
        Finding(
            level="caution",
            what=f"{table.source}: the shares add to 1 within their printed digits only; they are "
            "taken as printed.",
            evidence={"rows": len(off), "lowest sum": min(sums.values())},
        )
    ]


def _open_settings(
    asked: RowsAsked, settings: Settings, findings: list[Finding]
) -> tuple[list[Fault], Settings]:
    """Find blanks where a setting is due, and settings of a factor that a level lacks."""
    faults: list[Fault] = []
    aside: dict[str, list[int]] = {}
    values = np.array(settings.values)
    factors = {f.name: f for f in asked.study.varied_factors if f.kind != "choice"}
    for i in range(len(settings)):
        if asked.is_control[i]:
            continue
        row = settings.row(i)
        for k, name in enumerate(settings.names):
            is_lacking = name in factors and range_of(asked.study, factors[name], row) is None
            if is_lacking and row[name] is not None:
                values[i, k] = np.nan
                aside.setdefault(name, []).append(i)
            elif row[name] is None and not is_lacking:
                where = asked.table.place(i, name)
                faults.append(Fault(where=where, what="the setting is blank"))
    findings.extend(_left_aside(asked, settings, name, rows) for name, rows in aside.items())
    return faults, Settings(names=settings.names, values=values, labels=settings.labels)


def _left_aside(asked: RowsAsked, settings: Settings, name: str, rows: list[int]) -> Finding:
    """Name the settings of a factor that the level of their row lacks; a 0 says just that."""
    found = [float(settings.column(name)[i]) for i in rows]
    return Finding(
        level="caution" if any(found) else "note",
        what=f"{asked.table.source}: the level lacks '{name}' in lines {_listed(asked, rows)}; "
        "what stands there is left aside.",
        evidence={"rows": len(rows), "lowest": min(found), "highest": max(found)},
        advice=f"Give '{name}' a [[factor.range]] at this level if it was set there."
        if any(found)
        else "",
    )


def _listed(asked: RowsAsked, rows: list[int]) -> str:
    lines = ", ".join(str(asked.table.lines[i]) for i in rows[:_LISTED])
    return f"{lines} and {len(rows) - _LISTED} more" if len(rows) > _LISTED else lines


def _beyond_ranges(asked: RowsAsked, settings: Settings) -> list[Finding]:
    """Name the settings outside the brief's ranges; they are taken all the same."""
    bounds = {one.name: (one.low, one.high) for one in asked.study.additives}
    factors = {one.name: one for one in asked.study.varied_factors if one.kind != "choice"}
    findings: list[Finding] = []
    for name in settings.names:
        outside: list[int] = []
        for i in range(len(settings)):
            row = settings.row(i)
            value = row[name]
            limits = (
                range_of(asked.study, factors[name], row) if name in factors else bounds.get(name)
            )
            if isinstance(value, float) and limits and not asked.is_control[i]:
                outside.extend([i] if _is_outside(value, *limits) else [])
        if outside:
            findings.append(_outside(asked, settings, name, outside))
    return findings


def _is_outside(value: float, low: float | None, high: float | None) -> bool:
    slack = 1e-9 * max(abs(value), 1.0)
    return (low is not None and value < low - slack) or (high is not None and value > high + slack)


def _outside(asked: RowsAsked, settings: Settings, name: str, rows: list[int]) -> Finding:
    found = [float(settings.column(name)[i]) for i in rows]
    return Finding(
        level="caution",
        what=f"{asked.table.source}: '{name}' lies outside the range of the brief in lines "
        f"{_listed(asked, rows)}; the settings are taken as they are.",
        evidence={"rows": len(rows), "lowest": min(found), "highest": max(found)},
        advice="Low and high of the brief fix the coding and the region that is searched: widen "
        "them if these settings belong to it.",
    )
