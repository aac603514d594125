"""Gauge scales and grind kinetics against printed, worked and certified numbers."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.computing.registry import COMPUTE
from analysis.lab.fineness import hegman_of_micrometres, micrometres_of_hegman
from analysis.lab.grind_kinetics import Approach, fit_grind, increase_between
from analysis.lab.raw_unit import OptionValues, RawUnit
from tests.analysis.fits.adopted_table import published, reference_rows

TIMES = (10.0, 20.0, 35.0, 60.0)
FIRST_ORDER = (77.108, 89.241, 98.000, 102.661)
HYPERBOLIC = (55.556, 71.429, 81.395, 88.235)


@pytest.mark.parametrize(
    ("hegman", "micrometres"),
    [
        (0, 101.6), (1, 88.9), (2, 76.2), (3, 63.5), (4, 50.8), (5, 38.1), (6, 25.4),
        (6.5, 19.05), (7, 12.70), (7.5, 6.35), (8, 0.0),
    ],
)  # fmt: skip
def test_hegman_is_the_depth_of_the_groove(hegman: float, micrometres: float) -> None:
    """Source: geometry of the gauge, 4 mil at 0 (ASTM D1210); calculated."""
    assert micrometres_of_hegman(np.array([hegman]))[0] == pytest.approx(micrometres, abs=1e-9)
    assert hegman_of_micrometres(np.array([micrometres]))[0] == pytest.approx(hegman, abs=1e-9)


def test_rounded_charts_are_an_option() -> None:
    """Source: 100 − 12.5 H, common practice without a source; 7 Hegman is 12.5 µm there."""
    unit = RawUnit(label="run 1", values={"Hegman": 7.0})
    done = COMPUTE["fineness from Hegman"](unit, {"geometry": "rounded"})

    assert done.value == pytest.approx(12.5)


def _gathered(method: str, values: tuple[float, ...], options: OptionValues) -> float:
    unit = RawUnit(label="batch 1", points=tuple(zip(TIMES, values, strict=True)))
    done = COMPUTE[method](unit, options)
    assert done.value is not None
    assert done.flag == "ok"
    return done.value


def test_first_order_approach_of_the_worked_batch_comes_back() -> None:
    """Source: S0 55, S∞ 104, k 0.06 give the four values; calculated, printed to 0.001."""
    fit = fit_grind(np.array(TIMES), np.array(FIRST_ORDER), "first order")

    assert (fit.start, fit.limit, fit.rate) == pytest.approx((55.0, 104.0, 0.06), rel=2e-4)
    assert fit.half_time == pytest.approx(11.552, rel=2e-4)
    assert fit.time_to(0.95) == pytest.approx(49.929, rel=2e-4)
    assert fit.value(np.array([35.0]))[0] == pytest.approx(98.000, abs=0.001)


def test_methods_give_rate_limit_and_time_of_the_worked_batch() -> None:
    """The same by the registry: k 0.06 1/min, limit 104, 49.93 min to 95 % of the gain."""
    options: OptionValues = {"approach": "first order", "still to come": 10.0}

    assert _gathered("grind rate", FIRST_ORDER, options) == pytest.approx(0.06, rel=2e-4)
    assert _gathered("grind limit", FIRST_ORDER, options) == pytest.approx(104.0, rel=2e-4)
    time = _gathered("time to 95 % of the gain", FIRST_ORDER, options)
    assert time == pytest.approx(49.929, rel=2e-4)


def test_hyperbolic_approach_of_the_worked_batch_comes_back() -> None:
    """Source: S∞ 100, t½ 8; form from memory, used with ISO 8781-1 data; calculated."""
    fit = fit_grind(np.array(TIMES), np.array(HYPERBOLIC), "hyperbolic")

    assert (fit.limit, fit.half_time) == pytest.approx((100.0, 8.0), rel=2e-4)
    assert fit.time_to(0.95) == pytest.approx(19.0 * 8.0, rel=2e-4)


def test_hyperbolic_approach_is_the_line_of_time_over_strength() -> None:
    """Source: t/S = t½/S∞ + t/S∞, from memory: without scatter both forms agree."""
    time = np.array(TIMES)
    strength = 100.0 * time / (time + 8.0)
    slope, level = np.polyfit(time, time / strength, 1)
    fit = fit_grind(time, strength, "hyperbolic")

    assert fit.limit == pytest.approx(1.0 / slope, rel=1e-9)
    assert fit.half_time == pytest.approx(level / slope, rel=1e-9)


@pytest.mark.parametrize(
    ("case", "approach"),
    [
        ("strd-nls-misra1a", "first order from zero"),
        ("strd-nls-boxbod", "first order from zero"),
        ("strd-nls-misra1d", "hyperbolic"),
    ],
)
def test_approaches_reach_certified_regressions(case: str, approach: Approach) -> None:
    """Source: NIST StRD nonlinear, from memory; all eleven printed digits."""
    rows = reference_rows(case)
    x, y = (np.array([float(row[name]) for row in rows]) for name in ("x", "y"))
    fit = fit_grind(x, y, approach)
    found = {
        "b1.estimate": fit.limit,
        "b1.sd": fit.limit_error,
        "b2.estimate": fit.rate,
        "b2.sd": fit.rate_error,
        "rsd": fit.residual_sd,
        "rss": fit.residual_sd**2 * fit.df,
    }

    for name, (value, half_digit) in published(case).items():
        assert found[name] == pytest.approx(value, abs=half_digit * 1.001), name


def test_increase_between_stages_is_on_the_first() -> None:
    """Source: ISO 8781-1:1990, concept read in its abstract; calculated."""
    assert increase_between(80.0, 90.0) == pytest.approx(12.5)
    asked: OptionValues = {"from time": 20.0, "to time": 35.0}
    found = _gathered("increase between two stages", FIRST_ORDER, asked)
    assert found == pytest.approx(100.0 * (98.000 - 89.241) / 89.241, rel=1e-9)
