"""From gauge and size readings to values, and over the times of a batch."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.computing.fineness import COMPUTE
from analysis.lab.raw_unit import Computed, OptionValues, RawUnit
from doe.study.readings import Flag, Reading

TIMES = (10.0, 20.0, 35.0, 60.0)


def _done(
    method: str, values: dict[str, float] | None = None, **off: tuple[Flag, float]
) -> Computed:
    off_scale = {
        name: Reading(id=1, run=1, response=name, flag=flag, value=value)
        for name, (flag, value) in off.items()
    }
    unit = RawUnit(label="run 1", values=values or {}, off_scale=off_scale)
    return COMPUTE[method](unit, {})


def _over_time(method: str, values: object, options: OptionValues | None = None) -> Computed:
    numbers = [float(value) for value in np.asarray(values)]
    unit = RawUnit(label="batch 1", points=tuple(zip(TIMES, numbers, strict=False)))
    return COMPUTE[method](unit, options or {})


def _said(done: Computed) -> str:
    return " ".join(finding.what for finding in done.findings)


def test_two_drawdowns_are_averaged() -> None:
    """D1210: the average of two readings, kept unrounded."""
    assert _done("Hegman", {"Hegman": 6.5, "second Hegman": 6.75}).value == 6.625
    assert _done("fineness in micrometres", {"fineness": 12.0}).value == 12.0
    mean = _done("fineness from Hegman", {"Hegman": 7.0, "second Hegman": 6.0})
    assert mean.value == pytest.approx(101.6 - 12.7 * 6.5)


def test_hegman_above_the_last_mark_is_a_fineness_below() -> None:
    """The two scales run against each other."""
    fine = _done("fineness from Hegman", Hegman=("above", 7.5))

    assert fine.value == pytest.approx(6.35)
    assert fine.flag == "below"
    assert _done("Hegman", Hegman=("above", 7.5)).flag == "above"
    assert _done("fineness in micrometres", fineness=("below", 5.0)).flag == "below"


def test_a_fineness_of_nothing_is_the_end_of_the_gauge() -> None:
    """Hegman 8 is no size, and has no logarithm."""
    for done in (
        _done("fineness from Hegman", {"Hegman": 8.0}),
        _done("fineness in micrometres", {"fineness": 0.0}),
    ):
        assert done.value is None
        assert "end of the gauge" in _said(done)


def test_sizes_pass_as_read_and_make_a_span() -> None:
    """Those that do not ascend are doubted: columns changed places."""
    sizes = {"D10": 0.1, "D50": 0.25, "D90": 0.6}

    assert _done("particle size D50", sizes).value == 0.25
    assert _done("particle size D90", sizes).value == 0.6
    assert _done("particle size span", sizes).value == pytest.approx(2.0)
    assert "do not ascend" in _said(_done("particle size D50", sizes | {"D90": 0.2}))
    assert _done("particle size span", {"D50": 0.25}).value is None


def test_a_batch_that_still_rises_has_a_limit_above_its_last_value() -> None:
    """Plateau not reached is said instead of a limit that nobody saw."""
    rising = 104.0 - 49.0 * np.exp(-0.02 * np.array(TIMES))
    limit = _over_time("grind limit", rising)
    time = _over_time("time to 95 % of the gain", rising)

    assert (limit.value, limit.flag) == (pytest.approx(rising[-1]), "above")
    assert (time.value, time.flag) == (60.0, "above")
    assert "plateau not reached" in _said(limit)
    assert "plateau not reached" in _said(time)


def test_a_fineness_that_still_falls_has_a_limit_below_its_last_value() -> None:
    """The same downwards."""
    falling = 5.0 + 60.0 * np.exp(-0.02 * np.array(TIMES))
    limit = _over_time("grind limit", falling)

    assert (limit.value, limit.flag) == (pytest.approx(falling[-1]), "below")


def test_the_part_still_to_come_is_the_briefs_to_say() -> None:
    """A hyperbolic batch has 12 % to come after an hour: refused at 10 %, taken at 15 %."""
    values = 100.0 * np.array(TIMES) / (np.array(TIMES) + 8.0)
    asked: OptionValues = {"approach": "hyperbolic", "still to come": 10.0}
    wider: OptionValues = {"approach": "hyperbolic", "still to come": 15.0}

    assert _over_time("grind limit", values, asked).flag == "above"
    assert _over_time("grind limit", values, wider).value == pytest.approx(100.0)


def test_a_straight_line_has_no_rate() -> None:
    """Its rate would be a number near nothing that wrecks a fit of logarithms."""
    done = _over_time("grind rate", 55.0 + 0.5 * np.array(TIMES))

    assert done.value is None
    assert "no bend" in _said(done)


def test_a_batch_done_at_the_first_time_bounds_its_rate() -> None:
    """At least 95 % within ten minutes."""
    values = [50.0, 100.0, 100.1, 99.9, 100.0]
    unit = RawUnit(label="batch 1", points=tuple(zip((0.0, *TIMES), values, strict=True)))
    rate = COMPUTE["grind rate"](unit, {})
    time = COMPUTE["time to 95 % of the gain"](unit, {})

    assert rate.flag == "above"
    assert rate.value == pytest.approx(0.29957, abs=1e-5)
    assert (time.value, time.flag) == (10.0, "below")


@pytest.mark.parametrize(
    ("values", "options", "said"),
    [
        ([80.0, 90.0, 95.0], {}, "too few grind times"),
        ([100.0, 98.0, 101.0, 99.0], {}, "no approach to a limit"),
        ([60.0, 30.0, 12.0, 6.0], {"approach": "hyperbolic"}, "fall with time"),
    ],
)
def test_what_cannot_be_told_is_said(values: list[float], options: OptionValues, said: str) -> None:
    """No number stands in for what the batch does not show."""
    done = _over_time("grind rate", values, options)

    assert done.value is None
    assert said in _said(done)


def test_stages_that_were_not_read_make_no_increase() -> None:
    """Half a minute off the plan is the bench's clock; more is another stage."""
    values = [80.0, 90.0, 95.0, 96.0]

    assert _over_time("increase between two stages", values).value == pytest.approx(20.0)
    near: OptionValues = {"from time": 10.4, "to time": 20.0}
    assert _over_time("increase between two stages", values, near).value == pytest.approx(12.5)
    far: OptionValues = {"from time": 12.0, "to time": 20.0}
    assert _over_time("increase between two stages", values, far).value is None
