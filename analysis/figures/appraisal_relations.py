"""Which estimates hang together: absolute correlations of the coefficients' estimates."""

from __future__ import annotations

import numpy as np

from analysis.figures.appraisal_subject import Pictured, whose
from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    LABEL_SIZE,
    PAPER,
    TICK_SIZE,
    as_axes,
    in_house_look,
    new_figure,
    settle,
)

_CELL = 0.24
_MARGIN = 2.6
_MOST_INCHES = 9.0
_CHARACTERS = 34
# Correlations from here on are written into their cells: half of the scatter is shared beyond 0.7.
_WRITTEN = 0.5


@in_house_look
def draw_relations(one: Pictured, *, which: str = "") -> Drawn:
    """Draw the absolute correlations of the estimates, the intercept left out.

    Args:
        one: A plan that can estimate the model.
        which: Its name, where there are two.
    """
    labels = list(one.appraisal.labels)
    shown = [j for j, label in enumerate(labels) if label != "intercept"]
    sizes = np.abs(one.appraisal.correlations[np.ix_(shown, shown)])
    names = [_short(labels[j]) for j in shown]
    p = len(shown)
    cell = min(_CELL, (_MOST_INCHES - _MARGIN) / max(p, 1))
    title = f"Which coefficients hang together, {one.appraisal.model.name} model{whose(which)}"
    figure = new_figure(_MARGIN + 0.7 + max(cell * p, 2.2), _MARGIN - 0.3 + cell * p, title)
    axes = as_axes(figure.subplots())
    below = np.ma.masked_where(~np.tri(p, dtype=bool), sizes)
    image = axes.imshow(below, cmap="Greys", vmin=0.0, vmax=1.0, aspect="equal")
    size = min(TICK_SIZE, 72 * cell * 0.72)
    for i in range(p):
        for j in range(i):
            if sizes[i, j] >= _WRITTEN:
                axes.annotate(
                    f"{sizes[i, j]:.1f}".lstrip("0") if sizes[i, j] < 0.95 else "1",
                    (j, i), ha="center", va="center", fontsize=size,
                    color=PAPER if sizes[i, j] > 0.6 else INK,
                )  # fmt: skip
    axes.set_xticks(range(p), names, rotation=90, fontsize=size)
    axes.set_yticks(range(p), names, fontsize=size)
    axes.tick_params(length=0, labelcolor=INK)
    for spine in axes.spines.values():
        spine.set_visible(False)
    bar = figure.colorbar(image, ax=axes, shrink=0.6, aspect=18, pad=0.02)
    bar.outline.set_visible(False)
    bar.ax.tick_params(labelsize=TICK_SIZE, color=FAINT_INK, labelcolor=INK, length=2)
    bar.set_label("absolute correlation of two estimates", fontsize=LABEL_SIZE, color=INK)
    return Drawn(
        name="correlation-of-estimates",
        kind="correlation of estimates",
        subject="",
        title=title,
        caption="Absolute correlations of the estimated coefficients under the covariance of "
        "batches, days and blocks; the intercept is left out, shares stand as L-pseudo-components. "
        "White: told apart fully; black: one takes the place of the other.",
        figure=settle(figure),
    )


def _short(label: str) -> str:
    return label if len(label) <= _CHARACTERS else f"{label[: _CHARACTERS - 1]}…"
