"""What a spreadsheet lets into an entry cell, and what it says when it does not."""

from __future__ import annotations

from collections.abc import Mapping

from openpyxl.cell.cell import Cell
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from doe.sheets.asks import DATE_DONE, Ask
from doe.study.names import fold
from doe.study.readings import Actual

# The file format holds a list of choices of at most 255 signs, divided by commas.
LONGEST_LIST = 255
FLAG_WORDS = ("gelled", "lost", "excluded")


class EntryRules:
    """The rules of one sheet, gathered cell by cell and attached at the end."""

    def __init__(self, sheet: Worksheet) -> None:
        self._sheet = sheet
        self._rules: dict[object, DataValidation] = {}

    def add(self, cell: Cell, ask: Ask) -> None:
        """Let only what fits the ask into a cell."""
        if ask.kind == "word":
            listed = ",".join(ask.levels)
            if '"' in listed or listed.count(",") >= len(ask.levels) or len(listed) > LONGEST_LIST:
                return  # a list cannot hold it; the reader of the workbook checks the word
        key = (ask.kind, ask.levels)
        if key not in self._rules:
            self._rules[key] = _rule(ask)
        self._rules[key].add(cell)

    def add_reading(self, cell: Cell) -> None:
        """Let a number or a flag into a cell; warn of all else."""
        if "reading" not in self._rules:
            self._rules["reading"] = _reading_rule(cell.coordinate)
        self._rules["reading"].add(cell)

    def add_measured(self, cell: Cell, low: float | None, high: float | None) -> None:
        """Let a number between two ends or a flag into a cell of raw readings; warn of all else."""
        key = ("measured", cell.column_letter)
        if key not in self._rules:
            self._rules[key] = _reading_rule(cell.coordinate, low, high)
        self._rules[key].add(cell)

    def add_rating(self, cell: Cell, listed: str) -> None:
        """Offer the words of a rating and the flags; warn of all else.

        Args:
            cell: Where.
            listed: The list as the file format writes it: words between quotes, or a range.
        """
        key = ("rating", cell.column_letter)
        if key not in self._rules:
            rule = DataValidation(type="list", formula1=listed, errorStyle="warning")
            rule.error = "One of the words in the list, or: gelled, lost."
            self._rules[key] = _told(rule)
        self._rules[key].add(cell)

    def add_date(self, cell: Cell) -> None:
        """Let a date into a cell."""
        self.add(cell, Ask(unit="", what="", kind="date"))

    def add_count(self, cell: Cell) -> None:
        """Let a whole number from 1 into a cell."""
        self.add(cell, Ask(unit="", what="", kind="whole"))

    def attach(self) -> None:
        """Give the rules to the sheet."""
        for rule in self._rules.values():
            self._sheet.add_data_validation(rule)


def _rule(ask: Ask) -> DataValidation:
    if ask.kind == "word":
        rule = DataValidation(type="list", formula1=f'"{",".join(ask.levels)}"')
        rule.error = "One of the levels of the brief."
    elif ask.kind == "date":
        rule = DataValidation(type="date", operator="greaterThanOrEqual", formula1="36526")
        rule.error = "A date, such as 2026-03-14."
    elif ask.kind == "whole":
        rule = DataValidation(type="whole", operator="greaterThanOrEqual", formula1="1")
        rule.error = "A whole number from 1."
    elif ask.kind == "grams":
        rule = DataValidation(type="decimal", operator="greaterThanOrEqual", formula1="0")
        rule.error = "Grams, 0 or more."
    else:
        rule = DataValidation(
            type="decimal", operator="between", formula1="-1E+30", formula2="1E+30"
        )
        rule.error = "A number."
    return _told(rule)


def _reading_rule(
    first: str, low: float | None = None, high: float | None = None
) -> DataValidation:
    """Accept a number, a flag word, or an off-scale reading; relative to its first cell."""
    ends = [f"{first}>={low!r}"] if low is not None else []
    ends += [f"{first}<={high!r}"] if high is not None else []
    number = f"AND({','.join([f'ISNUMBER({first})', *ends])})" if ends else f"ISNUMBER({first})"
    words = ",".join(f'LOWER({first})="{word}"' for word in FLAG_WORDS)
    rule = DataValidation(
        type="custom",
        formula1=f'OR({number},{words},LEFT({first},1)=">",LEFT({first},1)="<",'
        f'ISNUMBER(SEARCH(" to ",{first})))',
        errorStyle="warning",
    )
    between = _between_text(low, high)
    rule.error = f"A number{between}, or: gelled, lost, > 5000, < 5, 5 to 10."
    return _told(rule)


def _between_text(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return "" if low is high else f" up to {high:g}" if low is None else f" from {low:g}"
    return f" from {low:g} to {high:g}"


def _told(rule: DataValidation) -> DataValidation:
    rule.errorTitle = "Does not fit"
    rule.showErrorMessage, rule.allow_blank = True, True
    return rule


def actual_cell_value(ask: Ask, known: Mapping[tuple[str, str], Actual]) -> float | str | None:
    """Give what is known of an ask, as its cell shows it."""
    actual = known.get((fold(ask.unit), fold(ask.what)))
    if actual is None:
        return None
    if ask.kind == "word" or ask.what == DATE_DONE:
        return actual.value
    try:
        return float(actual.value)
    except ValueError:
        return actual.value
