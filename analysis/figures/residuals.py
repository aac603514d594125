"""What a model leaves over: residuals against fitted values, order, normal quantiles, influence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from scipy import stats

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
from analysis.fits.assessment import Assessment, RunRow
from analysis.fits.fit import Fit
from analysis.fits.smooth import local_trend
from doe.study.settings import BoolArray, FloatArray

# More names than this on one panel would run into each other.
NAMED_RUNS = 4
# Offsets in points with alignments: above, below, right, left.
NAME_PLACES = (
    ((0, 5), "center", "bottom"),
    ((0, -5), "center", "top"),
    ((6, 0), "left", "center"),
    ((-6, 0), "right", "center"),
)
# What a name takes of a panel of about 200 by 130 points.
NAME_WIDTH, NAME_HEIGHT = 0.17, 0.08
# Normal scores of plotting positions (i − 3/8)/(n + 1/4), Blom (1958).
BLOM = 3 / 8


@in_house_look
def draw_residuals(
    fit: Fit, assessment: Assessment, *, order: Mapping[int, float] | None = None
) -> Drawn:
    """Draw the four residual panels of one response.

    Args:
        fit: The model.
        assessment: Its checks, with one row a run.
        order: Place of each run in the order as done, by run number; without it the order of the
            run numbers stands in, and the axis says so.

    Returns:
        One figure. Runs without a studentised residual (no degree of freedom left) are left out.
    """
    rows = [row for row in assessment.runs if row.studentised is not None]
    title = f"{sentence_case(fit.response)}: what the model leaves over"
    figure = new_figure(7.2, 5.6, title)
    panels = figure.subplots(2, 2)
    studentised = np.array([row.studentised for row in rows], dtype=np.float64)
    limit = assessment.outlier_limit
    _against_fitted(as_axes(panels[0, 0]), fit, rows, studentised, limit)
    _against_order(as_axes(panels[0, 1]), rows, studentised, order, limit)
    _normal_quantiles(as_axes(panels[1, 0]), rows, studentised, assessment.envelope)
    _influence(as_axes(panels[1, 1]), rows, assessment)
    return Drawn(
        name=file_stem("residuals", fit.response),
        kind="residuals",
        subject=fit.response,
        title=title,
        caption=_caption(assessment, order is not None),
        figure=settle(figure),
    )


def _against_fitted(
    axes: Axes, fit: Fit, rows: Sequence[RunRow], y: FloatArray, limit: float | None
) -> None:
    x = np.array([row.fitted for row in rows], dtype=np.float64)
    _residual_panel(axes, x, y, rows, limit)
    scale = name_scale(fit.response, fit.unit, fit.scale)
    label_axes(axes, f"fitted {with_unit(scale.short, scale.unit)}", "studentised residual")


def _against_order(
    axes: Axes,
    rows: Sequence[RunRow],
    y: FloatArray,
    order: Mapping[int, float] | None,
    limit: float | None,
) -> None:
    places = order or {row.run: row.run for row in rows}
    x = np.array([places.get(row.run, np.nan) for row in rows], dtype=np.float64)
    sequence = np.argsort(x)
    axes.plot(x[sequence], y[sequence], color=FAINT_INK, linewidth=0.5, zorder=1)
    _residual_panel(axes, x, y, rows, limit)
    label_axes(axes, "order as done" if order else "run number", "studentised residual")


def _residual_panel(
    axes: Axes, x: FloatArray, y: FloatArray, rows: Sequence[RunRow], limit: float | None
) -> None:
    plain_axes(axes)
    axes.axhline(0.0, color=FAINT_INK, linewidth=0.8, zorder=1)
    trend = local_trend(x, y)
    if trend is not None:
        axes.plot(trend[:, 0], trend[:, 1], color=ROOM, linewidth=1.4, zorder=2)
    _scatter(axes, x, y, rows)
    reach = float(np.max(np.abs(y), initial=2.0))
    if limit is not None and limit < 2.5 * reach:
        for side in (-limit, limit):
            axes.axhline(side, color=OXIDE, linewidth=0.9, linestyle=(0, (5, 3)), zorder=1)
        reach = max(reach, limit)
    axes.set_ylim(-1.15 * reach, 1.15 * reach)
    beyond = np.abs(y) > (limit if limit is not None else np.inf)
    _name_runs(axes, x, y, rows, beyond)


def _normal_quantiles(
    axes: Axes,
    rows: Sequence[RunRow],
    y: FloatArray,
    envelope: Sequence[tuple[float, float]],
) -> None:
    plain_axes(axes)
    sequence = np.argsort(y, kind="stable")
    n = len(rows)
    scores: FloatArray = stats.norm.ppf((np.arange(1, n + 1) - BLOM) / (n + 1 - 2 * BLOM))
    ordered = [rows[i] for i in sequence]
    if n:
        ends = np.array([scores[0], scores[-1]])
        axes.plot(ends, ends, color=FAINT_INK, linewidth=0.8, zorder=1)
    _scatter(axes, scores, y[sequence], ordered)
    if len(envelope) == n:
        low, high = np.array(envelope).T
        for side in (low, high):
            axes.plot(scores, side, color=OXIDE, linewidth=0.9, linestyle=(0, (5, 3)), zorder=1)
        far = (y[sequence] < low) | (y[sequence] > high)
    else:
        far = np.abs(y[sequence] - scores) > 1.0
    _name_runs(axes, scores, y[sequence], ordered, far)
    label_axes(axes, "normal quantile", "studentised residual")


def _influence(axes: Axes, rows: Sequence[RunRow], assessment: Assessment) -> None:
    plain_axes(axes)
    x = np.array([row.leverage for row in rows], dtype=np.float64)
    y = np.array([np.nan if row.cook is None else row.cook for row in rows], dtype=np.float64)
    _scatter(axes, x, y, rows)
    bound = leverage_bound(assessment)
    if bound is not None:
        axes.axvline(bound, color=OXIDE, linewidth=0.9, linestyle=(0, (5, 3)))
    finite = y[np.isfinite(y)]
    top = float(np.max(finite, initial=0.0))
    axes.set_ylim(-0.06 * max(top, 0.1), 1.25 * max(top, 0.1))
    axes.set_xlim(0.0, 1.05)
    # Four times the mean distance: far above its fellows, whatever the size of the study.
    far = y > 4 * float(np.mean(finite)) if len(finite) else np.zeros(len(y), dtype=np.bool_)
    _name_runs(axes, x, y, rows, far)
    label_axes(axes, "leverage", "Cook's distance")


def leverage_bound(assessment: Assessment) -> float | None:
    """Give twice the mean leverage; None where that tells nothing, at 1 and above.

    Source:
        Hoaglin and Welsch (1978), The American Statistician 32, 17-22.
    """
    bound = 2 * assessment.p / max(assessment.n, 1)
    return bound if bound < 1 else None


def _scatter(axes: Axes, x: FloatArray, y: FloatArray, rows: Sequence[RunRow]) -> None:
    """Draw runs of the plan as filled circles, controls as open squares."""
    control = np.array([row.control is not None for row in rows], dtype=np.bool_)
    axes.scatter(x[~control], y[~control], s=18, color=ROOM, edgecolor=INK, linewidth=0.5, zorder=3)
    axes.scatter(
        x[control], y[control], s=20, marker="s", facecolor="#ffffff", edgecolor=INK, linewidth=0.9,
        zorder=3,
    )  # fmt: skip


def _name_runs(
    axes: Axes, x: FloatArray, y: FloatArray, rows: Sequence[RunRow], which: BoolArray
) -> None:
    """Write the numbers of the most extreme runs beside their points."""
    chosen = sorted(np.flatnonzero(which), key=lambda i: -abs(float(y[i])))[:NAMED_RUNS]
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    taken: list[tuple[float, float]] = []
    for i in map(int, chosen):
        spot = ((float(x[i]) - left) / (right - left), (float(y[i]) - bottom) / (top - bottom))
        others = [
            ((float(a) - left) / (right - left), (float(b) - bottom) / (top - bottom))
            for j, (a, b) in enumerate(zip(x, y, strict=True))
            if j != i
        ]
        place = _free_place(spot, taken, others)
        if place is None:
            continue
        offset, side, rise = place
        taken.append(_middle(spot, offset))
        axes.annotate(
            f"run {rows[i].run}", (float(x[i]), float(y[i])), xytext=offset,
            textcoords="offset points", ha=side, va=rise, fontsize=TICK_SIZE, color=OXIDE,
        )  # fmt: skip


def _free_place(
    spot: tuple[float, float],
    taken: Sequence[tuple[float, float]],
    others: Sequence[tuple[float, float]],
) -> tuple[tuple[int, int], str, str] | None:
    """Choose above, below, right or left of a point; None where names would overlap.

    Args:
        spot: The point, fractions of the panel.
        taken: Where names stand already, fractions of the panel.
        others: Where the other points are, fractions of the panel.
    """
    for offset, side, rise in NAME_PLACES:
        x, y = _middle(spot, offset)
        free = all(abs(x - a) > NAME_WIDTH or abs(y - b) > NAME_HEIGHT for a, b in taken)
        if free and all(abs(x - a) > NAME_WIDTH / 2 or abs(y - b) > NAME_HEIGHT for a, b in others):
            return offset, side, rise
    return None


def _middle(spot: tuple[float, float], offset: tuple[int, int]) -> tuple[float, float]:
    """Find where the middle of a name lies that is set off from its point."""
    along = 0.0 if offset[0] == 0 else (NAME_WIDTH / 2 + 0.03) * (1 if offset[0] > 0 else -1)
    up = 0.0 if offset[1] == 0 else (NAME_HEIGHT / 2 + 0.04) * (1 if offset[1] > 0 else -1)
    return spot[0] + along, spot[1] + up


def _caption(assessment: Assessment, has_order: bool) -> str:
    limit, bound = assessment.outlier_limit, leverage_bound(assessment)
    pieces = [
        "External studentised residuals: each run is judged by a model that has not seen it.",
        "Circles are runs of the plan, open squares controls; the blue line is the local trend.",
    ]
    if limit is not None:
        pieces.append(
            f"Dashed lines at ±{limit:.2f}: a run beyond them is an outlier, all judged together."
        )
    if assessment.envelope:
        pieces.append(
            "Lower left: of normal errors 95 % would lie between the dashed lines at each place "
            "(simulated)."
        )
    pieces.append("Lower right: what lies high and far right moves the model.")
    if bound is not None:
        pieces.append("Its dashed line stands at twice the mean leverage.")
    if not has_order:
        pieces.append("No order as done was noted; run numbers stand in for it.")
    return " ".join(pieces)
