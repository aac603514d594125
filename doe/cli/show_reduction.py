"""How a reduced model and its full one look in the terminal."""

from __future__ import annotations

from analysis.fits.reduction import Reduction
from analysis.report.reduction_table import beside_full_table, near_models_table
from analysis.report.table import Table
from doe.cli.screen import paragraph, text_table


def show_reduction(response: str, reduction: Reduction | None) -> list[str]:
    """Give the models side by side, then those nearly as good; nothing without a reduction."""
    tables = (beside_full_table(response, reduction), near_models_table(response, reduction))
    return [_shown(table) for table in tables if table.rows]


def _shown(table: Table) -> str:
    heads = [head.lower() if head[:2] != "AI" else head for head in table.head]
    rows = [[cell.text for cell in row] for row in table.rows]
    note = [paragraph(table.note)] if table.note else []
    return "\n".join([table.title, text_table(heads, rows), *note])
