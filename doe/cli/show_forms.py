"""How forms beside a polynomial look in the terminal."""

from __future__ import annotations

from analysis.fits.forms.values import FormComparison
from analysis.report.form_table import form_table, untried_words
from doe.cli.screen import paragraph, text_table


def show_forms(response: str, found: FormComparison | None) -> list[str]:
    """Give the table of what was compared, or why nothing was; nothing without a factor for it."""
    table = form_table(response, found)
    if not table.rows:
        words = untried_words(found)
        return [paragraph(words)] if words else []
    heads = [head if head.startswith("AIC") else head.lower() for head in table.head]
    rows = [[cell.text for cell in row] for row in table.rows]
    return ["\n".join([table.title, text_table(heads, rows), paragraph(table.note)])]
