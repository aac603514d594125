"""Effects, slices and room from one recipe, on surfaces whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.surface.contour import contour_slice, package_slice
from analysis.surface.effects import trace_effects
from analysis.surface.lines import reach_along
from analysis.surface.predict import predict_values
from analysis.surface.room import ChoiceRoom, Room, find_room
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.study.brief import Study
from tests.analysis.choice.problems import brief, fit_of

DOSE = {"name": "dose", "low": 1.0, "high": 3.0, "unit": "%"}
PH = {"name": "pH", "low": 8.0, "high": 10.0}
BASE = {"name": "base", "levels": ["ammonia", "soda"]}
VISCOSITY = {"name": "viscosity", "unit": "mPa·s", "accept": {"at_most": 2450, "at_least": 900}}
PACKAGE = (
    {"name": "wetting", "low": 0.1, "high": 0.4},
    {"name": "dispersant", "low": 0.4, "high": 0.8},
    {"name": "hydrophobic", "low": 0.0, "high": 0.3},
)


def _two(**more: object) -> Study:
    return brief([DOSE, PH], [VISCOSITY], **more)


def test_a_factor_is_traced_over_its_range() -> None:
    """Viscosity 1900 − 500 x + 100 y: the effect of dose is −1000 from end to end."""
    study = _two()
    fits = {
        "viscosity": fit_of(coding_of(study), "viscosity", [1900.0, -500.0, 100.0], model="linear")
    }
    dose, ph = trace_effects(fits, region_of(study), np.array([2.0, 9.0]))

    assert (dose.setting, ph.setting) == ("dose", "pH")
    assert dose.change == pytest.approx(-1000.0)
    assert ph.change == pytest.approx(200.0)
    assert (dose.at[0], dose.at[-1]) == (1.0, 3.0)
    assert np.all(dose.low < dose.value)
    assert np.all(dose.value < dose.high)


def test_a_share_is_traced_along_the_direction_of_cox() -> None:
    """The others keep their ratio; the trace ends where one of them meets its limit."""
    study = brief([], [VISCOSITY], PACKAGE)
    fits = {"viscosity": fit_of(coding_of(study), "viscosity", [1.0, 2.0, 4.0], model="linear")}
    base = np.array([0.2, 0.6, 0.2])
    wetting = trace_effects(fits, region_of(study), base)[0]
    rest = 1.0 - wetting.at

    # Dispersant at least 0.4 is met at 0.4 / 0.75; wetting's own high of 0.4 comes first.
    assert (wetting.at[0], wetting.at[-1]) == (pytest.approx(0.1), pytest.approx(0.4))
    np.testing.assert_allclose(wetting.value, wetting.at + 2.0 * 0.75 * rest + 4.0 * 0.25 * rest)


def test_a_choice_shows_its_level_means() -> None:
    """1900 + 150 for the first level, 1900 − 150 for the last."""
    study = brief([DOSE, BASE], [VISCOSITY])
    coding = coding_of(study)
    fits = {"viscosity": fit_of(coding, "viscosity", [1900.0, -500.0, 150.0], model="linear")}
    base = trace_effects(fits, region_of(study), np.array([2.0, 1.0]))[1]

    assert base.labels == ("ammonia", "soda")
    np.testing.assert_allclose(base.value, [2050.0, 1750.0])
    assert base.change == pytest.approx(300.0)


def test_reach_of_a_share_names_what_ends_it() -> None:
    """Hydrophobic may rise until its own high end, dispersant's low end coming later."""
    region = region_of(brief([], [VISCOSITY], PACKAGE))
    reach = reach_along(region, np.array([0.2, 0.6, 0.2]), 2)

    assert reach is not None
    assert (reach.low, reach.high) == (pytest.approx(0.0), pytest.approx(0.3))
    assert "hydrophobic" in reach.high_words


def test_a_slice_over_two_factors_marks_region_and_window() -> None:
    """The limit 2 dose + pH ≤ 14 cuts a corner; the window is where 900 to 2450 is met."""
    study = _two(limit=[{"sum": {"dose": 2.0, "pH": 1.0}, "at_most": 14.0}])
    region = region_of(study)
    fits = {
        "viscosity": fit_of(coding_of(study), "viscosity", [1900.0, -500.0, 400.0], model="linear")
    }
    drawn = contour_slice(study, region, fits, np.array([2.0, 9.0]), "dose", "pH", points=21)
    x, y = np.meshgrid(drawn.x_values, drawn.y_values)
    expected = 1900.0 - 500.0 * (x - 2.0) + 400.0 * (y - 9.0)

    np.testing.assert_allclose(drawn.values["viscosity"], expected)
    np.testing.assert_array_equal(drawn.inside, 2 * x + y <= 14.0 + 1e-7)
    np.testing.assert_array_equal(
        drawn.accepted, drawn.inside & (expected <= 2450) & (expected >= 900)
    )
    assert drawn.held == {}


