"""The demand curve of a ladder: readings, fitted curve, dose picked, range suggested."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    BAND,
    FAINT_INK,
    INK,
    LABEL_SIZE,
    OXIDE,
    ROOM,
    RULE,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    number_text,
    plain_axes,
    settle,
)
from analysis.lab.demand_curve import DemandFit
from analysis.lab.demand_profile import Interval

WIDTH, HEIGHT = 6.4, 3.9
# Points of the drawn curve.
_POINTS = 400
# The place of pots without a number, as a part of the height of the axes.
_OFF_SCALE_AT = 0.97


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandPicture:
    """What the figure shows.

    Attributes:
        fit: The model drawn.
        within_percent: Viscosity above the minimum that still counts as on the plateau, %.
        interval: Of the dose picked; None where none was computed.
        suggested: Range for the study, % active on pigment; None without one.
        off_scale: Doses of pots without a number (gelled, off the scale, lost).
        unit: Unit of the dose.
    """

    fit: DemandFit
    within_percent: float
    interval: Interval | None = None
    suggested: tuple[float, float] | None = None
    off_scale: Sequence[float] = ()
    unit: str = "% active on pigment"


@in_house_look
def draw_demand_curve(picture: DemandPicture) -> Drawn:
    """Draw viscosity over dose, both in logarithms."""
    fit = picture.fit
    pick = fit.pick(picture.within_percent)
    title = (
        f"Lowest dose within {picture.within_percent:g} % of the minimum: "
        f"{number_text(float(f'{pick:.3g}'))} {picture.unit}"
    )
    figure = new_figure(WIDTH, HEIGHT, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    _draw_ranges(axes, picture)
    doses = np.geomspace(*fit.span, _POINTS)
    axes.plot(doses, np.exp(fit.curve(doses)), color=INK, linewidth=1.4, zorder=3, label="fitted")
    axes.scatter(
        fit.x, np.exp(fit.y), s=26, facecolor="#ffffff", edgecolor=INK, linewidth=1.1, zorder=4,
        label="read",
    )  # fmt: skip
    axes.axvline(pick, color=OXIDE, linewidth=1.2, zorder=2, label="dose picked")
    limit = np.exp(fit.lowest.value) * (1 + picture.within_percent / 100)
    axes.axhline(limit, color=RULE, linewidth=0.8, linestyle=(0, (4, 3)), zorder=1)
    _set_scales(axes, picture)
    if picture.off_scale:
        axes.scatter(
            picture.off_scale, [_OFF_SCALE_AT] * len(picture.off_scale), marker="^", s=30,
            color=FAINT_INK, transform=axes.get_xaxis_transform(), zorder=4,
            label="gelled or off the scale",
        )  # fmt: skip
    label_axes(axes, f"dose ({picture.unit})", "viscosity (mPa·s)")
    figure.legend(loc="outside lower center", ncols=3, frameon=False, fontsize=LABEL_SIZE)
    return Drawn(
        name="demand-curve", kind="demand curve", subject="viscosity", title=title,
        caption=_caption(picture), figure=settle(figure),
    )  # fmt: skip


def _draw_ranges(axes: Axes, picture: DemandPicture) -> None:
    low, high = picture.fit.span
    if picture.suggested:
        axes.axvspan(
            *picture.suggested, color=BAND, alpha=0.45, linewidth=0, zorder=0,
            label="range suggested for the study",
        )  # fmt: skip
    if picture.interval:
        ends = picture.interval
        axes.axvspan(
            low if ends.low is None else ends.low, high if ends.high is None else ends.high,
            color=ROOM, alpha=0.25, linewidth=0, zorder=1,
            label=f"{100 * ends.level:g} % interval of that dose",
        )  # fmt: skip


def _set_scales(axes: Axes, picture: DemandPicture) -> None:
    values = np.exp(picture.fit.y)
    doses = np.concatenate([picture.fit.x, list(picture.off_scale), list(picture.suggested or ())])
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(0.92 * doses.min(), 1.08 * doses.max())
    axes.set_ylim(0.85 * values.min(), 1.25 * values.max())
    for axis, ends in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        axis.set_major_locator(FixedLocator(round_ticks(*ends)))
        axis.set_minor_locator(NullLocator())
        axis.set_major_formatter(FuncFormatter(lambda value, _: number_text(value)))


def round_ticks(low: float, high: float) -> list[float]:
    """Give 1, 2, 3, 5, 7 times powers of ten within two ends, thinned where there are many.

    Example:
        >>> round_ticks(0.4, 3.5)
        [0.5, 0.7, 1.0, 2.0, 3.0]
    """
    powers = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    for parts in ((1, 2, 3, 5, 7), (1, 2, 5), (1,)):
        ticks = [float(f"{part}e{power}") for power in powers for part in parts]
        kept = [tick for tick in ticks if low <= tick <= high]
        if len(kept) <= 8:
            return kept
    return kept


def _caption(picture: DemandPicture) -> str:
    fit = picture.fit
    return (
        f"Model '{fit.model.name}': {fit.model.formula}, y = ln viscosity. Dashed: "
        f"{picture.within_percent:g} % above the minimum of the curve in the doses tried. "
        "Triangles: pots without a number, left out of the fit."
    )
