"""Stability and liquid tests from raw readings: values, what is doubted, what stays open."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from analysis.lab.computing.registry import COMPUTE
from analysis.lab.raw_unit import Computed, RawUnit

AGES: dict[str, float | str] = {"of": "viscosity", "start_d": 1.0, "end_d": 28.0}


def compute(
    method: str,
    values: Mapping[str, float] | None = None,
    options: Mapping[str, float | str] | None = None,
    points: tuple[tuple[float, float], ...] = (),
) -> Computed:
    """Compute one unit."""
    unit = RawUnit(label="run 1", values=values or {}, points=points)
    return COMPUTE[method](unit, options or {})


def told(computed: Computed) -> str:
    """Join what the findings say."""
    return " ".join(finding.what for finding in computed.findings)


@pytest.mark.parametrize(
    ("as_", "value"), [("difference", -200.0), ("percent", -20.0), ("ratio", 0.8)]
)
def test_change_keeps_its_sign(as_: str, value: float) -> None:
    """A thinner millbase is no thicker one."""
    done = compute(
        "change after storage", options=AGES | {"as": as_}, points=((1.0, 1000.0), (28.0, 800.0))
    )

    assert done.value == pytest.approx(value)
    assert done.findings == ()


def test_change_takes_its_own_two_ages_of_several() -> None:
    """Ages between are not asked for."""
    points = ((1.0, 1000.0), (7.0, 5000.0), (28.0, 1100.0))

    assert compute(
        "change after storage", options=AGES | {"as": "difference"}, points=points
    ).value == pytest.approx(100)


@pytest.mark.parametrize("as_", ["percent", "ratio"])
def test_parts_of_nothing_have_no_value(as_: str) -> None:
    """A quotient by zero or across zero means nothing."""
    done = compute(
        "change after storage", options=AGES | {"as": as_}, points=((1.0, 0.0), (28.0, 8.0))
    )

    assert done.value is None
    assert "one sign" in told(done)


def test_change_waits_for_the_oven() -> None:
    """Blank is pending."""
    done = compute("change after storage", options=AGES | {"as": "ratio"}, points=((1.0, 9.0),))

    assert done.value is None
    assert "not read yet" in told(done)


def test_ages_must_ascend() -> None:
    """A change back in time has the wrong sign."""
    swapped = AGES | {"start_d": 28.0, "end_d": 1.0, "as": "difference"}
    done = compute("change after storage", options=swapped, points=((1.0, 9.0), (28.0, 8.0)))

    assert done.value is None
    assert "after the first" in told(done)


def test_ph_drift_is_signed_and_knows_the_scale() -> None:
    """The pH of ammonia falls as it leaves; 85 is a slip for 8.5."""
    assert compute("pH drift", options=AGES, points=((1.0, 8.8), (28.0, 8.5))).value == (
        pytest.approx(-0.3)
    )
    assert "no pH" in told(compute("pH drift", options=AGES, points=((1.0, 8.8), (28.0, 85.0))))


def test_settling_stands_as_read() -> None:
    """ASTM D869: 10 is best."""
    assert compute("settling rating", {"settling rating": 7.0}).value == 7
    assert compute("settling rating").value is None


def test_clear_layer_higher_than_the_filling_is_doubted() -> None:
    """Columns get swapped."""
    done = compute("syneresis", {"clear layer": 80.0, "height of filling": 4.0})

    assert done.value == pytest.approx(2000)
    assert "higher than the filling" in told(done)
    assert compute("syneresis", {"clear layer": 0.0, "height of filling": 80.0}).value == 0
    assert compute("syneresis", {"clear layer": 1.0, "height of filling": 0.0}).value is None


@pytest.mark.parametrize(
    ("foamed", "limit", "doubt"),
    [(1.10, 3.0, "misleads"), (1.15, 3.0, ""), (1.15, 0.5, "misleads"), (1.20, 3.0, "cannot be")],
)
def test_air_is_flagged_above_its_limit(foamed: float, limit: float, doubt: str) -> None:
    """Above 3 % (common practice) volumes mislead; below zero a column is wrong."""
    done = compute(
        "air content", {"density foamed": foamed, "density de-aerated": 1.16}, {"limit": limit}
    )

    assert done.value == pytest.approx(100 * (1 - foamed / 1.16))
    assert doubt in told(done)
    assert bool(done.findings) == bool(doubt)


def test_a_foamed_density_of_nothing_gives_no_air() -> None:
    """100 % air is no reading."""
    done = compute(
        "air content", {"density foamed": 0.0, "density de-aerated": 1.2}, {"limit": 2.0}
    )

    assert done.value is None
    assert "'density foamed' of zero or less" in told(done)


def test_density_takes_the_volume_of_the_cup() -> None:
    """116 g in 100 mL; swapped columns are doubted."""
    done = compute("density", {"cup empty": 134.0, "cup filled": 250.0}, {"volume": 100.0})
    swapped = compute("density", {"cup empty": 250.0, "cup filled": 134.0}, {"volume": 100.0})

    assert done.value == pytest.approx(1.16)
    assert "no more than the empty" in told(swapped)
    assert compute("density", {"cup empty": 1.0, "cup filled": 2.0}, {"volume": 0.0}).value is None


def test_residue_heavier_than_the_sample_is_doubted() -> None:
    """Nothing gains by drying."""
    dish = {"dish": 2.0, "dish and sample": 3.0, "dish and residue": 2.66}

    assert compute("non-volatile", dish).value == pytest.approx(66)
    assert "more than the sample" in told(compute("non-volatile", dish | {"dish and residue": 4.0}))
    assert compute("non-volatile", dish | {"dish and sample": 2.0}).value is None
