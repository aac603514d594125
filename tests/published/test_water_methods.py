"""Water resistance against worked values and printed classes.

Sources: beside each check, with its mark: read in the source, from memory, or calculated from the
printed formula. Tolerance: half a unit in the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.permeability import (
    air_layer_m,
    capillary_class,
    capillary_coefficient,
    vapour_class,
    vapour_transmission,
)
from analysis.lab.scrub import (
    loss_of_thickness_um,
    loss_per_area,
    scrub_class,
    scrubbed_area_m2,
)
from analysis.lab.water_uptake import (
    leached_percent,
    uptake_on_initial_percent,
    uptake_on_redried_percent,
)

BEFORE, WET, REDRIED = np.array(0.5000), np.array(0.5425), np.array(0.4960)
NONE = np.array(np.nan)


def test_uptake_and_leached_part_of_a_worked_film() -> None:
    """Calculated from the definitions: 8.50, 9.375 and 0.80 % m/m."""
    assert uptake_on_initial_percent(BEFORE, WET) == pytest.approx(8.50, abs=0.005)
    assert uptake_on_redried_percent(WET, REDRIED) == pytest.approx(9.375, abs=0.0005)
    assert leached_percent(BEFORE, REDRIED) == pytest.approx(0.80, abs=0.005)


def test_scrub_loss_of_a_worked_panel() -> None:
    """Formula of ISO 11998 read; values calculated: 4.583 g/m² and 2.865 µm."""
    loss = loss_per_area(np.array(0.0550), np.array(0.0), 0.0120)

    assert loss == pytest.approx(4.583, abs=0.0005)
    assert loss_of_thickness_um(loss, 1.60) == pytest.approx(2.865, abs=0.0005)


def test_scrub_loss_agrees_with_a_published_report() -> None:
    """Read in a published report: 1.15 g/m² and 0.65 µm, at the density that both imply."""
    assert loss_of_thickness_um(np.array(1.15), 1.769) == pytest.approx(0.65, abs=0.005)


def test_scrubbed_area_is_stroke_times_width() -> None:
    """ISO 11998 (read): A = S·W·10⁻⁶ m²; 300 mm by 40 mm are 0.0120 m² (calculated)."""
    assert scrubbed_area_m2(300, 40) == pytest.approx(0.0120)


@pytest.mark.parametrize(
    ("at_200", "class_"), [(0.0, 1), (4.99, 1), (5.0, 2), (19.99, 2), (20.0, 3), (69.99, 3)]
)
def test_scrub_classes_at_200_cycles(at_200: float, class_: int) -> None:
    """EN 13300, an older edition (read): 1 below 5 µm, 2 below 20, 3 below 70."""
    assert scrub_class(np.array(at_200), NONE) == class_


@pytest.mark.parametrize(("at_40", "class_"), [(10.0, 4), (69.99, 4), (70.0, 5), (120.0, 5)])
def test_scrub_classes_at_40_cycles(at_40: float, class_: int) -> None:
    """EN 13300 (from memory; use of 40 cycles read): 4 below 70 µm at 40 cycles, else 5."""
    assert scrub_class(np.array(70.0), np.array(at_40)) == class_


def test_scrub_class_is_unknown_without_the_40_cycles() -> None:
    """Above 70 µm at 200 cycles the 40 decide (EN 13300, from memory)."""
    assert np.isnan(scrub_class(np.array(70.0), NONE))


def test_capillary_coefficient_of_a_worked_block() -> None:
    """Formula of EN 1062-3 read; value calculated: 15 g, 0.02 m², 24 h give 0.1531, W2."""
    w = capillary_coefficient(np.array(15.0), 0.02, 24)

    assert w == pytest.approx(0.1531, abs=0.00005)
    assert capillary_class(w) == 2


@pytest.mark.parametrize(("w", "class_"), [(0.51, 1), (0.5, 2), (0.11, 2), (0.1, 3), (0.01, 3)])
def test_classes_of_liquid_water(w: float, class_: int) -> None:
    """EN 1062-1 (read): W1 above 0.5; W2 up to 0.5 and above 0.1; W3 up to 0.1."""
    assert capillary_class(np.array(w)) == class_


def test_vapour_transmission_of_a_worked_cup() -> None:
    """Calculated with the formula of ASTM D1653: 0.85 g, 1 d, 0.005 m² give 170 g/(m²·d)."""
    assert vapour_transmission(np.array(0.85), np.array(1.0), 0.005) == pytest.approx(170)


@pytest.mark.parametrize(("v", "class_"), [(151, 1), (150, 2), (15, 2), (14.9, 3), (0, 3)])
def test_classes_of_water_vapour(v: float, class_: int) -> None:
    """EN 1062-1 (read): V1 above 150; V2 from 15 to 150; V3 below 15 g/(m²·d)."""
    assert vapour_class(np.array(float(v))) == class_


@pytest.mark.parametrize(("v", "sd"), [(150, 0.14), (15, 1.40)])
def test_air_layer_at_the_limits_of_the_classes(v: float, sd: float) -> None:
    """EN 1062-1 (limits read): the limits in V and in sd are the same."""
    assert air_layer_m(np.array(float(v))) == pytest.approx(sd, abs=0.005)
