"""How well the region is predicted: variance against the share predicted at least so well."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.figures.appraisal_subject import LOOKS, Pictured, model_words
from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    LABEL_SIZE,
    RULE,
    as_axes,
    in_house_look,
    label_axes,
    new_figure,
    plain_axes,
    settle,
)
from doe.appraisal.summary import scatter_of_one_run

WIDTH, HEIGHT = 6.4, 4.0
# A worst place this many times above what 99 % of the region keeps to is a spike: drawn to scale it
# would press the rest of the curve flat.
SPIKE = 2.0


@in_house_look
def draw_shares(plans: Sequence[Pictured]) -> Drawn:
    """Draw the standard error of prediction over the share of the region.

    Args:
        plans: One or two plans that can estimate the model.
    """
    title = f"How well the mean is predicted over the region, {model_words(plans)}"
    figure = new_figure(WIDTH, HEIGHT, title)
    axes = as_axes(figure.subplots())
    plain_axes(axes)
    axes.axvline(0.5, color=RULE, linewidth=0.8, zorder=0)
    axes.axvline(0.9, color=RULE, linewidth=0.8, zorder=0)
    top = max(_shown(one) for one in plans)
    for one, (colour, dash) in zip(plans, LOOKS, strict=False):
        profile = one.appraisal.profile
        assert profile is not None
        errors = profile.variances**0.5
        axes.plot(profile.shares, errors, color=colour, linestyle=dash, linewidth=1.8, zorder=3,
                  label=one.name)  # fmt: skip
        average = profile.average**0.5
        axes.plot([-0.012], [average], marker=">", color=colour, markersize=6, clip_on=False)
        worst = float(errors[-1])
        mark, height = ("o", worst) if worst <= top else ("^", top * 1.06)
        axes.plot([1.0], [height], marker=mark, color=colour, markersize=5, clip_on=False)
    axes.set_xlim(0.0, 1.0)
    axes.set_ylim(0.0, top * 1.06)
    first = plans[0].appraisal.profile
    assert first is not None
    axes.annotate(
        "root of the average", (0.0, first.average**0.5), xytext=(6, 5),
        textcoords="offset points", fontsize=LABEL_SIZE - 1, color=FAINT_INK,
    )  # fmt: skip
    # Written beside the points where they stand clear of the axis's own words.
    worst = first.largest**0.5
    axes.annotate(
        "worst place" if worst <= top else f"worst place: {worst:.3g}, off the scale",
        (1.0, min(worst, top)), xytext=(-9, -9), textcoords="offset points",
        ha="right", va="center", fontsize=LABEL_SIZE - 1, color=FAINT_INK,
    )  # fmt: skip
    if len(plans) > 1:
        figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=LABEL_SIZE)
    for share, text in ((0.5, "half"), (0.9, "nine tenths")):
        axes.annotate(
            text, (share, top * 1.06), xytext=(-3, -2), textcoords="offset points",
            ha="right", va="top", fontsize=LABEL_SIZE - 1, color=FAINT_INK,
        )  # fmt: skip
    axes.xaxis.label.set_color(INK)
    label_axes(
        axes,
        "share of the region predicted at least so well",
        "standard error of the mean, in standard deviations of a run",
        x_width=60,
    )
    scatter = scatter_of_one_run(plans[0].appraisal)
    return Drawn(
        name="variance-over-region",
        kind="variance over the region",
        subject="",
        title=title,
        caption=f"Standard error of a predicted mean in units of {scatter}; its square is the "
        "prediction variance. Triangle: root of the average variance; point: the worst place.",
        figure=settle(figure),
    )


def _shown(one: Pictured) -> float:
    """Give the height that a plan needs: its worst place, unless that is a spike."""
    profile = one.appraisal.profile
    assert profile is not None
    errors = profile.variances**0.5
    return float(min(errors[-1], SPIKE * errors[-2]))
