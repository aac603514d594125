"""The compromise of the models in use beside that of the full ones."""

from __future__ import annotations

from analysis.choice.with_full import WithFull
from analysis.report.rounding import percent, plain
from analysis.report.table import Cell, Table
from doe.study.sentence import listed


def with_full_table(found: WithFull | None) -> Table:
    """Set both compromises side by side; no rows where nothing was left out, or none is found."""
    full = None if found is None else found.compromise
    rows: list[tuple[Cell, ...]] = []
    if found is not None and full is not None:
        rows = [
            (
                Cell(text=move.setting),
                _setting(move.reduced),
                _setting(move.full),
                Cell(text=percent(move.part), value=move.part),
            )
            for move in found.moves
        ]
        two = (found.reduced_desirability, full.best.desirability)
        rows.append(
            (
                Cell(text="overall desirability"),
                *(Cell(text=plain(value, 3), value=value) for value in two),
                Cell(text=""),
            )
        )
    named = listed(list(found.responses)) if found is not None else ""
    return Table(
        name="with-full-models",
        title="What leaving terms out changes in the recipe.",
        head=("Setting", "Models in use", "Full models", "Apart, of its range"),
        rows=tuple(rows),
        note=f"Terms were left out for {named}. Each desirability is by its own models.",
    )


def _setting(value: float | str | None) -> Cell:
    if isinstance(value, str):
        return Cell(text=value)
    return Cell(text=plain(value), value=value)
