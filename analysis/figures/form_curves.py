"""A response along one factor: the form and the polynomial, with the runs."""

from __future__ import annotations

import numpy as np

from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    BAND,
    FAINT_INK,
    INK,
    LABEL_SIZE,
    OXIDE,
    PAPER,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    sentence_case,
    settle,
    with_unit,
)
from analysis.surface.form_lines import FormLines

WIDTH, HEIGHT = 5.6, 3.7


@in_house_look
def draw_form_curves(lines: FormLines, *, held: str) -> Drawn:
    """Draw both curves over the factor's range.

    Args:
        lines: The curves and the runs.
        held: Where the other settings stand, a phrase.
    """
    bend = lines.bend
    title = f"{sentence_case(lines.response)} over {bend.factor}: {bend.form} or polynomial"
    figure = new_figure(WIDTH, HEIGHT, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    low, high = lines.form_interval[:, 0], lines.form_interval[:, 1]
    if np.all(np.isfinite(lines.form_interval)):
        axes.fill_between(lines.at, low, high, color=BAND, linewidth=0, zorder=1)
    axes.plot(
        lines.at, lines.form_value, color=INK, linewidth=1.7, zorder=3,
        label=f"form: {bend.form}",
    )  # fmt: skip
    axes.plot(
        lines.at, lines.polynomial_value, color=OXIDE, linewidth=1.3, linestyle=(0, (5, 3)),
        zorder=2, label=f"polynomial: {lines.polynomial} model",
    )  # fmt: skip
    axes.scatter(
        lines.runs_at, lines.runs_value, s=20, facecolor=PAPER, edgecolor=FAINT_INK,
        linewidth=1.0, zorder=4, label="runs", clip_on=False,
    )  # fmt: skip
    axes.set_xlim(float(lines.at[0]), float(lines.at[-1]))
    label_axes(
        axes, with_unit(bend.factor, lines.factor_unit), with_unit(lines.response, lines.unit)
    )
    figure.legend(loc="outside lower center", ncols=3, frameon=False, fontsize=LABEL_SIZE)
    return Drawn(
        name=file_stem("form", lines.response, bend.factor),
        kind="form",
        subject=lines.response,
        title=title,
        caption=_caption(lines, held),
        figure=settle(figure),
    )


def _caption(lines: FormLines, held: str) -> str:
    used = "form" if lines.in_use else "polynomial"
    return (
        f"{lines.bend.kind.formula}; the {used} is the model in use. Other settings {held}. The "
        f"band holds the true value by the form with {100 * lines.level:g} % confidence, the "
        "uncertainty of its shape included. A run stands where the form puts it at these other "
        "settings, its own residual added."
    )
