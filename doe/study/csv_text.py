"""CSV as we write it: commas, decimal points, no text that a spreadsheet would run."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from doe.study.numerals import number_text

# A spreadsheet runs text that begins so as a formula; the full-width forms count in some of them.
_FORMULA = re.compile(r"(?P<guards>'*)[=+\-@\t\r\n＝＋－＠]")


def write_csv(names: Sequence[str], rows: Iterable[Sequence[str | float | int | None]]) -> str:
    r"""Write a table as CSV: commas, decimal points, one line feed a row.

    Numbers are printed so that they read back the same; None and NaN are blank; text that a
    spreadsheet would run as a formula gets an apostrophe before it, which `read_table` with
    `ours` takes off again.

    Raises:
        ValueError: A number is infinite.

    Example:
        >>> write_csv(["run", "pH"], [[1, 8.5], [2, None]])
        'run,pH\n1,8.5\n2,\n'
    """
    lines = [[guard_text(name) for name in names]]
    lines.extend([_cell_text(cell) for cell in row] for row in rows)
    return "".join(",".join(_quoted(cell) for cell in line) + "\n" for line in lines)


def guard_text(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would run as a formula.

    Example:
        >>> guard_text("=1+1"), guard_text("dose")
        ("'=1+1", 'dose')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def restore_text(text: str) -> str:
    """Undo `guard_text`."""
    match = _FORMULA.match(text)
    return text[1:] if match and match["guards"] else text


def _cell_text(cell: str | float | int | None) -> str:
    if cell is None or cell != cell:  # NaN alone differs from itself
        return ""
    return guard_text(cell) if isinstance(cell, str) else number_text(cell)


def _quoted(cell: str) -> str:
    if any(sign in cell for sign in ',;"\t\r\n'):
        return '"' + cell.replace('"', '""') + '"'
    return cell
