"""Days, batches, samples and panels as a foreign table names them, turned into our numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from doe.study.finding import Finding
from doe.study.numerals import parse_number
from doe.study.tables import Table


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitColumn:
    """One column of units.

    Attributes:
        numbers: Number of each row's unit, None where the cell is blank.
        labels: The table's own label of each number; empty where it had numbers.
        findings: What was made of the labels.
    """

    numbers: tuple[int | None, ...]
    labels: dict[int, str]
    findings: tuple[Finding, ...] = ()


def unit_column(table: Table, name: str) -> UnitColumn:
    """Read a column of units: whole numbers as they are, any other labels in order of coming."""
    texts = [table.text(i, name) for i in range(len(table))]
    if table.find(name) is None:
        return UnitColumn(numbers=(None,) * len(table), labels={})
    whole = [_whole(text, table) for text in texts]
    if all(number is not None for number, text in zip(whole, texts, strict=True) if text):
        return UnitColumn(numbers=tuple(whole), labels={})
    ranks = {label: i for i, label in enumerate(_in_order(texts), start=1)}
    return UnitColumn(
        numbers=tuple(ranks.get(text) for text in texts),
        labels={number: label for label, number in ranks.items()},
        findings=(
            Finding(
                level="note",
                what=f"{table.source}: the labels of '{name}' are numbered in order of coming, "
                f"from '{texts[0] or next(iter(ranks))}' on.",
                evidence={label: number for label, number in ranks.items()},
            ),
        ),
    )


def plain_label(text: str, table: Table) -> str:
    """Write a label without the decimals that a spreadsheet gave a whole number."""
    number = _whole(text, table)
    return text if number is None else str(number)


def _whole(text: str, table: Table) -> int | None:
    value = parse_number(text, table.decimal)
    return int(value) if value is not None and value >= 1 and value == int(value) else None


def _in_order(texts: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(text for text in texts if text))
