"""Which column of a foreign table is what: known names, slips of the pen, and the rest."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from doe.errors import Fault
from doe.study.finding import Finding
from doe.study.names import fold, match_name
from doe.study.tables import Table

# Below this likeness a suggestion misleads more often than it helps.
_ALIKE = 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnMatch:
    """How the columns of a table were understood.

    Attributes:
        found: The column that holds each expected name, by that name as the brief spells it.
        missing: Expected names without a column.
        unknown: Columns that are none of the expected.
        suggestions: The missing name that an unknown column probably means, by column.
    """

    found: dict[str, str]
    missing: tuple[str, ...]
    unknown: tuple[str, ...]
    suggestions: dict[str, str]

    def misspelt(self, table: Table) -> list[Fault]:
        """Name the columns that look like slips of the pen."""
        return [
            Fault(
                where=f"{table.source}, column '{column}'",
                what=f"the brief has no '{column}', and the table no '{name}'",
                do=f"Is '{name}' meant? Name the column so, or take it out.",
            )
            for column, name in self.suggestions.items()
        ]

    def left_aside(self, table: Table) -> list[Finding]:
        """Name the columns that nothing is made of."""
        rest = [name for name in self.unknown if name not in self.suggestions]
        if not rest:
            return []
        listed = ", ".join(f"'{name}'" for name in rest)
        what = f"{table.source}: left aside, as the brief does not name them: {listed}."
        return [Finding(level="note", what=what, evidence={"columns": len(rest)})]


def match_columns(table: Table, expected: Sequence[str], others: Iterable[str]) -> ColumnMatch:
    """Match the columns of a table to names.

    Args:
        table: The table.
        expected: Names that the table should have.
        others: Names that it may have.
    """
    found = {name: column for name in expected if (column := table.find(name)) is not None}
    missing = [name for name in expected if name not in found]
    known = {fold(name) for name in (*expected, *others)}
    unknown = [column for column in table.names if fold(column) not in known]
    suggestions: dict[str, str] = {}
    for column in unknown:
        open_names = [name for name in missing if name not in suggestions.values()]
        if (meant := _meant(column, open_names)) is not None:
            suggestions[column] = meant
    return ColumnMatch(
        found=found, missing=tuple(missing), unknown=tuple(unknown), suggestions=suggestions
    )


def _meant(column: str, names: Sequence[str]) -> str | None:
    """Find the name that a column probably means; names that differ in digits are different."""
    bare = re.sub(r"\s*[(\[][^)\]]*[)\]]\s*$", "", column)
    if bare and (exact := match_name(bare, names)) is not None:
        return exact
    digits = re.findall(r"\d+", fold(column))
    like = {fold(name): name for name in names if re.findall(r"\d+", fold(name)) == digits}
    close = difflib.get_close_matches(fold(column), like, n=1, cutoff=_ALIKE)
    return like[close[0]] if close else None
