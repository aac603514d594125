"""Figures of an appraisal: the data handed to the axes, and words that stand alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.figures.appraisal_album import Pictured, draw_appraisal
from analysis.figures.appraisal_losses import draw_losses
from analysis.figures.appraisal_power import draw_power
from analysis.figures.appraisal_relations import draw_relations
from analysis.figures.appraisal_shares import draw_shares
from analysis.figures.appraisal_sizes import draw_sizes
from doe.appraisal.appraise import Asked
from doe.appraisal.runs import runs_of_values
from doe.appraisal.sizes import fewer_runs, more_runs, size_point
from tests.doe.appraisal.held_plans import appraised, ground, judged
from tests.doe.layouts.briefs import RANGES, a_study

STUDY = a_study(RANGES[:2])
GRID = np.array([[a, b] for a in (0.8, 1.6, 2.4) for b in (8.0, 8.75, 9.5)])


@pytest.fixture(name="plan", scope="module")
def _plan() -> Pictured:
    appraisal = judged(STUDY, runs_of_values(GRID), "quadratic")
    _, terrain = ground(STUDY, "quadratic")
    now = size_point(appraisal.runs, terrain, Asked(), "this plan")
    assert now is not None
    sizes = (
        *fewer_runs(appraisal.runs, terrain, Asked()), now,
        *more_runs(appraisal.runs, terrain, Asked(), 4),
    )  # fmt: skip
    return Pictured(name="this plan", appraisal=appraisal, sizes=sizes)


def test_the_curve_over_the_region_is_the_root_of_the_variance(plan: Pictured) -> None:
    """From the best place to the worst."""
    line = draw_shares([plan]).figure.axes[0].lines[2]
    assert plan.appraisal.profile is not None

    np.testing.assert_allclose(line.get_xdata(), plan.appraisal.profile.shares)
    np.testing.assert_allclose(line.get_ydata(), plan.appraisal.profile.variances**0.5)


def test_bars_of_power_are_those_of_settings_and_terms(plan: Pictured) -> None:
    """Settings first; a term that is a setting is not drawn twice."""
    axes = draw_power([plan]).figure.axes[0]
    labels = [label.get_text() for label in axes.get_yticklabels()]
    widths = [bar.get_width() for bar in axes.patches if bar.get_height() < 0.5]

    assert labels == ["dose", "pH", "dose × pH", "dose²", "pH²"]
    assert widths[0] == pytest.approx(plan.appraisal.settings[0].power)


def test_two_plans_are_named_in_the_legend(plan: Pictured) -> None:
    """Both figures that hold both."""
    other = Pictured(name="hers", appraisal=plan.appraisal)

    for drawn in (draw_shares([plan, other]), draw_power([plan, other])):
        (legend,) = drawn.figure.legends
        assert [text.get_text() for text in legend.get_texts()] == ["this plan", "hers"]


def test_correlations_leave_the_intercept_out(plan: Pictured) -> None:
    """Five coefficients, named on both axes."""
    axes = draw_relations(plan).figure.axes[0]

    assert [label.get_text() for label in axes.get_yticklabels()] == [
        "dose", "pH", "dose × pH", "dose²", "pH²",
    ]  # fmt: skip
    shown = np.ma.filled(axes.images[0].get_array(), np.nan)
    assert np.nanmin(shown) >= 0
    np.testing.assert_allclose(np.diag(shown), 1.0)


def test_leverages_and_losses_have_a_panel_each(plan: Pictured) -> None:
    """Runs alone: two panels; the points are the numbers of the appraisal."""
    leverage, runs = draw_losses(plan).figure.axes

    points = np.asarray(leverage.collections[1].get_offsets())
    np.testing.assert_allclose(points[:, 1], list(plan.appraisal.leverage.values()))
    assert runs.get_xlabel() == "run left out"


def test_the_curve_of_sizes_runs_through_the_plan(plan: Pictured) -> None:
    """Each point of it a plan of that many runs."""
    axes = draw_sizes(plan).figure.axes
    line = next(line for line in axes[0].lines if len(np.asarray(line.get_xdata())) > 2)

    np.testing.assert_allclose(line.get_xdata(), [point.runs for point in plan.sizes])
    np.testing.assert_allclose(line.get_ydata(), [point.average for point in plan.sizes])
    assert axes[2].get_xlabel() == "runs, controls left out"


def test_an_album_of_two_plans_keeps_its_names(plan: Pictured) -> None:
    """Files of a later comparison take the place of those of an earlier one."""
    names = [drawn.name for drawn in draw_appraisal([plan, plan])]

    assert len(set(names)) == len(names) == 8
    assert {"power", "variance-over-region", "number-of-runs-second-plan"} <= set(names)


def test_a_plan_that_cannot_estimate_the_model_is_not_drawn() -> None:
    """Nothing to show."""
    found = appraised(STUDY, "full factorial", "linear", centre=0)
    squares = judged(STUDY, found.runs, "quadratic")

    assert draw_appraisal([Pictured(name="this plan", appraisal=squares)]) == ()


def test_one_spike_does_not_flatten_the_curve(plan: Pictured) -> None:
    """A worst place far above the rest is said in words, and the axis serves the rest."""
    profile = plan.appraisal.profile
    assert profile is not None
    spiked = np.array(profile.variances)
    spiked[-1] = 779.0
    odd = replace(plan.appraisal, profile=replace(profile, variances=spiked, largest=779.0))
    axes = draw_shares([replace(plan, appraisal=odd)]).figure.axes[0]

    assert axes.get_ylim()[1] < 3 * spiked[-2] ** 0.5
    assert "worst place: 27.9, off the scale" in [text.get_text() for text in axes.texts]