def test_a_package_slice_outlines_the_region() -> None:
    """Limits 0.1–0.4, 0.4–0.8, 0–0.3: a polygon of six corners, all of them in the region."""
    study = brief([DOSE], [VISCOSITY], PACKAGE)
    region = region_of(study)
    coding = coding_of(study)
    fits = {"viscosity": fit_of(coding, "viscosity", [1.0, 2.0, 4.0, 0.0], model="linear")}
    at = np.array([0.2, 0.6, 0.2, 2.0])
    drawn = package_slice(study, region, fits, at, ("wetting", "dispersant", "hydrophobic"))
    corners = {tuple(np.round(corner, 9) + 0.0) for corner in drawn.outline}

    assert corners == {
        (0.2, 0.8, 0.0), (0.4, 0.6, 0.0), (0.4, 0.4, 0.2),
        (0.3, 0.4, 0.3), (0.1, 0.6, 0.3), (0.1, 0.8, 0.1),
    }  # fmt: skip
    np.testing.assert_allclose(drawn.shares.sum(axis=1), 1.0)
    np.testing.assert_allclose(drawn.values["viscosity"], drawn.shares @ [1.0, 2.0, 4.0])
    assert drawn.inside.any()
    assert not drawn.inside.all()
    assert drawn.held == {"dose": 2.0}


def test_three_of_four_additives_share_what_the_fourth_leaves() -> None:
    """The defoamer keeps its 0.1."""
    study = brief([], [VISCOSITY], (*PACKAGE, {"name": "defoamer", "low": 0.0, "high": 0.2}))
    coding = coding_of(study)
    fits = {"viscosity": fit_of(coding, "viscosity", np.ones(4), model="linear")}
    at = np.array([0.2, 0.5, 0.2, 0.1])
    drawn = package_slice(
        study, region_of(study), fits, at, ("wetting", "dispersant", "hydrophobic")
    )

    np.testing.assert_allclose(drawn.shares.sum(axis=1), 0.9)
    assert drawn.held == {"defoamer": pytest.approx(0.1)}


def _room_study() -> tuple[Study, dict[str, object]]:
    study = brief([DOSE, PH, BASE], [VISCOSITY])
    fits = {
        "viscosity": fit_of(
            coding_of(study), "viscosity", [1900.0, -500.0, 100.0, 800.0], model="linear"
        )
    }
    return study, fits


def test_room_ends_exactly_at_the_limit_that_is_met_first() -> None:
    """At soda (−800): 1100 − 500 x + 100 y; at least 900 is met at x = 0.4, y has all its range."""
    study, fits = _room_study()
    dose, ph, base = find_room(study, region_of(study), fits, np.array([2.0, 9.0, 1.0]))

    assert isinstance(dose, Room)
    assert isinstance(ph, Room)
    assert isinstance(base, ChoiceRoom)
    assert dose.highest == pytest.approx(2.4, abs=1e-10)
    assert dose.stopped_high.response == "viscosity"
    assert dose.stopped_high.limit == 900
    assert dose.lowest == pytest.approx(1.0)
    assert dose.stopped_low.kind == "region"
    assert (ph.lowest, ph.highest) == (pytest.approx(8.0), pytest.approx(10.0))
    assert base.kept == ("soda",)
    assert base.broken["ammonia"][0].limit == 2450


def test_room_steps_over_numeric_levels() -> None:
    """Beads of 0.4, 0.8 and 1.2 mm: 1900 + 600 x breaks 2450 at the largest."""
    study = brief([{"name": "beads", "levels": [0.4, 0.8, 1.2]}], [VISCOSITY])
    fits = {"viscosity": fit_of(coding_of(study), "viscosity", [1900.0, 600.0], model="linear")}
    (beads,) = find_room(study, region_of(study), fits, np.array([0.8]))

    assert isinstance(beads, Room)
    assert (beads.lowest, beads.highest) == (0.4, 0.8)
    assert beads.stopped_high.response == "viscosity"


def test_grids_and_single_predictions_agree() -> None:
    """A slice is nothing but predictions."""
    study = _two()
    fit = fit_of(coding_of(study), "viscosity", [1900.0, -500.0, 100.0, 50.0, 70.0, -30.0])
    drawn = contour_slice(
        study, region_of(study), {"viscosity": fit}, np.array([2.0, 9.0]), "pH", "dose", points=5
    )

    assert drawn.values["viscosity"][1, 3] == pytest.approx(
        predict_values(fit, np.array([[drawn.y_values[1], drawn.x_values[3]]]))[0]
    )
