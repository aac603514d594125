"""Half-normal plots: of effects, one panel a stratum; and normal plots of what units add."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from scipy import stats

from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    OXIDE,
    ROOM,
    TICK_SIZE,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    sentence_case,
    settle,
)
from analysis.fits.assessment import UnitEffects
from analysis.fits.fit import Fit
from analysis.fits.half_normal import HalfNormal
from doe.model.strata import RESIDUAL
from doe.study.settings import FloatArray

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
    figure = new_figure(6.4 if len(found) == 1 else 8.2, 3.9, title)
    panels = figure.subplots(1, len(found), squeeze=False)
    for one, panel in zip(found, panels[0], strict=True):
        axes = as_axes(panel)
        sizes, scores = np.array(one.effects), np.array(one.scores)
        _points(axes, scores, sizes, np.array(one.upper), np.array(one.lower))
        far = np.array([size > top for size, top in zip(one.effects, one.upper, strict=True)])
        _names(axes, scores, sizes, one.labels, far)
        over = "Lenth's pseudo error" if one.by_lenth else "its standard error"
        told = "" if len(found) == 1 else f", told by {_tellers(one.stratum)}"
        label_axes(axes, f"half-normal score{told}", f"size of effect over {over}")
        axes.set_ylim(bottom=0.0)
    return Drawn(
        name=file_stem("half-normal", fit.response), kind="half-normal", subject=fit.response,
        title=title, caption=_effects_caption(), figure=settle(figure),
    )  # fmt: skip


@in_house_look
def draw_units(fit: Fit, found: Sequence[UnitEffects]) -> Drawn:
    """Draw what batches, days and other units are predicted to add over normal scores.

    Args:
        fit: The model.
        found: Strata with an envelope; at least one.
    """
    title = f"{sentence_case(fit.response)}: batches and days that differ by more than chance"
    figure = new_figure(6.4 if len(found) == 1 else 8.2, 3.9, title)
    panels = figure.subplots(1, len(found), squeeze=False)
    for one, panel in zip(found, panels[0], strict=True):
        axes = as_axes(panel)
        known = [i for i, t in enumerate(one.standardised) if t is not None]
        y = np.array([one.standardised[i] for i in known], dtype=np.float64)
        rank = np.argsort(y, kind="stable")
        # Blom (1958), as for the residuals of runs.
        scores = stats.norm.ppf((np.arange(1, len(y) + 1) - 3 / 8) / (len(y) + 1 / 4))
        low, high = np.array(one.envelope).T
        _points(axes, scores, y[rank], high, low)
        far = (y[rank] > high) | (y[rank] < low)
        labels = [f"{one.stratum} {one.labels[known[i]]}" for i in rank]
        _names(axes, scores, y[rank], labels, far)
        label_axes(axes, f"normal quantile, {one.stratum}", "studentised predicted effect")
    return Drawn(
        name=file_stem("units", fit.response), kind="units", subject=fit.response, title=title,
        caption=(
            "What each unit is predicted to add to its runs, over its standard deviation. Of units "
            "that differ by chance 95 % would lie between the dashed lines at each place "
            "(simulated); a bend tells of units of two kinds, a single one far off of a mishap."
        ),
        figure=settle(figure),
    )  # fmt: skip


def _points(axes: Axes, x: FloatArray, y: FloatArray, high: FloatArray, low: FloatArray) -> None:
    plain_axes(axes)
    for side in (low, high):
        axes.plot(x, side, color=OXIDE, linewidth=0.9, linestyle=_DASHED, zorder=1)
    far = (y > high) | (y < low)
    axes.scatter(x[~far], y[~far], s=18, color=ROOM, edgecolor=INK, linewidth=0.5, zorder=3)
    axes.scatter(x[far], y[far], s=24, marker="D", color=OXIDE, edgecolor=INK, linewidth=0.5)
    axes.axhline(0.0, color=FAINT_INK, linewidth=0.6, zorder=0)


def _names(
    axes: Axes, x: FloatArray, y: FloatArray, labels: Sequence[str], far: FloatArray
) -> None:
    chosen = [int(i) for i in np.argsort(-np.abs(y), kind="stable") if far[i]][:NAMED]
    for i in chosen:
        axes.annotate(
            labels[i], (float(x[i]), float(y[i])), xytext=(-6, 0), textcoords="offset points",
            ha="right", va="center", fontsize=TICK_SIZE, color=OXIDE,
        )  # fmt: skip


def _tellers(stratum: str) -> str:
    if stratum == RESIDUAL:
        return "runs"
    return f"{stratum}es" if stratum.endswith(("ch", "s", "sh")) else f"{stratum}s"


def _effects_caption() -> str:
    return (
        "Every effect by its size, over its error; the intercept and plain shares are left out. Of "
        "effects that are all nothing 95 % would lie below the upper and 95 % above the lower "
        "dashed line at each place (simulated). Diamonds lie outside and are named: what acts "
        "stands above the line that the small ones make."
    )
