"""Which raw readings a brief asks the bench for: the tests of its responses and their columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from doe.methods.method import RawColumn, RawTable, Unit
from doe.methods.registry import find_method
from doe.methods.settling import OF
from doe.study.brief import Response, Study
from doe.study.names import fold

START, END = "start_d", "end_d"


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchTest:
    """One test that the brief asks for.

    Attributes:
        table: What is written down.
        per: The unit that it is made on: the lowest of its responses'.
        responses: The responses that it serves.
        ages: Ages at which it is read, days, ascending; empty where nobody says one.
    """

    table: RawTable
    per: Unit
    responses: tuple[Response, ...]
    ages: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedColumn:
    """A raw column under the name that it has in a table of the user's."""

    name: str
    table: str
    column: RawColumn
    per: Unit


_LOWEST: tuple[Unit, ...] = ("panel", "sample", "batch")


def bench_tests(study: Study) -> tuple[BenchTest, ...]:
    """List the tests that the responses of a brief rest on, in the brief's order."""
    served: dict[str, tuple[RawTable, list[Response]]] = {}
    for response in study.responses:
        method = find_method(response.method) if response.method else None
        if method is not None and method.table is not None:
            served.setdefault(method.table.name, (method.table, []))[1].append(response)
    return tuple(
        BenchTest(
            table=table,
            per=next(per for per in _LOWEST if per in {one.per for one in responses}),
            responses=tuple(responses),
            ages=_ages(study, responses),
        )
        for table, responses in served.values()
    )


def named_columns(study: Study) -> Mapping[str, NamedColumn]:
    """Name every raw column: bare where one test has it, else with its test: `test: column`."""
    tests = bench_tests(study)
    counts = Counter(fold(column.name) for test in tests for column in test.table.columns)
    found = {}
    for test in tests:
        for column in test.table.columns:
            bare = counts[fold(column.name)] == 1
            name = column.name if bare else f"{test.table.name}: {column.name}"
            found[name] = NamedColumn(name=name, table=test.table.name, column=column, per=test.per)
    return found


def _ages(study: Study, responses: list[Response]) -> tuple[float, ...]:
    """Gather the ages of the responses, and those between which another looks for a change."""
    ages = {one.age_d for one in responses if one.age_d is not None}
    names = {one.name for one in responses}
    for other in study.responses:
        if other.options.get(OF) in names and other.method is not None:
            method = find_method(other.method)
            if method is not None and method.gathers == "two ages":
                defaults = {option.name: option.default for option in method.options}
                for end in (START, END):
                    said = other.options.get(end, defaults.get(end))
                    ages |= {float(said)} if isinstance(said, int | float) else set()
    return tuple(sorted(ages))
