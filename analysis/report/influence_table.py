"""What leaving out runs, batches and days does to the compromise, as a table."""

from __future__ import annotations

from analysis.choice.influential import Influence, InfluenceOnChoice
from analysis.report.rounding import percent, plain
from analysis.report.table import Cell, Table

# Rows a kind on page and screen; the CSV and `choose --json` hold more.
MOST_ROWS = 5


def influence_table(found: InfluenceOnChoice | None, most: int | None = MOST_ROWS) -> Table:
    """List the units that move the compromise furthest, runs first; no rows without any.

    Args:
        found: The influence of every unit.
        most: Rows a kind at most; None for all.
    """
    units = _first_of_each(found, most) if found is not None else ()
    settings = [move.setting for move in units[0].moves] if units else []
    names = (
        [f"{m.setting} ({m.unit})" if m.unit else m.setting for m in units[0].moves]
        if units
        else []
    )
    return Table(
        name="influence",
        title="The compromise without single runs, batches and days.",
        head=("Without", *names, "Furthest move", "Desirability there", "of the present recipe"),
        rows=tuple(_row(one, settings) for one in units),
        note=_note(found) if units else "",
    )


def _first_of_each(found: InfluenceOnChoice, most: int | None) -> tuple[Influence, ...]:
    kinds = dict.fromkeys(one.unit.kind for one in found.units)
    return tuple(
        one
        for kind in kinds
        for one in [unit for unit in found.units if unit.unit.kind == kind][:most]
    )


def _row(one: Influence, settings: list[str]) -> tuple[Cell, ...]:
    after = {move.setting: move.after for move in one.moves}
    return (
        Cell(text=one.unit.words),
        *(_setting(after.get(name)) for name in settings),
        Cell(text=percent(one.reach), value=one.reach),
        Cell(text=plain(one.desirability, 3), value=one.desirability),
        Cell(text=plain(one.at_present, 3), value=one.at_present),
    )


def _setting(value: float | str | None) -> Cell:
    if value is None:
        return Cell(text="–")
    return Cell(text=value) if isinstance(value, str) else Cell(text=plain(value, 3), value=value)


def _note(found: InfluenceOnChoice | None) -> str:
    if found is None:
        return ""
    note = (
        "Every response is fitted again without the unit, and the compromise chosen again, before "
        "the steps of the bench. The furthest move is a part of the range of that setting; both "
        f"desirabilities are by the models without the unit. With all runs: {found.present:.3f}."
    )
    if any(one.not_fitted for one in found.units):
        note += " Where the other runs cannot carry a model, that of all runs stands in."
    return note
