"""Stability and liquid tests against worked values, calculated from the definitions."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.foam import air_percent, density_g_per_ml
from analysis.lab.solids import non_volatile_percent, solids_after_evaporation_percent
from analysis.lab.storage import syneresis_percent


def test_solids_after_evaporation() -> None:
    """Calculated: 66.0 % of 1000 g in 980 g are 67.347 %."""
    solids = solids_after_evaporation_percent(np.array(66.0), np.array(1000.0), np.array(980.0))

    assert solids == pytest.approx(67.347, abs=0.0005)


def test_air_by_density() -> None:
    """Calculated: 1.10 against 1.16 g/mL is 5.172 % air."""
    assert air_percent(np.array(1.10), np.array(1.16)) == pytest.approx(5.172, abs=0.0005)


def test_density_cup() -> None:
    """Definition: 116.0 g in 100 mL (calculated)."""
    filled = np.array(250.0)

    assert density_g_per_ml(np.array(134.0), filled, 100.0) == pytest.approx(1.16)


def test_non_volatile_part_of_a_dish() -> None:
    """Definition: 0.66 g left of 1.00 g (calculated)."""
    dish, wet, dry = np.array(2.0), np.array(3.0), np.array(2.66)

    assert non_volatile_percent(dish, wet, dry) == pytest.approx(66.0)


def test_clear_layer() -> None:
    """Definition: 4 mm on 80 mm (calculated)."""
    assert syneresis_percent(np.array(4.0), np.array(80.0)) == pytest.approx(5.0)
