"""Text files of cells: encoding, separator and quotes, to a grid."""

from __future__ import annotations

import csv
import io

from doe.errors import ResultsError
from doe.study.grid import Grid
from doe.study.numerals import possible_decimals

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_AS_UTF8 = "Save it again as UTF-8 (in a spreadsheet: save as 'CSV UTF-8')."


def decode_text(data: bytes, source: str) -> str:
    """Read bytes as UTF-8, with or without byte order mark.

    Raises:
        ResultsError: They are in another encoding, which the error names.
    """
    if data.startswith(_UTF16) or b"\x00" in data:
        raise ResultsError(
            "the file is UTF-16 ('Unicode text'), or no text at all",
            where=source,
            allowed="UTF-8 text or an XLSX workbook",
            do=_AS_UTF8,
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        shown = data.split(b"\n")[line - 1].rstrip().decode("cp1252", "replace")[:60]
        raise ResultsError(
            f"the text is not UTF-8, probably Windows-1252 or Latin-1: '{shown}'",
            where=f"{source}, line {line}",
            allowed="UTF-8 text or an XLSX workbook",
            do=_AS_UTF8,
        ) from error


def text_grid(text: str, source: str) -> Grid:
    """Split a text into cells, by the separator that fits all lines.

    Raises:
        ResultsError: Two separators fit equally well, or a quote does not close.
    """
    hint, body = _separator_hint(text)
    if hint:
        return _split(body, source, hint, skipped=1)
    grids, errors = _readings(body, source)
    ranked = sorted(grids, key=_fit, reverse=True)
    if errors and not any(len(grid.rows[0]) > 1 for grid in grids):
        raise errors[0]
    best = ranked[0]
    rival = next((grid for grid in ranked[1:] if _fit(grid) == _fit(best)), None)
    if rival and best.rows and len(best.rows[0]) > 1:
        both = " and ".join(SEPARATORS[grid.separator] for grid in (best, rival))
        raise ResultsError(
            f"the columns may be separated by {both}, and both readings fit",
            where=source,
            do="Put quotes around cells that hold the other sign, or save the table as XLSX.",
        )
    return best


def _readings(text: str, source: str) -> tuple[list[Grid], list[ResultsError]]:
    """Split by each separator; those by which the text cannot be split give an error."""
    grids: list[Grid] = []
    errors: list[ResultsError] = []
    for separator in SEPARATORS:
        try:
            grids.append(_split(text, source, separator))
        except ResultsError as error:
            errors.append(error)
    return grids, errors


def _separator_hint(text: str) -> tuple[str | None, str]:
    """Take off the line `sep=;` that some spreadsheets write first."""
    first, _, rest = text.partition("\n")
    if first.lower().startswith("sep=") and first[4:].rstrip("\r") in SEPARATORS:
        return first[4:].rstrip("\r"), rest
    return None, text


def _split(text: str, source: str, separator: str, *, skipped: int = 0) -> Grid:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines: list[int] = []
    rows: list[tuple[str, ...]] = []
    start = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                lines.append(start + skipped)
                rows.append(tuple(cells))
            start = reader.line_num + 1
    except csv.Error as error:
        raise ResultsError(
            f"the line cannot be split into cells ({error})",
            where=f"{source}, line {start + skipped}",
            do='Look for a quote (") that opens and does not close.',
        ) from error
    return Grid(source=source, lines=tuple(lines), rows=tuple(rows), separator=separator)


def _fit(grid: Grid) -> tuple[int, float, int]:
    """Rank a reading: more than one column, lines of one length, cells that are numbers."""
    if not grid.rows:
        return (0, 0.0, 0)
    width = len(grid.rows[0])
    even = sum(len(row) == width for row in grid.rows) / len(grid.rows)
    numbers = sum(bool(possible_decimals(cell)) for row in grid.rows[1:] for cell in row)
    return (int(width > 1), even, numbers)
