"""Names of points: where there is room, and left out where there is none."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg

from analysis.figures.looks import as_axes, house_look, new_figure, plain_axes, settle
from analysis.figures.point_names import Marked, name_points


def test_names_of_crowded_points_keep_off_points_and_one_another() -> None:
    """Five points in a row nearer to each other than their names are long."""
    x, y = np.array([0.1, 0.3, 0.4, 0.5, 0.6, 2.0]), np.array([1.0, 2.0, 2.1, 2.1, 2.2, 16.0])
    labels = ["pH", "grind time²", "dose × grind time", "dose × pH", "pH × grind time", "dose"]
    with house_look():
        figure = new_figure(6.4, 3.9, "Crowded")
        axes = as_axes(figure.subplots())
        plain_axes(axes)
        axes.scatter(x, y)
        settle(figure)
        name_points(axes, Marked(x=x, y=y, labels=labels), [5, 4, 3, 2, 1, 0])
        canvas: Any = FigureCanvasAgg(figure)
        boxes = [one.get_window_extent(canvas.get_renderer()) for one in axes.texts]
    places = axes.transData.transform(np.column_stack([x, y]))

    assert sorted(one.get_text() for one in axes.texts) == sorted(labels)
    assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[i + 1 :])
    assert not any(box.contains(*place) for box in boxes for place in places)
    assert all(axes.bbox.x0 <= box.x0 and box.x1 <= axes.bbox.x1 for box in boxes)
