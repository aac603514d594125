"""A bare table of readings: `run` and a column a response or a raw reading of its test."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from doe.methods.method import RawColumn
from doe.methods.rating_words import rating_of
from doe.methods.raw_columns import NamedColumn, named_columns
from doe.study.brief import Response, Study
from doe.study.finding import Finding
from doe.study.names import fold, match_name
from doe.study.numerals import number_text
from doe.study.plan import Plan
from doe.study.readings import Reading
from doe.study.tables import Table
from doe.study.wide_readings import wide_readings


@dataclass(frozen=True, slots=True, kw_only=True)
class TableEntries:
    """What a table of readings says.

    Attributes:
        readings: Values of responses, entered as they are.
        raw: Raw readings by test; the `response` of each is the raw column's name.
        findings: What the reader ought to know.
    """

    readings: tuple[Reading, ...]
    raw: Mapping[str, tuple[Reading, ...]]
    findings: tuple[Finding, ...]


def read_raw_table(table: Table, study: Study, plan: Plan) -> TableEntries:
    """Read a table with the column `run` and columns of responses or raw readings.

    A raw reading that only one test of the brief asks for goes by its bare name; else by
    `test: column`. Words of a rating stand for their numbers.

    Raises:
        ResultsError: The table has faults; the error holds all of them.
    """
    columns = named_columns(study)
    direct = [one for one in study.responses if match_name(one.name, columns) is None]
    asked = [*direct, *(Response(name=one.name, per=one.per) for one in columns.values())]
    wide = study.model_copy(update={"responses": tuple(asked)})
    readings, findings = wide_readings(_rated(table, columns), wide, plan)
    raw: dict[str, list[Reading]] = {}
    for reading in readings:
        if reading.response in columns:
            named = columns[reading.response]
            row = replace(reading, response=named.column.name)
            raw.setdefault(named.table, []).append(row)
    return TableEntries(
        readings=tuple(one for one in readings if one.response not in columns),
        raw={name: tuple(rows) for name, rows in raw.items()},
        findings=findings,
    )


def _rated(table: Table, columns: Mapping[str, NamedColumn]) -> Table:
    """Put the numbers of ratings in place of their words."""
    ratings = {
        fold(name): one.column for name, one in columns.items() if one.column.ratings is not None
    }
    places = {
        column: ratings[fold(name)]
        for name, column in zip(table.names, table.columns, strict=True)
        if fold(name) in ratings
    }
    if not places:
        return table
    rows = tuple(
        tuple(
            _number_for(cell, places[j], table.decimal) if j in places else cell
            for j, cell in enumerate(row)
        )
        for row in table.grid.rows
    )
    return replace(table, grid=replace(table.grid, rows=rows))


def _number_for(cell: str, column: RawColumn, decimal: str) -> str:
    rated = rating_of(cell, column.ratings or {}, column.spellings)
    return cell if rated is None else number_text(rated).replace(".", decimal)
