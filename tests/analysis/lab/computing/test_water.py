"""Water resistance from raw readings: values, what is doubted, what stays open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from analysis.lab.computing.registry import COMPUTE
from analysis.lab.raw_unit import Computed, RawUnit
from doe.study.readings import Flag, Reading

FILM = {"mass before": 0.5, "mass wet": 0.5425, "mass re-dried": 0.496}
SCRUB = {"mass before": 50.0, "mass after 200 cycles": 49.945}
PAD: dict[str, float | str] = {"area": 0.012, "density": 1.6}
CUP = {"cup mass at start": 101.0, "cup mass at end": 100.15, "days between": 1.0}
SPOT = {"L* before": 40.0, "a* before": 30.0, "b* before": 20.0, "L*": 43.0, "a*": 26.0, "b*": 20.0}


def compute(
    method: str,
    values: Mapping[str, float],
    options: Mapping[str, float | str] | None = None,
    off_scale: Mapping[str, Reading] | None = None,
) -> Computed:
    """Compute one unit."""
    unit = RawUnit(label="run 1", values=values, off_scale=off_scale or {})
    return COMPUTE[method](unit, options or {})


def off(
    column: str, flag: Flag, value: float | None, value_to: float | None = None
) -> dict[str, Reading]:
    """Write an off-scale raw reading."""
    row = Reading(id=1, run=1, response=column, value=value, value_to=value_to, flag=flag)
    return {column: row}


def told(computed: Computed) -> str:
    """Join what the findings say."""
    return " ".join(finding.what for finding in computed.findings)


@pytest.mark.parametrize(
    ("method", "value"),
    [
        ("water uptake", 8.5),
        ("water uptake on re-dried mass", 9.375),
        ("leached part", 0.8),
    ],
)
def test_one_table_gives_three_values(method: str, value: float) -> None:
    """Calculated from the definitions; nothing to doubt."""
    done = compute(method, FILM)

    assert done.value == pytest.approx(value, abs=0.0005)
    assert done.findings == ()


@pytest.mark.parametrize(
    ("change", "doubt"),
    [
        ({"mass wet": 0.499}, "uptake on initial mass is negative"),
        ({"mass wet": 0.49}, "lighter wet than re-dried"),
        ({"mass re-dried": 0.51}, "heavier re-dried than before"),
    ],
)
@pytest.mark.parametrize(
    "method", ["water uptake", "water uptake on re-dried mass", "leached part"]
)
def test_impossible_masses_are_doubted_and_still_computed(
    method: str, change: dict[str, float], doubt: str
) -> None:
    """The value stands; the bench looks."""
    done = compute(method, FILM | change)

    assert done.value is not None
    assert doubt in told(done)
    assert {finding.level for finding in done.findings} == {"caution"}


def test_uptake_on_redried_waits_for_the_third_weighing() -> None:
    """Blank is pending; the plain uptake does not wait."""
    two = {name: FILM[name] for name in ("mass before", "mass wet")}

    assert compute("water uptake", two).value == pytest.approx(8.5)
    assert compute("water uptake on re-dried mass", two).value is None
    assert "'mass re-dried' not read yet" in told(compute("leached part", two))


def test_no_uptake_from_a_film_without_mass() -> None:
    """Arithmetic is undefined there."""
    done = compute("water uptake", FILM | {"mass before": 0.0})

    assert done.value is None
    assert "cannot be" in told(done)


def test_no_uptake_from_a_mass_off_the_scale() -> None:
    """A limit of one mass is none of their quotient that one could name."""
    two = {name: FILM[name] for name in ("mass before", "mass re-dried")}
    done = compute("water uptake", two, off_scale=off("mass wet", "above", 0.6))

    assert done.value is None
    assert "off the scale" in told(done)


def test_capillary_coefficient_names_its_class() -> None:
    """15 g through 0.02 m² in 24 h: 0.1531, W2 (calculated; class read)."""
    block = {"mass before": 500.0, "mass after": 515.0}
    done = compute("capillary water coefficient", block, {"area": 0.02, "hours": 24.0})

    assert done.value == pytest.approx(0.1531, abs=0.00005)
    assert "class W2" in told(done)
    assert done.findings[0].level == "note"


@pytest.mark.parametrize(
    ("gain", "doubt"), [(-1.0, "lighter out of the water"), (60.0, "only class W1")]
)
def test_capillary_coefficient_beyond_its_range_is_doubted(gain: float, doubt: str) -> None:
    """EN 1062-3 (read): above 0.5 nothing is quantified."""
    block = {"mass before": 500.0, "mass after": 500.0 + gain}
    done = compute("capillary water coefficient", block, {"area": 0.02, "hours": 24.0})

    assert done.value is not None
    assert doubt in told(done)
    assert done.findings[0].level == "caution"


def test_capillary_coefficient_asks_for_an_area() -> None:
    """Nothing is guessed."""
    block = {"mass before": 500.0, "mass after": 515.0}

    assert "'area' must be a number" in told(
        compute("capillary water coefficient", block, {"hours": 24.0})
    )


def test_vapour_counts_what_went_through_either_cup() -> None:
    """A wet cup loses and a dry one gains."""
    gaining = CUP | {"cup mass at start": 100.15, "cup mass at end": 101.0}
    wet = compute("water vapour transmission", CUP, {"area": 0.005, "cup": "wet"})
    dry = compute("water vapour transmission", gaining, {"area": 0.005, "cup": "dry"})
    wrong = compute("water vapour transmission", gaining, {"area": 0.005, "cup": "wet"})

    assert wet.value == pytest.approx(170)
    assert dry.value == pytest.approx(170)
    assert "wrong way" in told(wrong)
    assert "class V1" in told(wet)


def test_no_air_layer_where_nothing_went_through() -> None:
    """A division by nought has no value."""
    shut = CUP | {"cup mass at end": 101.0}
    options: dict[str, float | str] = {"area": 0.005, "cup": "wet", "sd_times_v": 21.0}

    assert compute("equivalent air layer", shut, options).value is None
    assert compute("equivalent air layer", CUP, options).value == pytest.approx(21 / 170)


def test_classes_carry_the_doubts_of_their_numbers() -> None:
    """A class from an impossible mass is no sounder."""
    block = {"mass before": 500.0, "mass after": 499.0}
    done = compute("capillary water class", block, {"area": 0.02, "hours": 24.0})

    assert done.value == 3
    assert "negative" in told(done)
    assert compute("water vapour class", CUP, {"area": 0.005, "cup": "wet"}).value == 1


def test_scrub_loss_takes_area_or_stroke_and_width() -> None:
    """300 mm by 40 mm are 0.012 m²."""
    said = compute("wet-scrub loss", SCRUB, PAD)
    drawn = compute("wet-scrub loss", SCRUB, {"stroke": 300.0, "width": 40.0, "density": 1.6})

    assert said.value == pytest.approx(2.865, abs=0.0005)
    assert drawn.value == pytest.approx(said.value)
    assert compute("wet-scrub loss by mass", SCRUB, PAD).value == pytest.approx(4.583, abs=0.0005)
    assert "how large" in told(compute("wet-scrub loss", SCRUB, {"density": 1.6}))


def test_an_area_that_stroke_and_width_contradict_is_doubted() -> None:
    """300 mm × 40 mm are 0.012 m²."""
    alike = compute("wet-scrub loss by mass", SCRUB, {**PAD, "stroke": 300.0, "width": 40.0})
    other = compute("wet-scrub loss by mass", SCRUB, {**PAD, "stroke": 30.0, "width": 40.0})

    assert alike.findings == ()
    assert "another area" in told(other)
    assert other.value == alike.value


def test_a_rust_area_that_the_ratings_contradict_is_doubted() -> None:
    """0.5 % of rust is rated 6 by ASTM D610 (read), not 2."""
    done = compute("rust area", {"rust area": 0.5, "rust rating": 2.0}, {"least": 0.01})
    alike = compute("rust area", {"rust area": 0.5, "rust rating": 6.0}, {"least": 0.01})

    assert done.value == 0.5
    assert "contradict" in told(done)
    assert alike.findings == ()


def test_gain_by_scrubbing_is_doubted() -> None:
    """Soap left on the panel weighs."""
    done = compute("wet-scrub loss", SCRUB | {"mass after 200 cycles": 50.1}, PAD)

    assert done.value is not None
    assert done.value < 0
    assert "heavier after scrubbing" in told(done)


def test_scrub_class_lies_between_4_and_5_until_the_40_cycles_are_read() -> None:
    """EN 13300: above 70 µm at 200 cycles the 40 decide."""
    much = {"mass before": 50.0, "mass after 200 cycles": 48.0}
    done = compute("wet-scrub class", much, PAD)
    told_40 = compute("wet-scrub class", much | {"mass after 40 cycles": 49.0}, PAD)

    assert (done.flag, done.value, done.value_to) == ("between", 4, 5)
    assert (told_40.flag, told_40.value) == ("ok", 4)
    assert compute("wet-scrub class", SCRUB, PAD).value == 1


def test_lighter_after_fewer_cycles_is_doubted() -> None:
    """Mass goes one way."""
    odd = SCRUB | {"mass after 40 cycles": 49.0}

    assert "lighter after 40" in told(compute("wet-scrub loss", odd, PAD))


def test_scrub_cycles_stay_above_where_the_film_holds() -> None:
    """The end of the test is no failure."""
    done = compute(
        "scrub cycles to failure", {}, off_scale=off("cycles to failure", "above", 1200.0)
    )

    assert (done.value, done.flag) == (1200, "above")
    assert "whole numbers" in told(compute("scrub cycles to failure", {"cycles to failure": 0.5}))


def test_spot_keeps_signed_components_beside_the_distance() -> None:
    """3 lighter and 4 less red are 5 apart."""
    assert compute("water-spot colour difference", SPOT).value == pytest.approx(5)
    assert compute("water-spot lightness change", SPOT).value == pytest.approx(3)
    assert compute("water-spot redness change", SPOT).value == pytest.approx(-4)
    assert compute("water-spot yellowness change", SPOT).value == pytest.approx(0)


def test_sound_film_counts_as_above_the_days_observed() -> None:
    """Blank first blister, 14 days watched: more than 14."""
    sound = compute("days to first blister", {"days observed": 14.0})
    failed = compute("days to first blister", {"days observed": 14.0, "days to first blister": 3.0})

    assert (sound.value, sound.flag) == (14, "above")
    assert (failed.value, failed.flag, failed.findings) == (3, "ok", ())


def test_blister_between_two_looks_stays_between() -> None:
    """What the bench wrote is passed on, and an impossible day is doubted."""
    days = off("days to first blister", "between", 3.0, 5.0)
    between = compute("days to first blister", {"days observed": 14.0}, off_scale=days)
    late = {"days observed": 14.0, "days to first blister": 20.0}

    assert (between.value, between.value_to, between.flag) == (3, 5, "between")
    assert "more days than" in told(compute("days to first blister", late))
    assert compute("days to first blister", {}).value is None


@pytest.mark.parametrize(
    ("method", "values", "options"),
    [
        ("water uptake", FILM | {"mass wet": 0.5}, {}),
        ("wet-scrub loss", SCRUB | {"mass after 200 cycles": 50.0}, PAD),
        ("days to first blister", {"days to first blister": 0.0, "days observed": 14.0}, {}),
    ],
)
def test_zero_is_doubted_where_logarithms_are_fitted(
    method: str, values: dict[str, float], options: dict[str, float | str]
) -> None:
    """One zero would stop the fit of a whole response."""
    done = compute(method, values, options)

    assert done.value == 0
    assert "no logarithm" in told(done)


def test_half_steps_need_agreement() -> None:
    """ISO 4628-1 (read): half steps where they were agreed."""
    half = {"blister density": 2.5, "blister size": 3.0}

    assert "half step" in told(compute("blister density", half, {"half_steps": "no"}))
    assert compute("blister density", half, {"half_steps": "yes"}).findings == ()


@pytest.mark.parametrize(
    ("method", "values"),
    [
        ("blister density", {"blister density": 2.0, "blister size": 0.0}),
        ("blister size", {"blister density": 0.0, "blister size": 3.0}),
        ("blister frequency", {"size number": 10.0, "frequency": 2.0}),
        ("blister size number", {"size number": 6.0, "frequency": 0.0}),
    ],
)
def test_blisters_without_a_size_are_doubted(method: str, values: dict[str, float]) -> None:
    """Density and size are sound together or not at all."""
    assert "none of a size" in told(compute(method, values))


def test_rust_that_nobody_sees_counts_as_below() -> None:
    """Zero per cent has no logarithm, and no eye sees less than the least area."""
    done = compute("rust area", {"rust area": 0.0}, {"least": 0.01})
    seen = compute("rust area", {"rust area": 0.5}, {"least": 0.01})

    assert (done.value, done.flag) == (0.01, "below")
    assert (seen.value, seen.flag) == (0.5, "ok")


def test_rust_is_rated_by_eye_or_by_area() -> None:
    """ASTM D610 (read): 0.5 % is 6; ISO 4628-3 (from memory): Ri2."""
    area = {"rust area": 0.5}

    assert compute("rust rating", area).value == 6
    assert compute("rust grade", area).value == 2
    assert compute("rust grade", {"rust grade": 4.0}).value == 4
    assert "none of" in told(compute("rust grade", {}))


def test_cross_cut_turns_a_rating_of_the_sister_standard() -> None:
    """2B is class 3, whichever was read."""
    assert compute("cross-cut class", {"cross-cut rating": 2.0}).value == 3
    assert compute("cross-cut rating", {"cross-cut class": 3.0}).value == 2
    assert compute("cross-cut class", {"flaked area": 20.0}).value == 3
    assert compute("wet cross-cut rating", {"wet flaked area": 20.0}).value == 2


def test_scale_read_the_wrong_way_round_is_doubted() -> None:
    """Class 5 and 5B on one panel cannot both be."""
    both = {"cross-cut class": 5.0, "cross-cut rating": 5.0}
    done = compute("cross-cut class", both)

    assert done.value == 5
    assert "contradict" in told(done)
    assert "contradict" in told(compute("rust rating", {"rust rating": 1.0, "rust area": 0.05}))


def test_area_beyond_the_whole_is_doubted() -> None:
    """More than all cannot flake."""
    assert "above 100" in told(compute("cross-cut class", {"flaked area": 120.0}))


def test_doubts_hold_no_units_of_the_plan() -> None:
    """Equal doubts of several runs are told once, so that they must be equal."""
    one, other = (
        compute("water uptake", FILM | {"mass wet": wet}).findings for wet in (0.497, 0.498)
    )

    assert [replace(f, evidence={}) for f in one] == [replace(f, evidence={}) for f in other]
