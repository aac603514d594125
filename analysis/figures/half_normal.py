"""Half-normal plots: of effects, one panel a stratum; and normal plots of what units add."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from scipy import stats

from analysis.figures.contour_marks import add_legend
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    OXIDE,
    ROOM,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    sentence_case,
    settle,
)
from analysis.figures.point_names import Marked, name_points
from analysis.fits.assessment import UnitEffects
from analysis.fits.fit import Fit
from analysis.fits.half_normal import HalfNormal
from doe.model.strata import RESIDUAL
from doe.study.settings import BoolArray, FloatArray

# Names written on a panel, largest effects first.
NAMED = 6
_DASHED = (0, (5, 3))


@in_house_look
def draw_half_normal(fit: Fit, found: Sequence[HalfNormal]) -> Drawn:
    """Draw the sizes of effects over half-normal scores, one panel a stratum.

    Args:
        fit: The model.
        found: Its effects by stratum; at least one.
    """
    title = f"{sentence_case(fit.response)}: which effects stand out of chance"
    figure, panels = _panels(title, len(found))
    marked: list[Marked] = []
    for one, axes in zip(found, panels, strict=True):
        sizes, scores = np.array(one.effects), np.array(one.scores)
        ends = np.array(one.upper), np.array(one.lower)
        _points(axes, scores, sizes, *ends)
        marked.append(Marked(x=scores, y=sizes, labels=one.labels, lines=ends))
        over = "Lenth's pseudo error" if one.by_lenth else "its standard error"
        told = "" if len(found) == 1 else f", told by {_tellers(one.stratum)}"
        label_axes(axes, f"half-normal score{told}", f"size of effect over {over}")
        axes.set_ylim(bottom=0.0)
    add_legend(figure, _keys("effects"), columns=3)
    settle(figure)
    for axes, points in zip(panels, marked, strict=True):
        high, _ = points.lines
        _names(axes, points, points.y > high)
    return Drawn(
        name=file_stem("half-normal", fit.response), kind="half-normal", subject=fit.response,
        title=title, caption=_effects_caption(), figure=figure,
    )  # fmt: skip


@in_house_look
def draw_units(fit: Fit, found: Sequence[UnitEffects]) -> Drawn:
    """Draw what batches, days and other units are predicted to add over normal scores.

    Args:
        fit: The model.
        found: Strata with an envelope; at least one.
    """
    title = f"{sentence_case(fit.response)}: batches and days that differ by more than chance"
    figure, panels = _panels(title, len(found))
    marked: list[Marked] = []
    for one, axes in zip(found, panels, strict=True):
        known = [i for i, t in enumerate(one.standardised) if t is not None]
        y = np.array([one.standardised[i] for i in known], dtype=np.float64)
        rank = np.argsort(y, kind="stable")
        # Blom (1958), as for the residuals of runs.
        scores = stats.norm.ppf((np.arange(1, len(y) + 1) - 3 / 8) / (len(y) + 1 / 4))
        low, high = np.array(one.envelope).T
        _points(axes, scores, y[rank], high, low)
        labels = [f"{one.stratum} {one.labels[known[i]]}" for i in rank]
        marked.append(Marked(x=scores, y=y[rank], labels=labels, lines=(high, low)))
        label_axes(axes, f"normal quantile, {one.stratum}", "studentised predicted effect")
    add_legend(figure, _keys("units"), columns=3)
    settle(figure)
    for axes, points in zip(panels, marked, strict=True):
        high, low = points.lines
        _names(axes, points, (points.y > high) | (points.y < low))
    return Drawn(
        name=file_stem("units", fit.response), kind="units", subject=fit.response, title=title,
        caption=(
            "What each unit is predicted to add to its runs, over its standard deviation. Of units "
            "that differ by chance 95 % would lie between the dashed lines at each place "
            "(simulated); a bend tells of units of two kinds, a single one far off of a mishap. "
            "Each is held against those of its own rank: one near zero lies outside where chance "
            "would have put the unit of that rank elsewhere, which tells of the pattern of all "
            "units more than of itself."
        ),
        figure=figure,
    )  # fmt: skip


def _panels(title: str, count: int) -> tuple[Figure, list[Axes]]:
    """Open a figure with one panel a stratum, beside each other."""
    figure = new_figure(6.4 if count == 1 else 8.2, 4.2, title)
    return figure, [as_axes(panel) for panel in figure.subplots(1, count, squeeze=False)[0]]


def _points(axes: Axes, x: FloatArray, y: FloatArray, high: FloatArray, low: FloatArray) -> None:
    plain_axes(axes)
    for side in (low, high):
        axes.plot(x, side, color=OXIDE, linewidth=0.9, linestyle=_DASHED, zorder=1)
    far = (y > high) | (y < low)
    axes.scatter(x[~far], y[~far], s=18, color=ROOM, edgecolor=INK, linewidth=0.5, zorder=3)
    axes.scatter(x[far], y[far], s=24, marker="D", color=OXIDE, edgecolor=INK, linewidth=0.5)
    axes.axhline(0.0, color=FAINT_INK, linewidth=0.6, zorder=0)


def _names(axes: Axes, points: Marked, far: BoolArray) -> None:
    chosen = [int(i) for i in np.argsort(-np.abs(points.y), kind="stable") if far[i]][:NAMED]
    name_points(axes, points, chosen)


def _keys(what: str) -> list[Artist]:
    """Make the keys of both figures."""
    look: dict[str, Any] = {"markeredgecolor": INK, "markeredgewidth": 0.5, "linestyle": "none"}
    return [
        Line2D([], [], color=OXIDE, linewidth=0.9, linestyle=_DASHED,
               label=f"95 % of {what} that differ by chance lie between"),
        Line2D([], [], marker="D", markersize=5, color=OXIDE, label="outside", **look),
        Line2D([], [], marker="o", markersize=4.5, color=ROOM, label="as chance spreads", **look),
    ]  # fmt: skip


def _tellers(stratum: str) -> str:
    if stratum == RESIDUAL:
        return "runs"
    return f"{stratum}es" if stratum.endswith(("ch", "s", "sh")) else f"{stratum}s"


def _effects_caption() -> str:
    return (
        "Every effect by its size, over its error; the intercept and plain shares are left out. Of "
        "effects that are all nothing 95 % would lie below the upper and 95 % above the lower "
        "dashed line at each place (simulated). Diamonds lie outside; the six largest are named: "
        "what acts stands above the line that the small ones make."
    )
