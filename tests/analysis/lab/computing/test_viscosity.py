"""From raw readings of viscosity to values: off the scale, out of range, doubted."""

from __future__ import annotations

import pytest

from analysis.lab.computing.viscosity import COMPUTE
from analysis.lab.raw_unit import Computed, OptionValues, RawUnit
from doe.methods.registry import METHODS
from doe.study.readings import Flag, Reading


def _done(
    method: str, values: dict[str, float] | None = None, options: OptionValues | None = None,
    **off: tuple[Flag, float],
) -> Computed:  # fmt: skip
    off_scale = {
        name.replace("_", " "): Reading(id=1, run=1, response=name, flag=flag, value=value)
        for name, (flag, value) in off.items()
    }
    unit = RawUnit(label="run 1", values=values or {}, off_scale=off_scale)
    known = METHODS[method].options
    defaults = {one.name: one.default for one in known if one.default is not None}
    return COMPUTE[method](unit, {**defaults, **(options or {})})


def _said(done: Computed) -> str:
    return " ".join(finding.what for finding in done.findings)


@pytest.mark.parametrize("load", [69.9, 500.1])
def test_a_load_outside_the_table_gives_no_krebs_units(load: float) -> None:
    """The table says nothing there, and nothing is stretched."""
    done = _done("Stormer consistency", {"load": load})

    assert done.value is None
    assert "outside the table" in _said(done)


def test_a_load_above_the_last_weight_bounds_the_krebs_units() -> None:
    """'> 500' g is 112 KU and more."""
    done = _done("Stormer consistency", load=("above", 500.0))

    assert (done.value, done.flag) == (112.0, "above")


@pytest.mark.parametrize(("temperature", "n_doubts"), [(25.2, 0), (24.8, 0), (25.3, 1), (23.0, 1)])
def test_the_temperature_of_the_standard_is_held(temperature: float, n_doubts: int) -> None:
    """D562: 25 ± 0.2 °C, read; the value stands all the same."""
    done = _done("Stormer consistency", {"load": 200.0, "temperature": temperature})

    assert done.value == 82.0
    assert len(done.findings) == n_doubts


def test_a_laboratory_that_reads_at_another_temperature_says_so_once() -> None:
    """Many read at 23 °C; what counts is that all runs are read alike. The numbers are told."""
    values = {"viscosity": 480.0, "temperature": 23.0}
    doubted = _done("rotational viscosity", values)

    assert "read at 23 °C, where 25 ± 0.5 °C is due" in _said(doubted)
    assert _done("rotational viscosity", values, {"temperature": 23.0}).findings == ()


def test_krebs_units_as_read_pass_through_and_far_ones_are_doubted() -> None:
    """No arithmetic, but 150 KU is beyond the standard's table."""
    assert _done("Krebs units as read", {"Krebs units": 92.5}).value == 92.5
    beyond = _done("Krebs units as read", {"Krebs units": 150.0})
    assert beyond.value == 150.0
    assert "outside the Krebs units" in _said(beyond)


def test_a_viscosity_above_the_scale_stays_above() -> None:
    """A gelling grind is information, not a hole."""
    done = _done("rotational viscosity", viscosity=("above", 100_000.0))

    assert (done.value, done.flag) == (100_000.0, "above")


def test_a_viscosity_of_nothing_is_no_value() -> None:
    """No logarithm stands for it."""
    done = _done("rotational viscosity", {"viscosity": 0.0})

    assert done.value is None
    assert "cannot be" in _said(done)


def test_two_speeds_bound_the_index_where_the_low_one_is_off_the_scale() -> None:
    """η(low) above 9000 over 1000: the shear-thinning index is above 9, n below 0.046."""
    raw = {"viscosity at high speed": 1000.0}
    ratio = _done("shear-thinning index", raw, viscosity_at_low_speed=("above", 9000.0))
    index = _done(
        "flow index from two speeds", raw, {"speed ratio": 10.0},
        viscosity_at_low_speed=("above", 9000.0),
    )  # fmt: skip

    assert (ratio.value, ratio.flag) == (9.0, "above")
    assert index.flag == "below"
    assert index.value == pytest.approx(0.045757, abs=1e-6)


def test_thickening_under_shear_is_told() -> None:
    """A crowded mill base: the index is below 1."""
    raw = {"viscosity at low speed": 900.0, "viscosity at high speed": 1000.0}

    assert "thickens" in _said(_done("shear-thinning index", raw))
    assert "thickens" in _said(_done("flow index from two speeds", raw, {"speed ratio": 10.0}))


def test_no_viscosity_of_zero_makes_a_ratio() -> None:
    """Division by nothing is refused, not infinite."""
    raw = {"viscosity at low speed": 900.0, "viscosity at high speed": 0.0}

    assert _done("shear-thinning index", raw).value is None


@pytest.mark.parametrize(("second", "n_doubts"), [(106.0, 0), (108.0, 1)])
def test_high_shear_duplicates_are_averaged_and_far_ones_doubted(
    second: float, n_doubts: int
) -> None:
    """Less than 7 % of the mean apart is fine (read)."""
    raw = {"viscosity": 100.0, "second viscosity": second}
    done = _done("high-shear viscosity", raw)

    assert done.value == pytest.approx((100.0 + second) / 2.0)
    assert len(done.findings) == n_doubts


@pytest.mark.parametrize(("time", "n_doubts"), [(30.0, 0), (100.0, 0), (29.0, 1), (101.0, 1)])
def test_drain_times_outside_those_of_the_cup_are_doubted(time: float, n_doubts: int) -> None:
    """ISO cups: 30 to 100 s; the value is given all the same."""
    for method in ("efflux time", "kinematic viscosity from efflux"):
        done = _done(method, {"drain time": time}, {"cup": "ISO 4 mm"})

        assert done.value is not None
        assert len(done.findings) == n_doubts


@pytest.mark.parametrize("method", ["efflux time", "kinematic viscosity from efflux"])
@pytest.mark.parametrize("time", [0.0, -3.0])
def test_a_drain_time_of_nothing_gives_no_value(method: str, time: float) -> None:
    """It is no reading."""
    done = _done(method, {"drain time": time}, {"cup": "ISO 4 mm"})

    assert done.value is None
    assert "'drain time' of zero or less" in _said(done)


def test_a_cup_that_drains_too_fast_gives_no_viscosity() -> None:
    """Ford 1 has no viscosity below 35 s."""
    done = _done("kinematic viscosity from efflux", {"drain time": 30.0}, {"cup": "Ford 1"})

    assert done.value is None
    assert "too fast" in _said(done)
