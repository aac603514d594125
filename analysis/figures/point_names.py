"""Names beside points of a panel: never on a point, a line or one another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.transforms import Bbox

from analysis.figures.looks import FAINT_INK, OXIDE, TICK_SIZE, wrap
from doe.study.settings import FloatArray

# Longest line of a name, in letters.
LETTERS = 26
# Room round a point and between names, in pixels of the figure at its own resolution.
POINT, APART = 6.0, 2.0
# Rows tried above and below a point, a third of a line apart.
ROWS = 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Marked:
    """What a panel shows, in units of its axes; n points.

    Attributes:
        x: Shape (n,).
        y: Shape (n,).
        labels: Their names.
        lines: Heights of lines at every x, shape (n,) each: names keep off them.
    """

    x: FloatArray
    y: FloatArray
    labels: Sequence[str]
    lines: Sequence[FloatArray] = ()


def name_points(axes: Axes, marked: Marked, chosen: Sequence[int]) -> None:
    """Write the names of some points where there is room, with a thin line where it is far.

    Args:
        axes: A panel that is laid out once and for all.
        marked: All that it shows.
        chosen: Which points are named; one without room is left out.
    """
    places = axes.transData.transform(np.column_stack([marked.x, marked.y]))
    taken = [_round(x, y, POINT) for x, y in places]
    taken += [_round(x, y, 1.5) for line in marked.lines for x, y in _dots(axes, marked.x, line)]
    # From left to right: a name stands left of its point and leaves the next way up free.
    for i in sorted(chosen, key=lambda i: marked.x[i]):
        words = wrap(marked.labels[i], LETTERS)
        size = _size_of(axes, words)
        others = [box for j, box in enumerate(taken) if j != i]
        for box in _candidates(axes.bbox, places[i], size):
            lead = _lead(places[i], box)
            if not _is_free(box, lead, others, own=taken[i]):
                continue
            _write(axes, words, places[i], box)
            # Later names keep off the leading line, too.
            taken += [Bbox.from_extents(*_grown(box, APART)), *(_round(x, y, 1.0) for x, y in lead)]
            break


def _candidates(panel: Bbox, place: FloatArray, size: tuple[float, float]) -> Iterator[Bbox]:
    """Give boxes inside a panel, those beside the point first, then row by row further off."""
    (x, y), (width, height) = place, size
    gap = POINT + 2.0
    for row in range(ROWS):
        for side in (1, -1) if row else (1,):
            low = y - height / 2 + side * row * height / 3
            for left in (x - gap - width, x + gap, x - width / 2):
                left = min(max(left, panel.x0 + 2.0), panel.x1 - width - 2.0)
                if left >= panel.x0 and low >= panel.y0 + 2.0 and low + height <= panel.y1:
                    yield Bbox.from_bounds(left, low, width, height)


def _is_free(box: Bbox, lead: FloatArray, others: Sequence[Bbox], *, own: Bbox) -> bool:
    if box.overlaps(own) or any(box.overlaps(other) for other in others):
        return False
    return not any(other.contains(x, y) for other in others for x, y in lead)


def _lead(place: FloatArray, box: Bbox) -> FloatArray:
    """Give dots from a point to the nearest place of a box; none where it lies beside it."""
    end = np.array([np.clip(place[0], box.x0, box.x1), np.clip(place[1], box.y0, box.y1)])
    way = float(np.hypot(*(end - place)))
    if way <= POINT + 3.0:
        return np.zeros((0, 2))
    steps = np.linspace(0.0, 1.0, max(3, int(way / 3.0)))[:, None]
    dots: FloatArray = place + steps * (end - place)
    return dots


def _write(axes: Axes, words: str, place: FloatArray, box: Bbox) -> None:
    back = axes.transData.inverted()
    lead = _lead(place, box)
    if len(lead):
        ends = back.transform(lead[[0, -1]])
        axes.plot(*ends.T, color=FAINT_INK, linewidth=0.6, zorder=2, scalex=False, scaley=False)
    x, y = back.transform((box.x0, (box.y0 + box.y1) / 2))
    axes.text(x, y, words, ha="left", va="center", fontsize=TICK_SIZE, color=OXIDE)


def _size_of(axes: Axes, words: str) -> tuple[float, float]:
    """Measure a name in pixels."""
    figure = axes.figure.get_figure(root=True)
    assert figure is not None
    trial = axes.text(0.5, 0.5, words, transform=axes.transAxes, fontsize=TICK_SIZE)
    canvas: Any = FigureCanvasAgg(figure)
    box = trial.get_window_extent(canvas.get_renderer())
    trial.remove()
    return float(box.width), float(box.height)


def _dots(axes: Axes, x: FloatArray, line: FloatArray) -> FloatArray:
    """Give places all along a line, in pixels."""
    order = np.argsort(x, kind="stable")
    fine = np.linspace(float(x.min()), float(x.max()), 150)
    dots: FloatArray = axes.transData.transform(
        np.column_stack([fine, np.interp(fine, x[order], line[order])])
    )
    return dots


def _round(x: float, y: float, reach: float) -> Bbox:
    return Bbox.from_extents(x - reach, y - reach, x + reach, y + reach)


def _grown(box: Bbox, by: float) -> tuple[float, float, float, float]:
    return box.x0 - by, box.y0 - by, box.x1 + by, box.y1 + by
