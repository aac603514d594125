"""Cox traces: what a response does as each additive takes more or less of the package."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.figures.contour_marks import add_legend
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    FAINT_INK,
    INK,
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
from analysis.surface.cox import CoxTrace

# Colours and strokes together, so that curves are told apart in grey as well.
# Source: Okabe and Ito (2008), Color Universal Design.
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#1f2328")
STROKES = ("-", "--", "-.", ":", (0, (5, 1)), (0, (3, 1, 1, 1)), (0, (1, 1)))
KEY_CHARACTERS = 44


@in_house_look
def draw_cox_traces(traces: Sequence[CoxTrace], *, held: str) -> Drawn:
    """Draw one curve an additive on one axis of change in share.

    Args:
        traces: Traces of one response; one at least.
        held: Where the settings stand that are no shares, a phrase.
    """
    response, unit, level = traces[0].response, traces[0].unit, traces[0].level
    title = f"{sentence_case(response)}: what more of each additive does"
    figure = new_figure(6.0, 4.4 + 0.18 * len(traces), title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    axes.axvline(0.0, color=FAINT_INK, linewidth=0.7, zorder=1)
    keys = []
    for i, trace in enumerate(traces):
        colour, stroke = COLOURS[i % len(COLOURS)], STROKES[i % len(STROKES)]
        away = trace.share - trace.reference
        axes.fill_between(
            away, trace.low, trace.high, color=colour, alpha=0.13, linewidth=0, zorder=2
        )
        (line,) = axes.plot(
            away, trace.value, color=colour, linestyle=stroke, linewidth=1.8, zorder=3,
            label=wrap(trace.additive, KEY_CHARACTERS),
        )  # fmt: skip
        keys.append(line)
    here = float(np.interp(traces[0].reference, traces[0].share, traces[0].value))
    axes.plot([0.0], [here], marker="o", markersize=5, color=INK, zorder=5)
    label_axes(axes, "change of its share of the package", with_unit(response, unit))
    add_legend(figure, list(keys), columns=1)
    return Drawn(
        name=file_stem("cox", response),
        kind="additives",
        subject=response,
        title=title,
        caption=(
            "Each curve moves the share of one additive from the blend at the dot, over what the "
            "brief allows, the others giving way in their own ratios (Cox's direction); settings "
            f"that are no shares {held}. Bands hold the true value with {level:.0%} confidence. "
            "Shares at the dot: "
            + "; ".join(f"{t.additive} {t.reference:.3f}" for t in traces)
            + "."
        ),
        figure=settle(figure),
    )
