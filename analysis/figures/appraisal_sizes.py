"""What more or fewer runs buy."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from analysis.figures.appraisal_subject import Pictured, whose
from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
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
    plain_axes,
    settle,
)
from doe.appraisal.sizes import SizePoint, shares_batches

WIDTH, HEIGHT = 6.8, 5.2
# Plans close to the least that can estimate the model vary so badly that they hide all others.
_TALLEST = 3.0


@in_house_look
def draw_sizes(one: Pictured, *, which: str = "") -> Drawn:
    """Draw variance, standard error, degrees of freedom and power against the number of units.

    Args:
        one: A plan with plans of other sizes.
        which: Its name, where there are two.
    """
    by_batch = shares_batches(one.appraisal.runs)
    title = f"What more or fewer {'batches' if by_batch else 'runs'} buy{whose(which)}"
    figure = new_figure(WIDTH, HEIGHT, title)
    panels = [as_axes(axes) for axes in figure.subplots(2, 2, sharex=True).ravel()]
    now = next(point for point in one.sizes if point.how == "this plan")
    told: tuple[tuple[str, Callable[[SizePoint], float | None]], ...] = (
        ("average prediction variance", lambda p: p.average),
        ("standard error of an effect over a range", lambda p: p.std_error),
        ("degrees of freedom of the error, least stratum", _least_df),
        ("power, setting hardest to see", lambda p: p.weakest_power),
    )

    def size(point: SizePoint) -> int:
        return point.batches if by_batch else point.runs

    for axes, (name, tell) in zip(panels, told, strict=True):
        plain_axes(axes)
        own = [p for p in one.sizes if p.how != "anew" and tell(p) is not None]
        anew = [p for p in one.sizes if p.how == "anew" and tell(p) is not None]
        axes.axvline(size(now), color=RULE, linewidth=0.9, zorder=0)
        _line(axes, own, size, tell)
        axes.scatter(
            [size(p) for p in anew], [tell(p) or 0.0 for p in anew], s=30, marker="D",
            facecolor="none", edgecolor=OXIDE, linewidth=1.1, zorder=3,
            label="planned anew by a short search", clip_on=False,
        )  # fmt: skip
        label_axes(axes, "", name, y_width=28)
        axes.yaxis.label.set_fontsize(LABEL_SIZE - 0.5)
        here = tell(now) or 0.0
        values = [v for p in (*own, *anew) if (v := tell(p)) is not None]
        top = max(values, default=1.0)
        axes.set_ylim(0.0, _top(name, here, top))
        # Runs, batches and degrees of freedom are whole numbers.
        axes.xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
        axes.yaxis.set_major_locator(MaxNLocator(nbins=5, integer=name.startswith("degrees")))
    for axes in panels[2:]:
        axes.set_xlabel(
            "mill batches" if by_batch else "runs, controls left out",
            fontsize=LABEL_SIZE, color=INK,
        )  # fmt: skip
    handles, labels = panels[0].get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower center", ncols=2, frameon=False, fontsize=LABEL_SIZE
    )
    panels[0].annotate(
        "as it is", (size(now), 1.0), xycoords=("data", "axes fraction"), xytext=(3, -9),
        textcoords="offset points", fontsize=LABEL_SIZE - 1, color=FAINT_INK,
    )  # fmt: skip
    return Drawn(
        name="number-of-runs",
        kind="number of runs",
        subject="",
        title=title,
        caption="Line: the plan without the units that it misses least, and with those that help "
        "it most. Diamonds: plans made anew for that number by a short search.",
        figure=settle(figure),
    )


def _top(name: str, here: float, top: float) -> float:
    if name.startswith("power"):
        return 1.02
    if name.startswith("degrees"):
        return max(top, 1.0) * 1.08
    return min(top, max(_TALLEST * here, 0.1)) * 1.08


def _line(
    panel: Axes,
    points: Sequence[SizePoint],
    size: Callable[[SizePoint], int],
    tell: Callable[[SizePoint], float | None],
) -> None:
    ordered = sorted(points, key=size)
    panel.plot(
        [size(p) for p in ordered], [tell(p) or 0.0 for p in ordered],
        color=ROOM, linewidth=1.6, zorder=2, label="the plan with its best unit dropped or added",
    )  # fmt: skip
    now = [p for p in ordered if p.how == "this plan"]
    panel.scatter([size(p) for p in now], [tell(p) or 0.0 for p in now], s=34, color=INK, zorder=4)


def _least_df(point: SizePoint) -> float:
    return float(min(point.residual_df.values()))
