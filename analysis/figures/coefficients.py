"""Coefficients of one response with their intervals, in the order of the model."""

from __future__ import annotations

import numpy as np
from scipy import stats

from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.fitted_scale import name_scale
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    ROOM,
    RULE,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    sentence_case,
    settle,
    with_unit,
    wrap,
)
from analysis.fits.fit import Fit
from doe.model.matrix import column_label
from doe.study.settings import FloatArray

WIDTH = 6.4
LABEL_CHARACTERS = 34


@in_house_look
def draw_coefficients(fit: Fit, *, level: float = 0.95) -> Drawn:
    """Draw every coefficient but the level of the whole surface, with its interval.

    Args:
        fit: The model.
        level: Confidence of the intervals, 0..1.

    Returns:
        One figure; blending terms of a package and the intercept share no scale with the other
        terms and are left to the table, which the caption says.
    """
    shown = _terms_shown(fit)
    labels = [wrap(column_label(fit.columns[i]), LABEL_CHARACTERS) for i in shown]
    estimates, low, high = _intervals(fit, shown, level)
    title = f"{sentence_case(fit.response)}: what each term of the model adds"
    heights = [0.22 + 0.11 * label.count("\n") for label in labels]
    figure = new_figure(WIDTH, 1.0 + sum(heights), title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    places = np.array(heights) / 2 - np.cumsum(heights)
    axes.axvline(0.0, color=FAINT_INK, linewidth=0.8, zorder=1)
    for y in places:
        axes.axhline(y, color=RULE, linewidth=0.4, zorder=0)
    clear = ((low > 0) | (high < 0)) & (high > low)
    axes.hlines(places, low, high, color=INK, linewidth=1.4, zorder=2)
    for told, face in ((clear, ROOM), (~clear, "#ffffff")):
        axes.scatter(
            estimates[told],
            places[told],
            s=26,
            facecolor=face,
            edgecolor=INK,
            linewidth=1.0,
            zorder=3,
        )
    axes.set_yticks(places, labels)
    axes.set_ylim(-sum(heights) - 0.1, 0.1)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    scale = name_scale(fit.response, fit.unit, fit.scale)
    label_axes(axes, f"coefficient, {with_unit(scale.short, scale.unit)}", "", x_width=60)
    return Drawn(
        name=file_stem("coefficients", fit.response),
        kind="coefficients",
        subject=fit.response,
        title=title,
        caption=_caption(fit, level, scale.short),
        figure=settle(figure),
    )


def _terms_shown(fit: Fit) -> list[int]:
    """Leave out intercept and pure blending columns, unless nothing else is there.

    The shape of a form is no coefficient and is told elsewhere.
    """
    shares = {axis.name for axis in fit.coding.shares}
    kept = []
    for i, column in enumerate(fit.columns):
        powers = column.term.powers
        is_level = not powers or (len(powers) == 1 and powers[0][0] in shares)
        if not is_level and not column.shape:
            kept.append(i)
    return kept or [i for i, column in enumerate(fit.columns) if not column.shape]


def _intervals(
    fit: Fit, shown: list[int], level: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    estimates = fit.coefficients[shown]
    errors = np.sqrt(np.diag(fit.covariance))[shown]
    df = fit.coefficient_df[shown]
    # No interval where no degree of freedom is left: the point stands alone.
    usable = np.isfinite(errors) & (df > 0)
    half = np.zeros_like(estimates)
    half[usable] = stats.t.ppf((1 + level) / 2, df[usable]) * errors[usable]
    return estimates, estimates - half, estimates + half


def _caption(fit: Fit, level: float, scale: str) -> str:
    pieces = [
        f"Points: estimates in coded units on the scale of {scale}; bars: {level:.0%} intervals.",
        "Filled points: the interval leaves zero out.",
    ]
    if fit.coding.shares and len(_terms_shown(fit)) < len(fit.columns):
        pieces.append("The blending terms carry the level of the surface and stand in the table.")
    elif len(_terms_shown(fit)) < len(fit.columns):
        pieces.append("The intercept stands in the table.")
    if fit.model.bend is not None:
        pieces.append(f"{fit.model.bend.factor} is bent by a form ({fit.model.bend.form}).")
    return " ".join(pieces)
