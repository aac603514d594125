"""What costs production batches: each source, what would be gained without it, and where."""

from __future__ import annotations

import numpy as np
from matplotlib import colormaps
from matplotlib.patches import Rectangle

from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    LABEL_SIZE,
    PAPER,
    ROOM,
    SURFACE_MAP,
    TICK_SIZE,
    as_axes,
    in_house_look,
    new_figure,
    plain_axes,
    settle,
    wrap,
)
from analysis.risk.probability import Risk
from analysis.risk.words import of_hundred, source_words

# Sources that are drawn at most; the rest of them cost least.
MOST = 12
ROW = 0.34
DARK = 0.55


@in_house_look
def draw_risk_sources(risk: Risk) -> Drawn:
    """Draw bars of what each source costs, and beside them its part in each response."""
    found = risk.contributions[:MOST]
    names = [wrap(source_words(one.source, one.kind), 26) for one in found]
    title = "What keeps production batches from meeting every limit"
    figure = new_figure(7.6, 1.35 + ROW * len(found), title)
    left, right = figure.subplots(
        1, 2, sharey=True, width_ratios=[1.6, max(1.0, 0.45 * len(risk.per_response))]
    )
    bars, parts = as_axes(left), as_axes(right)
    plain_axes(bars)
    y = np.arange(len(found))
    gains = np.array([100.0 * one.gain.value for one in found])
    errors = np.array([100.0 * one.gain.error for one in found])
    bars.barh(y, gains, height=0.62, color=[ROOM if gain > 0 else FAINT_INK for gain in gains])
    bars.errorbar(gains, y, xerr=2.0 * errors, fmt="none", ecolor=INK, elinewidth=1.0, capsize=2)
    bars.axvline(0.0, color=INK, linewidth=0.8)
    bars.set_yticks(y, names)
    bars.tick_params(axis="y", labelsize=LABEL_SIZE)
    bars.invert_yaxis()
    bars.set_xlabel("batches of 100 gained without it", fontsize=LABEL_SIZE, color=INK)
    responses = [one.response for one in risk.per_response]
    share = np.array([[one.shares[name].by_formula for name in responses] for one in found])
    shades = colormaps[SURFACE_MAP]
    parts.set_xlim(-0.5, len(responses) - 0.5)
    for i, j in np.ndindex(share.shape):
        # Squares, not a picture of them: the page on paper takes lines and areas.
        parts.add_patch(Rectangle((j - 0.5, i - 0.5), 1, 1, facecolor=shades(share[i, j]), lw=0))
        parts.text(
            j, i, f"{100 * share[i, j]:.0f}", ha="center", va="center", fontsize=TICK_SIZE,
            color=INK if share[i, j] > DARK else PAPER,
        )  # fmt: skip
    parts.set_xticks(
        range(len(responses)), [wrap(name, 12) for name in responses], fontsize=TICK_SIZE
    )
    parts.tick_params(length=0, labelleft=False)
    parts.set_xlabel("% of its variance", fontsize=LABEL_SIZE, color=INK)
    for side in parts.spines.values():
        side.set_visible(False)
    meets = of_hundred(risk.probability.value, risk.probability.error)
    left_out = len(risk.contributions) - len(found)
    return Drawn(
        name="risk-sources",
        kind="risk sources",
        subject="",
        title=title,
        caption=(
            f"{meets} of 100 production batches meet every limit as tested. Bars: how many more "
            "would if one source were not there (the same draws without it; whiskers are ± 2 of "
            "the estimate's own errors). Cells: its part in the variance of each response's tested "
            "value, by formula."
            + (f" {left_out} sources that cost less are left out." if left_out else "")
        ),
        figure=settle(figure),
    )
