"""Levels of a choice, compared between their range middles and at equal real value."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.fits.fit import Fit
from analysis.fits.scales import scale_words
from analysis.report.rounding import error_text, p_text, plain, with_error
from analysis.report.table import Cell, Table
from analysis.surface.level_comparison import LevelComparison

MIDDLES = "range middles"
HEAD = ("Levels", "Compared at", "First", "Second", "Difference", "Standard error", "p")


def comparison_table(fit: Fit, comparisons: Sequence[LevelComparison]) -> Table:
    """List each pair of levels between the range middles and, beside it, at equal real value."""
    return Table(
        name=f"{fit.response} levels",
        title=f"{fit.response}: levels that have their own ranges, compared in pairs.",
        head=HEAD,
        rows=tuple(
            tuple(Cell(text=text, value=value) for text, value in comparison_cells(one))
            for one in comparisons
        ),
        words=2,
        note=(
            f"First and second are the {fit.value_is} that the model gives"
            f"{f', {fit.unit}' if fit.unit else ''}; the difference is on the fitted scale "
            f"({scale_words(fit.scale)}). Other settings stand in the middle, other choices are "
            "averaged. Each p is for its pair alone."
        ),
    )


def comparison_cells(one: LevelComparison) -> tuple[tuple[str, float | None], ...]:
    """Give the cells of one comparison, text and value, in the order of `HEAD`."""
    levels = f"{one.levels[0]} − {one.levels[1]}"
    if one.estimate is None or one.values is None:
        return ((levels, None), (one.why_not, None), *[("–", None)] * (len(HEAD) - 2))
    return (
        (levels, None),
        (_place(one), None),
        *((plain(value, 3), value) for value in one.values),
        (with_error(one.estimate, one.std_error), one.estimate),
        (error_text(one.std_error), one.std_error),
        (p_text(one.p), one.p),
    )


def _place(one: LevelComparison) -> str:
    if one.value is None:
        return MIDDLES
    return f"{one.setting} {plain(one.value, 3)} {one.unit}".rstrip()
