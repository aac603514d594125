"""Predicted against observed values of one response."""

from __future__ import annotations

import numpy as np

from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.fitted_scale import name_scale
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
    with_unit,
)
from analysis.fits.assessment import Assessment
from analysis.fits.fit import Fit

ROOM_AROUND = 0.06


@in_house_look
def draw_predicted_observed(fit: Fit, assessment: Assessment) -> Drawn:
    """Draw what the model gives for every run against what was measured, fitted scale."""
    rows = assessment.runs
    title = f"{sentence_case(fit.response)}: predicted against observed"
    figure = new_figure(4.6, 4.3, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    observed = np.array([row.observed for row in rows], dtype=np.float64)
    fitted = np.array([row.fitted for row in rows], dtype=np.float64)
    both = np.concatenate([observed, fitted])
    low, high = float(both.min()), float(both.max())
    margin = ROOM_AROUND * (high - low or 1.0)
    ends = (low - margin, high + margin)
    axes.plot(ends, ends, color=FAINT_INK, linewidth=0.8, zorder=1)
    control = np.array([row.control is not None for row in rows], dtype=np.bool_)
    axes.scatter(
        fitted[~control],
        observed[~control],
        s=20,
        color=ROOM,
        edgecolor=INK,
        linewidth=0.5,
        zorder=3,
    )
    axes.scatter(
        fitted[control], observed[control], s=22, marker="s", facecolor="#ffffff", edgecolor=INK,
        linewidth=0.9, zorder=3,
    )  # fmt: skip
    out = {outlier.run for outlier in assessment.outliers}
    for row in rows:
        if row.run in out:
            axes.annotate(
                f"run {row.run}", (row.fitted, row.observed), xytext=(6, 0), va="center",
                textcoords="offset points", fontsize=TICK_SIZE, color=OXIDE,
            )  # fmt: skip
    axes.set_xlim(*ends)
    axes.set_ylim(*ends)
    axes.set_aspect("equal")
    scale = name_scale(fit.response, fit.unit, fit.scale)
    name = with_unit(scale.short, scale.unit)
    label_axes(axes, f"predicted {name}", f"observed {name}")
    return Drawn(
        name=file_stem("predicted-observed", fit.response),
        kind="predicted against observed",
        subject=fit.response,
        title=title,
        caption=(
            "One point a run, mean of its readings; open squares are controls. On the line the "
            "model gives just what was measured."
        ),
        figure=settle(figure),
    )
