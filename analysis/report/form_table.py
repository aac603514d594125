"""The polynomial of a response beside forms of one factor, as a table and in words."""

from __future__ import annotations

from analysis.fits.forms.values import POLYNOMIAL, ComparedForm, FormComparison, FormShape
from analysis.fits.scales import scale_words
from analysis.report.rounding import plain
from analysis.report.table import Cell, Table
from doe.study.sentence import listed


def form_table(response: str, found: FormComparison | None) -> Table:
    """List the ways in which a factor may enter; no rows where no form could be fitted."""
    rows = []
    is_compared = found is not None and any(one.aicc is not None for one in found.compared[1:])
    if found is not None and is_compared:
        rows = [_row(one, found) for one in found.compared]
    left_out = found.left_out if found is not None and found.left_out else "unit"
    return Table(
        name=f"{response} forms",
        title=f"{response}: polynomial and forms.",
        head=("Way", "AICc", f"Error of a {left_out} left out", "Remark"),
        rows=tuple(rows),
        note="" if found is None or not rows else _note(found),
    )


def untried_words(found: FormComparison | None) -> str:
    """Say why no form could be compared, a sentence a factor; empty where one could."""
    if found is None or any(one.aicc is not None for one in found.compared[1:]):
        return ""
    first: dict[str, str] = {}
    for one in found.compared[1:]:
        first.setdefault(one.factor, one.why_not)
    return " ".join(f"No form of {factor}: {why}." for factor, why in first.items() if why)


def shape_words(shape: tuple[FormShape, ...]) -> str:
    """Say the shape of a form with its intervals.

    Example:
        >>> shape_words((FormShape(name="rate", value=0.0389, unit="1/min", std_error=0.003,
        ...                        interval=(0.033, 0.045)),))
        'rate 0.0389 1/min (0.033 to 0.045)'
    """
    return "; ".join(_one_shape(one) for one in shape)


def _one_shape(one: FormShape) -> str:
    low, high = (plain(end, 3) if end is not None else "open" for end in one.interval)
    head = f"{one.name} {plain(one.value, 3)} {one.unit}".rstrip()
    return f"{head} ({low} to {high})"


def _row(one: ComparedForm, found: FormComparison) -> tuple[Cell, ...]:
    remark = one.why_not
    if one.form == found.in_use:
        remark = "in use"
    elif found.better is not None and one.form == found.better.form:
        remark = "better by both"
    error = one.left_out_rmse
    way = f"{POLYNOMIAL} ({found.polynomial.model.name})" if one.form == POLYNOMIAL else one.form
    return (
        Cell(text=way),
        Cell(text="–" if one.aicc is None else f"{one.aicc:.2f}", value=one.aicc),
        Cell(text="–" if error is None else plain(error, 3), value=error),
        Cell(text=remark),
    )


def _note(found: FormComparison) -> str:
    scale, fit = found.polynomial.scale, found.polynomial
    unit = f" in {fit.unit}" if scale.name == "identity" and fit.unit else ""
    parts = [
        f"Errors are root mean squares of what is left out in turn{unit}, on the fitted scale "
        f"({scale_words(scale)}); AICc is by the plain likelihood, shape parameters counted."
    ]
    if found.shape and found.best is not None and found.best.model.bend is not None:
        bend = found.best.model.bend
        parts.append(
            f"{bend.factor}: {bend.form} is {bend.kind.formula}, {shape_words(found.shape)}."
        )
    open_ = [one.name for one in found.shape if None in one.interval]
    if open_:
        parts.append(f"An open end of the {listed(open_)} is not told by the runs.")
    return " ".join(parts)
