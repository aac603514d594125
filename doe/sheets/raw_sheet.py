"""A sheet of raw readings: a line a unit, age and repeat, a column a raw reading of one test."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from doe.methods.method import RawColumn
from doe.sheets.asks import Ask
from doe.sheets.book_form import (
    AGE,
    DATE_BEGUN,
    NOTE,
    film_record,
)
from doe.sheets.book_look import (
    COMPUTED_FORMAT,
    FIRST_LOOKS,
    LOOKS,
    Look,
    fit_columns,
    lines_needed,
    put,
    put_formula,
    put_note,
    put_wide,
)
from doe.sheets.curve_names import curve_name, reference_unit
from doe.sheets.entry_rules import EntryRules
from doe.sheets.raw_form import RawForm
from doe.sheets.raw_formula import row_formula
from doe.sheets.raw_lines import LineKey, RawLine, raw_lines, read_units
from doe.sheets.wording import FOLLOW
from doe.study.brief import Study
from doe.study.names import fold
from doe.study.numerals import parse_number
from doe.study.plan import Plan
from doe.study.readings import Actual

Cells = Mapping[LineKey, Mapping[str, float | str]]
# Writes the words of a rating where a list in a cell can refer to them.
ListWords = Callable[[Sequence[str]], str]

_DATE = "yyyy-mm-dd"
_ID_WIDTH, _DATE_WIDTH, _RAW_WIDTH, _NOTE_WIDTH = 7.0, 11.0, 12.0, 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RawKnown:
    """What is known of a test already.

    Attributes:
        cells: Raw readings as cells show them, by run, age and repeat, then by folded column.
        actuals: Notes by folded unit and thing, as of all actuals.
    """

    cells: Cells
    actuals: Mapping[tuple[str, str], Actual]


class RawSheetWriter:
    """Writes one sheet of raw readings, line by line."""

    def __init__(
        self, sheet: Worksheet, form: RawForm, known: RawKnown, list_words: ListWords
    ) -> None:
        self._sheet, self._form, self._known = sheet, form, known
        self._rules = EntryRules(sheet)
        self._places = {head: place for place, head in enumerate(form.heads, start=1)}
        self._lists = {
            column.name: list_words([*column.ratings, "gelled", "lost"])
            for _, column in form.raw
            if column.ratings
        }

    def write(self, study: Study, plan: Plan) -> int:
        """Write the sheet and give the row of its headers."""
        sheet, form = self._sheet, self._form
        says = self._says()
        head_row = len(says) + 3
        put(sheet, 1, 1, form.title, "title")
        for head, place in self._places.items():
            is_computed = any(head == one for one, _ in form.computed)
            put(sheet, head_row, place, head, "computed head" if is_computed else "head")
        units = read_units(study, plan, form.test.per)
        lines = raw_lines(form.test, units, self._known.cells)
        self._write_lines(lines, head_row + 1)
        row = head_row + 1 + len(lines)
        if form.curves:
            self._write_references(plan, row)
        self._rules.attach()
        fit_columns(sheet, head_row, least=self._least_widths())
        self._write_top(says, head_row)
        return head_row

    def _says(self) -> list[str]:
        form = self._form
        says = []
        if form.curves:
            says.append(
                "Save each curve in the instrument under the name that stands here, export them, "
                "and take the file in: `millbase enter STUDY FILE`. A second reading has "
                "'repeat 2' in its name, behind the run and its age: 'run 7 repeat 2'."
            )
        if form.raw:
            says.append(
                "Fill in the pale cells: a number, or: gelled, lost, > 5000, < 5, 5 to 10. "
                "Blank: pending. A second reading goes into a spare line below, with its run."
            )
        if form.begun:
            says.append(
                f"Type the day under '{form.begun}' once a unit; the date due follows from it."
            )
        if form.computed:
            says.append(
                "Blue columns in italics are computed here, from what stands in their row; the "
                "tool's value wins. Do not type into them."
            )
        return [*says, FOLLOW, *form.test.table.cautions]

    def _least_widths(self) -> list[float]:
        form = self._form
        return [
            *(_ID_WIDTH for _ in form.identity), *(_DATE_WIDTH for _ in form.dates),
            *(_RAW_WIDTH for _ in (*form.curves, *form.raw, *form.computed)), _NOTE_WIDTH,
        ]  # fmt: skip

    def _write_top(self, says: Sequence[str], head_row: int) -> None:
        """Write what is said above the headers, and above each raw column how it is read."""
        sheet, n_columns = self._sheet, len(self._places)
        widths = [
            float(sheet.column_dimensions[get_column_letter(place)].width)
            for place in range(1, n_columns + 1)
        ]
        for row, text in enumerate(says, start=2):
            put_wide(sheet, row, text, sum(widths), n_columns)
        needed = 1
        for head, column in self._form.raw:
            place = self._places[head]
            hint = ", ".join(
                [*([] if column.is_needed else ["if read"]), *filter(None, [column.hint])]
            )
            put(sheet, head_row - 1, place, hint, "small")
            # The small letters take four fifths of the room.
            needed = max(needed, lines_needed(hint, widths[place - 1] / 0.85))
        sheet.row_dimensions[head_row - 1].height = 11.0 * needed + 4

    def _write_lines(self, lines: Sequence[RawLine], first_row: int) -> None:
        begun_row = first_row
        for row, line in enumerate(lines, start=first_row):
            begun_row = row if line.is_first_of_unit else begun_row
            self._write_identity(row, line)
            self._write_dates(row, line, begun_row)
            self._write_curves(row, line)
            self._write_raw(row, line)
            self._write_computed(row, line)
            if NOTE in self._places:
                put_note(self._sheet, row, self._places[NOTE], "", _looks(line)[1])

    def _write_identity(self, row: int, line: RawLine) -> None:
        said, entry = _looks(line)
        for head in self._form.identity:
            is_open = line.unit is None and head in ("run", AGE, "repeat")
            look = entry if is_open else said
            cell = put(self._sheet, row, self._places[head], line.numbers.get(head), look)
            if is_open and head == AGE:
                self._rules.add(cell, Ask(unit="", what="", kind="grams"))
            elif is_open:
                self._rules.add_count(cell)

    def _write_dates(self, row: int, line: RawLine, begun_row: int) -> None:
        """Ask for the date once a unit, and compute when each of its ages is due."""
        if not self._form.begun:
            return
        said, entry = _looks(line)
        begun, due = (self._places[head] for head in self._form.dates)
        if row == begun_row:
            cell = put(self._sheet, row, begun, None, entry)
            cell.value = self._known_date(line)
            cell.number_format = _DATE
            self._rules.add_date(cell)
        else:
            typed = f"{get_column_letter(begun)}{begun_row}"
            again = put(self._sheet, row, begun, None, said, _DATE)
            put_formula(again, f'=IF(ISNUMBER({typed}),{typed},"")')
        start, age = (f"{get_column_letter(place)}{row}" for place in (begun, self._places[AGE]))
        put_formula(
            put(self._sheet, row, due, None, said, _DATE),
            f'=IF(AND(ISNUMBER({start}),ISNUMBER({age})),{start}+{age},"")',
        )

    def _known_date(self, line: RawLine) -> datetime.date | str | None:
        what = fold(film_record(self._form.test.table.name, DATE_BEGUN))
        known = self._known.actuals.get((fold(line.unit.name), what)) if line.unit else None
        if known is None:
            return None
        try:
            return datetime.date.fromisoformat(known.value[:10])
        except ValueError:
            return known.value

    def _write_curves(self, row: int, line: RawLine) -> None:
        for place, word in enumerate(self._form.curves, start=self._first_curve()):
            name = None
            if line.unit is not None:
                again = line.repeat or 1
                name = curve_name(line.unit.label, age_d=line.age_d, repeat=again, what=word)
            put(self._sheet, row, place, name, _looks(line)[0])

    def _write_raw(self, row: int, line: RawLine) -> None:
        known = self._known.cells.get(line.key, {}) if line.key else {}
        for head, column in self._form.raw:
            value = rating_word(column, known.get(fold(column.name)))
            cell = put(self._sheet, row, self._places[head], value, _looks(line)[1])
            if column.ratings:
                self._rules.add_rating(cell, self._lists[column.name])
            else:
                self._rules.add_measured(cell, column.low, column.high)

    def _write_computed(self, row: int, line: RawLine) -> None:
        cells = {
            fold(column.name): f"{get_column_letter(self._places[head])}{row}"
            for head, column in self._form.raw
        }
        for head, asked in self._form.computed:
            look: Look = "first computed" if line.is_first else "computed"
            cell = put(self._sheet, row, self._places[head], None, look, COMPUTED_FORMAT)
            if formula := row_formula(asked, cells):
                put_formula(cell, formula)

    def _write_references(self, plan: Plan, row: int) -> None:
        """List the curves of the standard and the white, read on each day."""
        days = list(dict.fromkeys(plan.day))
        is_first = True
        for subject in self._form.test.table.references:
            words = ("",) if subject == "white" and "" in self._form.curves else self._form.curves
            for day in days:
                look = FIRST_LOOKS[0] if is_first else LOOKS[0]
                for place, head in enumerate(self._form.identity, start=1):
                    put(self._sheet, row, place, day if head == "day" else None, look)
                for place, _ in enumerate(self._form.dates, start=len(self._form.identity) + 1):
                    put(self._sheet, row, place, None, look)
                for place, word in enumerate(self._form.curves, start=self._first_curve()):
                    name = curve_name(reference_unit(subject, day), what=word)
                    put(self._sheet, row, place, name if word in words else None, look)
                row, is_first = row + 1, False

    def _first_curve(self) -> int:
        return len(self._form.identity) + len(self._form.dates) + 1


def rating_word(column: RawColumn, value: float | str | None) -> float | str | None:
    """Give the word of a rating for its number; all else as it is."""
    if not column.ratings or not isinstance(value, float | int):
        return value
    word = next((word for word, number in column.ratings.items() if number == value), None)
    # A word of digits stays a number, or spreadsheets would mark it as one kept as text.
    return value if word is None or parse_number(word, ".") is not None else word


def _looks(line: RawLine) -> tuple[Look, Look]:
    return FIRST_LOOKS if line.is_first else LOOKS
