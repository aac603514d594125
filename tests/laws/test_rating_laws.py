"""Laws of ratings, classes and masses that hold for any reading."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.lab.permeability import (
    capillary_class,
    capillary_coefficient,
    vapour_class,
    vapour_transmission,
)
from analysis.lab.ratings import (
    blister_code,
    cross_cut_areas,
    cross_cut_class,
    cross_cut_rating,
    read_blister_code,
    rust_grade,
    rust_grade_areas,
    rust_rating,
    rust_rating_areas,
    turned_cross_cut,
)
from analysis.lab.scrub import loss_per_area, scrub_class
from analysis.lab.storage import change
from analysis.lab.water_uptake import (
    leached_percent,
    uptake_on_initial_percent,
    uptake_on_redried_percent,
)
from doe.methods.registry import METHODS

areas = st.lists(st.floats(0, 100), min_size=2, max_size=8).map(np.array)
masses = st.floats(0.01, 10)
halves = st.integers(0, 10).map(lambda n: n / 2)


@given(areas)
def test_opposite_scales_add_to_five_and_invert_each_other(area: np.ndarray) -> None:
    """ISO 2409 and D3359-B rate the same areas the other way round."""
    class_, rating = cross_cut_class(area), cross_cut_rating(area)

    np.testing.assert_array_equal(class_ + rating, 5)
    np.testing.assert_array_equal(turned_cross_cut(turned_cross_cut(class_)), class_)


@given(areas)
def test_more_area_is_never_rated_better(area: np.ndarray) -> None:
    """Ratings where 0 is best rise with the area, those where 10 or 5B is best fall."""
    rising = np.sort(area)

    assert (np.diff(rust_grade(rising)) >= 0).all()
    assert (np.diff(cross_cut_class(rising)) >= 0).all()
    assert (np.diff(rust_rating(rising)) <= 0).all()
    assert (np.diff(cross_cut_rating(rising)) <= 0).all()


@given(areas)
def test_classes_of_permeability_and_scrub_keep_their_order(loss: np.ndarray) -> None:
    """W and V count down with more water; the class of scrub counts up with the loss."""
    rising = np.sort(loss)

    assert (np.diff(capillary_class(rising / 100)) <= 0).all()
    assert (np.diff(vapour_class(rising * 3)) <= 0).all()
    assert (np.diff(scrub_class(rising * 2, rising)) >= 0).all()


@given(st.floats(0, 100))
def test_area_lies_within_the_areas_of_its_rating(area: float) -> None:
    """From area to rating and back."""
    for rate, back in (
        (rust_rating, rust_rating_areas),
        (rust_grade, rust_grade_areas),
        (cross_cut_class, cross_cut_areas),
    ):
        low, high = back(int(rate(np.array(area))))

        assert low <= area <= high


@pytest.mark.parametrize("back", [rust_rating_areas, rust_grade_areas, cross_cut_areas])
def test_no_area_for_a_step_off_the_scale(back: Callable[[int], tuple[float, float]]) -> None:
    """A rating off its scale has no area."""
    with pytest.raises(ValueError, match="steps"):
        back(-1)
    with pytest.raises(ValueError, match="steps"):
        back(11)


@given(halves, halves)
def test_blister_code_round_trips(density: float, size: float) -> None:
    """Writing and reading lose nothing."""
    assert read_blister_code(blister_code(density, size)) == (density, size)


@given(masses, st.floats(0, 0.5), st.floats(0, 2))
def test_uptake_on_redried_is_no_less_where_something_washed_out(
    before: float, leached: float, water: float
) -> None:
    """What washes out hides itself in the uptake on initial mass."""
    redried = np.array(before * (1 - leached))
    wet = redried + water
    initial = uptake_on_initial_percent(np.array(before), wet)

    assert uptake_on_redried_percent(wet, redried) >= initial - 1e-9


@given(masses, st.floats(0, 0.5), st.floats(0, 2))
def test_three_percentages_close_the_balance(before: float, leached: float, water: float) -> None:
    """On initial mass: (1 + uptake) = (1 - leached)(1 + uptake on re-dried)."""
    redried = np.array(before * (1 - leached))
    wet = redried + water
    first = np.array(before)
    whole = 1 + uptake_on_initial_percent(first, wet) / 100
    parts = (1 - leached_percent(first, redried) / 100) * (
        1 + uptake_on_redried_percent(wet, redried) / 100
    )

    assert parts == pytest.approx(whole)


@given(masses, masses, st.floats(0.1, 1000))
def test_uptake_ignores_the_unit_of_mass(before: float, wet: float, scale: float) -> None:
    """Grams or milligrams: the same per cent."""
    once = uptake_on_initial_percent(np.array(before), np.array(wet))
    again = uptake_on_initial_percent(np.array(scale * before), np.array(scale * wet))

    assert again == pytest.approx(float(once), abs=1e-8)


@given(masses, st.floats(0.001, 1), st.floats(1, 100))
def test_flow_through_films_follows_its_units(gain: float, area: float, time: float) -> None:
    """Twice the area halves; four times the hours halve w, twice the days halve V."""
    mass = np.array(gain)
    w = capillary_coefficient(mass, area, time)
    v = vapour_transmission(mass, np.array(time), area)

    assert capillary_coefficient(mass, area, 4 * time) == pytest.approx(w / 2)
    assert capillary_coefficient(mass, 2 * area, time) == pytest.approx(w / 2)
    assert vapour_transmission(mass, np.array(2 * time), area) == pytest.approx(v / 2)
    assert loss_per_area(mass, np.array(0.0), 2 * area) == pytest.approx(gain / area / 2)


@given(st.floats(0.1, 100), st.floats(0.1, 100))
def test_three_forms_of_a_change_agree(start: float, end: float) -> None:
    """Difference, per cent and ratio tell one story, with one sign."""
    a, b = np.array(start), np.array(end)

    assert change(a, b, "percent") == pytest.approx(100 * (change(a, b, "ratio") - 1), abs=1e-8)
    assert change(a, b, "difference") == pytest.approx(
        change(a, b, "percent") * start / 100, abs=1e-8
    )
    assert change(b, a, "difference") == -change(a, b, "difference")


def test_nothing_read_gets_no_rating() -> None:
    """NaN is no worst rating."""
    assert np.isnan(rust_rating(np.array(np.nan)))
    assert np.isnan(cross_cut_class(np.array(np.nan)))
    assert np.isnan(capillary_class(np.array(np.nan)))


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("cross-cut class", "cross-cut rating"),
        ("wet cross-cut class", "wet cross-cut rating"),
        ("rust grade", "rust rating"),
        ("blister size", "blister size number"),
    ],
)
def test_methods_of_opposite_scales_hold_opposite_directions(one: str, other: str) -> None:
    """A direction taken over from the sister standard would choose the worst film."""
    assert {METHODS[one].direction, METHODS[other].direction} == {"low", "high"}
