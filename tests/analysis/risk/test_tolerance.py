"""The tolerance box: known boxes, boxes in corners of the region, and what stands in the way."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.stats import qmc

from analysis.risk.smooth import SmoothChance
from analysis.risk.tolerance import ToleranceBox, tolerance_box
from doe.model.coding import coding_of
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.risk.robust_studies import ground, question, two_way, two_way_fits
from tests.analysis.risk.small_studies import certain


def _lowest(chance: SmoothChance, box: ToleranceBox) -> float:
    """Give the lowest probability on a dense sample of the box, its corners with it."""
    low, high = (np.array([getattr(side, end) for side in box.sides]) for end in ("low", "high"))
    unit = np.vstack(
        [
            qmc.Sobol(len(low), rng=np.random.default_rng(9)).random(512),
            np.array(np.meshgrid(*[[0.0, 1.0]] * len(low))).reshape(len(low), -1).T,
        ]
    )
    rows = low + unit * (high - low)
    return float(chance.probability(rows).min())


def test_on_a_line_the_box_ends_where_the_closed_form_does() -> None:
    """Φ((10.5 − 10 − 2(x − 2))/0.4) = 0.9 at x = 1.994: the box is 1 to 1.98, rounded inward."""
    study = brief(
        [{"name": "dose", "low": 1.0, "high": 3.0}], [{"name": "y", "accept": {"at_most": 10.5}}]
    )
    asked = question(study, {"y": certain(coding_of(study), "y", [10.0, 2.0], 0.4)})
    box = tolerance_box(ground(asked), np.array([1.5]), 0.9)
    (side,) = box.sides
    edge = 2.0 + (0.5 - stats.norm.ppf(0.9) * 0.4) / 2.0
    assert (side.low, side.rounded_by) == (1.0, "range")
    assert side.high == pytest.approx(np.floor(edge / side.rounded_to) * side.rounded_to)
    assert 0.9 <= box.least.value < 0.93


def test_no_place_in_the_box_is_below_the_level() -> None:
    """A dense sample and all corners; and the box is not far smaller than it might be."""
    study = two_way()
    asked = question(study, two_way_fits(study))
    own = ground(asked)
    box = tolerance_box(own, np.array([2.0, 20.0]), 0.85)
    assert not box.is_empty
    assert _lowest(own.fine, box) >= 0.85 - 0.002
    assert box.least.value == pytest.approx(_lowest(own.fine, box), abs=0.01)
    assert {side.rounded_by for side in box.sides} == {"scatter"}
    for side in box.sides:
        assert side.low <= side.at <= side.high
        for end in (side.low, side.high):
            assert end / side.rounded_to == pytest.approx(round(end / side.rounded_to))
    # One more multiple to every side breaks the level, or leaves the range.
    wider = [(side.low - side.rounded_to, side.high + side.rounded_to) for side in box.sides]
    corners = np.array(np.meshgrid(*wider)).reshape(2, -1).T
    assert own.fine.probability(corners).min() < 0.85


def test_a_bowl_whose_corners_are_fine_is_checked_inside() -> None:
    """The level fails only in the middle of a face: corners alone would let the box run over it."""
    study = brief(
        [{"name": "dose", "low": 1.0, "high": 3.0}, {"name": "time", "low": 1.0, "high": 3.0}],
        [{"name": "y", "accept": {"at_most": 10.0}}],
    )
    coding = coding_of(study)
    fit = fit_of(coding, "y", np.zeros(6), sd=0.3, covariance=np.zeros((6, 6)), df=np.inf)
    # y = 8 + 1.9 dose − 2 time²: at the high dose the corners (time ± 1) are low, the middle high.
    by_label = {(): 8.0, ("dose", 1): 2.2, ("time", 2): -2.0}
    wanted = [by_label.get(column.term.powers[0] if column.term.powers else (), 0.0)
              if len(column.term.powers) <= 1 else 0.0 for column in fit.columns]  # fmt: skip
    fit = fit_of(coding, "y", wanted, sd=0.3, covariance=np.zeros((6, 6)), df=np.inf)
    asked = question(study, {"y": fit})
    own = ground(asked)
    corners = np.array([[a, b] for a in (1.0, 3.0) for b in (1.0, 3.0)])
    assert own.fine.probability(corners).min() > 0.9
    box = tolerance_box(own, np.array([1.6, 2.0]), 0.9)
    assert box.sides[0].high < 2.9
    assert _lowest(own.fine, box) >= 0.895


def test_steps_round_and_log_spacing_keeps_lab_units() -> None:
    """A log-spaced dose by steps of 0.2 from its low end."""
    study = two_way(spacing="log", step=0.2)
    asked = question(study, two_way_fits(study))
    box = tolerance_box(ground(asked), np.array([1.8, 20.0]), 0.8)
    side = box.sides[0]
    assert side.rounded_by == "step"
    for end in (side.low, side.high):
        assert (end - 1.0) / 0.2 == pytest.approx(round((end - 1.0) / 0.2))
    assert 1.0 <= side.low <= 1.8 <= side.high <= 3.0


def test_shares_move_by_their_own_grams_and_stay_in_the_region() -> None:
    """Amounts of three additives, the others making room: every mixture of ends is allowed."""
    study = brief(
        [],
        [{"name": "y", "accept": {"at_most": 12.0}}],
        [{"name": n, "low": 0.1, "high": 0.7, "step": 0.01} for n in "abc"],
    )
    coding = coding_of(study)
    fit = fit_of(coding, "y", [10.0, 13.0, 11.0], model="linear", sd=0.3)
    asked = question(study, {"y": fit})
    own = ground(asked)
    box = tolerance_box(own, np.array([0.4, 0.3, 0.3]), 0.9)
    assert [side.unit for side in box.sides] == ["share"] * 3
    ends = np.array(np.meshgrid(*[(side.low, side.high) for side in box.sides])).reshape(3, -1).T
    made = ends / ends.sum(axis=1, keepdims=True)
    assert asked.region.contains(made, 1e-6).all()
    assert own.fine.probability(made).min() >= 0.9 - 0.002
    assert max(side.high - side.low for side in box.sides) > 0.1


def test_an_empty_box_says_why() -> None:
    """Below the level at the choice itself, or outside the region."""
    study = two_way()
    own = ground(question(study, two_way_fits(study)))
    low = tolerance_box(own, np.array([2.0, 20.0]), 0.9999)
    assert low.is_empty
    assert "below the 99.99 that are asked for" in low.why_empty
    outside = tolerance_box(own, np.array([3.5, 20.0]), 0.5)
    assert "outside the region" in outside.why_empty
    assert any("no tolerance box" in one.what for one in outside.findings)
