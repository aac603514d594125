"""All sheets of raw readings of a workbook, and the drawdown cards behind them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook

from doe.methods.raw_columns import BenchTest
from doe.sheets.book_form import (
    CARD,
    CARD_USED,
    DRAWDOWNS,
    MACHINE,
    PANELS,
    READINGS,
    README,
    SAMPLES,
    WEIGHING,
    raw_text,
)
from doe.sheets.book_look import put
from doe.sheets.drawdowns import drawdown_tests, write_drawdowns
from doe.sheets.entry_rules import LONGEST_LIST
from doe.sheets.raw_form import RawEntry, raw_forms
from doe.sheets.raw_sheet import RawKnown, RawSheetWriter
from doe.study.brief import Study
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Actual, Readings

WORDS = f"{MACHINE} words"
# Names that a sheet of a test cannot have.
TAKEN_TITLES = (README, WEIGHING, SAMPLES, PANELS, READINGS, DRAWDOWNS, MACHINE, WORDS)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawSheets:
    """What was written.

    Attributes:
        entries: What the file keeps of the sheets.
        head_rows: Row of the headers, by sheet.
    """

    entries: tuple[RawEntry, ...]
    head_rows: Mapping[str, int]


def write_raw_sheets(
    book: Workbook,
    study: Study,
    plan: Plan,
    tests: Sequence[BenchTest],
    known: tuple[Mapping[str, Readings], Mapping[tuple[str, str], Actual]],
) -> RawSheets:
    """Write a sheet for each test, and one of drawdown cards where a test needs them.

    Args:
        book: The workbook.
        study: The brief.
        plan: All runs, in bench order.
        tests: The tests.
        known: Raw readings by test, and notes by folded unit and thing.
    """
    readings, actuals = known
    cells = {fold(name): raw_text(those.current()) for name, those in readings.items()}
    aged = [
        test.table.name
        for test in tests
        if any(age_d is not None for _, age_d, _ in cells.get(fold(test.table.name), {}))
    ]
    entries: list[RawEntry] = []
    head_rows = {}
    for form in raw_forms(tests, plan, TAKEN_TITLES, aged):
        own = RawKnown(cells=cells.get(fold(form.test.table.name), {}), actuals=actuals)
        writer = RawSheetWriter(book.create_sheet(form.title), form, own, _word_lister(book))
        head_rows[form.title] = writer.write(study, plan)
        entries += form.entries()
    drawn = drawdown_tests(tests)
    if drawn:
        sheet = book.create_sheet(DRAWDOWNS)
        head_rows[DRAWDOWNS] = write_drawdowns(sheet, study, plan, drawn, actuals)
        entries.append(RawEntry(kind="card", sheet=DRAWDOWNS, head=CARD_USED, what=CARD))
    return RawSheets(entries=tuple(entries), head_rows=head_rows)


def _word_lister(book: Workbook) -> Callable[[Sequence[str]], str]:
    """Give what writes a list of words for a cell: in the rule, or in a hidden sheet if long."""

    def listed(words: Sequence[str]) -> str:
        inline = ",".join(words)
        if len(inline) <= LONGEST_LIST and inline.count(",") < len(words) and '"' not in inline:
            return f'"{inline}"'
        if WORDS not in book.sheetnames:
            book.create_sheet(WORDS).sheet_state = "hidden"
        sheet = book[WORDS]
        place = 1 if sheet.cell(1, 1).value is None else sheet.max_column + 1
        for row, word in enumerate(words, start=1):
            put(sheet, row, place, word, "said")
        letter = get_column_letter(place)
        return f"'{WORDS}'!${letter}$1:${letter}${len(words)}"

    return listed
