"""The form of a sheet of raw readings: its name, its columns, what the file keeps of them."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from doe.methods.method import RawColumn
from doe.methods.raw_columns import BenchTest
from doe.sheets.bench_tests import Asked, ages_of, asked_of, is_of_a_film
from doe.sheets.book_form import AGE, DUE, NOTE, RAW_ID_HEADS
from doe.sheets.wording import with_unit
from doe.study.names import fold
from doe.study.plan import Plan

# Of a sheet's name in a spreadsheet.
LONGEST_TITLE = 31
_FORBIDDEN = re.compile(r"[\[\]:*?/\\]")
_KEPT_BY_SPREADSHEETS = "history"

RawKind = Literal["test", "raw", "computed", "begun", "card"]
RAW_KINDS: tuple[RawKind, ...] = get_args(RawKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawEntry:
    """One thing that the file keeps of a sheet of raw readings.

    Attributes:
        kind: The test itself, a raw column, a computed one, the date a test began, or the card
            that was drawn.
        sheet: The sheet.
        head: The column's header; empty for the test itself.
        what: The test, the raw column or the response.
        measure: Unit of measure at the time.
    """

    kind: RawKind
    sheet: str
    head: str
    what: str
    measure: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RawForm:
    """The columns of a sheet of raw readings, from left to right.

    Attributes:
        test: The test.
        title: Name of the sheet.
        identity: Heads of the numbers that tell its lines apart.
        begun: Head of the date a test began, from which ages count; empty without ages.
        curves: The words of the curves to save; empty without curves.
        raw: The raw columns with their heads.
        computed: The responses that the spreadsheet computes, with their heads.
    """

    test: BenchTest
    title: str
    identity: tuple[str, ...]
    begun: str
    curves: tuple[str, ...]
    raw: tuple[tuple[str, RawColumn], ...]
    computed: tuple[tuple[str, Asked], ...]

    @property
    def dates(self) -> tuple[str, ...]:
        """Heads of the dates."""
        return (self.begun, DUE) if self.begun else ()

    @property
    def heads(self) -> tuple[str, ...]:
        """All heads."""
        return (
            *self.identity, *self.dates, *(curve_head(word) for word in self.curves),
            *(head for head, _ in self.raw), *(head for head, _ in self.computed),
            *((NOTE,) if self.raw else ()),
        )  # fmt: skip

    def entries(self) -> tuple[RawEntry, ...]:
        """Give what the file keeps of the sheet."""
        own = RawEntry(kind="test", sheet=self.title, head="", what=self.test.table.name)
        raw = [
            RawEntry(kind="raw", sheet=self.title, head=head, what=one.name, measure=one.unit)
            for head, one in self.raw
        ]
        computed = [
            RawEntry(kind="computed", sheet=self.title, head=head, what=one.response.name)
            for head, one in self.computed
        ]
        begun = RawEntry(kind="begun", sheet=self.title, head=self.begun, what=self.test.table.name)
        return (own, *raw, *computed, *((begun,) if self.begun else ()))


def raw_forms(
    tests: Sequence[BenchTest], plan: Plan, taken: Collection[str], aged: Collection[str] = ()
) -> tuple[RawForm, ...]:
    """Lay out a sheet for each test.

    Args:
        tests: The tests.
        plan: Its numbers tell the units apart.
        taken: Names that other sheets have.
        aged: Tests that have been read at some age, whatever the brief says.
    """
    titles = {fold(title) for title in (*taken, _KEPT_BY_SPREADSHEETS)}
    forms = []
    for test in tests:
        title = _title(test.table.name, titles)
        titles.add(fold(title))
        has_ages = ages_of(test) != (None,) or test.table.name in aged
        forms.append(_form(test, title, plan, has_ages=has_ages))
    return tuple(forms)


def raw_head(column: RawColumn) -> str:
    """Write the head of a raw column."""
    return with_unit(column.name, column.unit)


def curve_head(word: str) -> str:
    """Write the head of a column of names of curves."""
    return f"save {word} as" if word else "save as"


def _form(test: BenchTest, title: str, plan: Plan, *, has_ages: bool) -> RawForm:
    below = {"batch": ("sample", "panel"), "sample": ("panel",), "panel": ()}[test.per]
    there = {
        "day": any(plan.day),
        "batch": any(plan.batch),
        "sample": any(plan.sample),
        "panel": any(plan.panel),
        AGE: has_ages,
    }
    begun = "date drawn" if is_of_a_film(test) else "stored since"
    formulas = [one for one in asked_of(test) if one.method.formula]
    return RawForm(
        test=test,
        title=title,
        identity=tuple(
            head for head in RAW_ID_HEADS if there.get(head, True) and head not in below
        ),
        begun=begun if has_ages else "",
        curves=(test.table.curves or ("",)) if test.table.curve else (),
        raw=tuple((raw_head(one), one) for one in test.table.columns),
        computed=tuple(
            (f"computed: {with_unit(one.response.name, one.response.unit)}", one)
            for one in formulas
        ),
    )


def _title(name: str, taken: Collection[str]) -> str:
    """Name a sheet after a test, within what spreadsheets allow."""
    plain = " ".join(_FORBIDDEN.sub(" ", name).strip(" '").split()) or "test"
    if not plain[1:2].isupper():
        plain = plain[0].upper() + plain[1:]
    title, number = plain[:LONGEST_TITLE].rstrip(), 2
    while fold(title) in taken:
        tail = f" {number}"
        title, number = plain[: LONGEST_TITLE - len(tail)].rstrip() + tail, number + 1
    return title
