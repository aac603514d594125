"""The formula of a method, made live in the row of a sheet."""

from __future__ import annotations

import re
from collections.abc import Mapping

from doe.sheets.bench_tests import Asked
from doe.study.names import fold

_BRACES = re.compile(r"\{([^{}]*)\}")
_OPTION = "option:"
# What the cell says where the spreadsheet finds no number, as in a division by nought.
NO_VALUE = "no value"


def row_formula(asked: Asked, cells: Mapping[str, str]) -> str:
    """Write the formula of a response for one row.

    Args:
        asked: The response and its method.
        cells: The cell of each raw column in this row, by folded name.

    Returns:
        A formula, blank while one of its cells holds no number; empty where the method has none,
        or an option of it has no number.

    Example:
        `100*({wet}-{dry})/{dry}` with the cells F4 and G4 becomes
        `=IF(AND(ISNUMBER(F4),ISNUMBER(G4)),IFERROR(100*(F4-G4)/G4,"no value"),"")`.
    """
    names = _BRACES.findall(asked.method.formula)
    filled = {name: _filled(name, asked, cells) for name in names}
    if not names or None in filled.values():
        return ""
    body = _BRACES.sub(lambda match: str(filled[match[1]]), asked.method.formula).lstrip("= ")
    used = [cell for name, cell in filled.items() if cell and not _is_option(name)]
    there = ",".join(f"ISNUMBER({cell})" for cell in used)
    return f'=IF(AND({there}),IFERROR({body},"{NO_VALUE}"),"")' if used else ""


def _is_option(name: str) -> bool:
    return fold(name).startswith(_OPTION)


def _filled(name: str, asked: Asked, cells: Mapping[str, str]) -> str | None:
    """Give the cell, number or quoted word that stands for a name in braces; None without one."""
    if not _is_option(name):
        return cells.get(fold(name))
    option = fold(name).removeprefix(_OPTION).strip()
    number = asked.option(option)
    if (word := asked.word(option)) is not None:
        return f'"{word}"'
    if number is None:
        return None
    return f"({number!r})" if number < 0 else repr(number)
