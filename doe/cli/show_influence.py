"""How the influence of runs on the compromise looks in the terminal."""

from __future__ import annotations

from analysis.choice.influential import InfluenceOnChoice
from analysis.report.influence_table import influence_table
from doe.cli.screen import paragraph, text_table


def show_influence(found: InfluenceOnChoice) -> str:
    """Show the units that move the compromise furthest, a few of each kind."""
    table = influence_table(found)
    if not table.rows:
        return "No run could be left out."
    rows = [[cell.text for cell in row] for row in table.rows]
    heads = [head[:1].lower() + head[1:] for head in table.head]
    return f"{table.title}\n{text_table(heads, rows)}\n\n{paragraph(table.note)}"
