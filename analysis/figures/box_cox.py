"""The likelihood of each power of a response: the powers that have names, and the one in use."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from scipy import stats
from scipy.interpolate import CubicSpline

from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.looks import (
    BAND,
    FAINT_INK,
    INK,
    LABEL_SIZE,
    OXIDE,
    ROOM,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    sentence_case,
    settle,
)
from analysis.fits.assessment import BoxCox
from analysis.fits.fit import Fit, Scale
from doe.study.settings import FloatArray

USUAL = ((-1.0, "1/y"), (-0.5, "1/√y"), (0.0, "ln y"), (0.5, "√y"), (1.0, "as read"))
# How far the curve is drawn below the level that ends the interval, in parts of that drop.
_DEPTH = 3.0
_POINTS = 400


@in_house_look
def draw_box_cox(fit: Fit, found: BoxCox) -> Drawn:
    """Draw the profile log-likelihood over λ.

    Args:
        fit: The model, for the name of the response and the scale in use.
        found: The profile.
    """
    title = f"{sentence_case(fit.response)}: which power the readings ask for"
    figure = new_figure(6.4, 3.9, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    drop = float(stats.chi2.ppf(found.level, 1)) / 2
    used = power_in_use(fit.scale)
    x, height = profile_curve(found, drop, used)
    low, high = found.interval
    axes.axvspan(low, high, color=BAND, alpha=0.45, linewidth=0, zorder=0)
    axes.axhline(-drop, color=FAINT_INK, linewidth=0.8, linestyle=(0, (4, 3)), zorder=1)
    axes.plot(x, height, color=INK, linewidth=1.4, zorder=3)
    axes.axvline(found.power, ymax=0.87, color=ROOM, linewidth=1.2, zorder=2)
    axes.set_xlim(float(x[0]), float(x[-1]))
    axes.set_ylim(-_DEPTH * drop, 0.45 * drop)
    _name_powers(axes, used)
    label_axes(axes, "power λ", "log-likelihood below the highest")
    return Drawn(
        name=file_stem("scale", fit.response), kind="scale", subject=fit.response, title=title,
        caption=_caption(fit, found), figure=settle(figure),
    )  # fmt: skip


def profile_curve(
    found: BoxCox, drop: float, used: float | None = None
) -> tuple[FloatArray, FloatArray]:
    """Give λ and the log-likelihood less its highest value, as far as is worth drawing.

    Args:
        found: The profile on its grid.
        drop: How far the ends of the interval lie below the highest value.
        used: λ in use, to be in sight; beyond the profile's grid it is not.
    """
    curve = CubicSpline(found.powers, found.log_likelihood)
    top = float(curve(found.power))
    grid = np.linspace(found.powers[0], found.powers[-1], 2001)
    near = grid[curve(grid) - top >= -_DEPTH * drop]
    # The named powers belong on the axis even where the readings rule them out.
    marks = [-1.0, 1.0, *([used] if used is not None and abs(used) < abs(grid[0]) else [])]
    ends = (min(float(near[0]), *marks) - 0.15, max(float(near[-1]), *marks) + 0.15)
    x = np.clip(np.linspace(*ends, _POINTS), grid[0], grid[-1])
    return x, curve(x) - top


def power_in_use(scale: Scale) -> float | None:
    """Give λ of a fitted scale; None where it is no power.

    Example:
        >>> power_in_use(Scale(name="square root"))
        0.5
    """
    named = {"identity": 1.0, "square root": 0.5, "log": 0.0}
    return scale.power if scale.name == "power" else named.get(scale.name)


def _name_powers(axes: Axes, used: float | None) -> None:
    """Mark the powers with names at the upper edge, the one in use in the colour of a warning."""
    marks = list(USUAL)
    if used is not None and all(abs(used - power) > 1e-9 for power, _ in USUAL):
        marks.append((used, f"λ {used:g}"))
    for power, name in marks:
        is_used = used is not None and abs(power - used) < 1e-9
        if not axes.get_xlim()[0] < power < axes.get_xlim()[1]:
            continue
        colour = OXIDE if is_used else FAINT_INK
        axes.axvline(power, ymax=0.87, color=colour, linewidth=1.4 if is_used else 0.6, zorder=1)
        axes.annotate(
            name, (power, 0.88), xycoords=("data", "axes fraction"), ha="center", va="bottom",
            fontsize=LABEL_SIZE, color=OXIDE if is_used else INK,
        )  # fmt: skip


def _caption(fit: Fit, found: BoxCox) -> str:
    low, high = found.interval
    used = power_in_use(fit.scale)
    return (
        f"Profile log-likelihood of the model in use. Blue: λ {found.power:.2f}; shaded: its "
        f"{100 * found.level:g} % interval, {low:.2f} to {high:.2f}. Red: the scale in use"
        f"{'' if used is None else f', λ {used:g}'}. Any named power inside the shaded part is as "
        "good; take the one that is easiest to read."
    )
