"""What wet scrubbing takes off a film, in the manner of ISO 11998 and EN 13300."""

from __future__ import annotations

import numpy as np

from analysis.lab.ratings import class_from
from doe.study.settings import FloatArray

# EN 13300, an older edition: 5, 20 and 70 µm at 200 cycles (read). The 2022 edition may differ.
LIMITS_AT_200_UM = (5.0, 20.0, 70.0)
# Classes 4 and 5 part at 70 µm after 40 cycles (limit from memory, use of 40 cycles read).
LIMIT_AT_40_UM = 70.0


def scrubbed_area_m2(stroke_mm: float, width_mm: float) -> float:
    """Give the scrubbed area, m², from length of stroke and width of pad, mm.

    Source:
        ISO 11998:2006 (read): A = S·W·10⁻⁶.
    """
    return stroke_mm * width_mm * 1e-6


def loss_per_area(before_g: FloatArray, after_g: FloatArray, area_m2: float) -> FloatArray:
    """Give the loss of mass by scrubbed area, g/m².

    Args:
        before_g: Mass of the panel before, g.
        after_g: Mass after scrubbing, rinsed and dried, g.
        area_m2: Scrubbed area, m².

    Source:
        ISO 11998:2006 (read): L = (m1 - m2)/A. 0.0550 g on 0.0120 m² give 4.583 (calculated).
    """
    return (before_g - after_g) / area_m2


def loss_of_thickness_um(loss_g_per_m2: FloatArray, density: float) -> FloatArray:
    """Give the loss of dry film thickness, µm.

    Args:
        loss_g_per_m2: Loss by scrubbed area, g/m².
        density: Of the dry film, not of the paint, g/mL.

    Source:
        ISO 11998:2006 (read): L/ρ. 4.583 g/m² at 1.60 g/mL give 2.865 µm (calculated).
    """
    return loss_g_per_m2 / density


def scrub_class(loss_at_200_um: FloatArray, loss_at_40_um: FloatArray) -> FloatArray:
    """Give the class of wet scrub, 1 (best) to 5.

    Args:
        loss_at_200_um: Loss of thickness in 200 cycles, µm.
        loss_at_40_um: Loss in 40 cycles, µm; asked only where 70 µm or more went in 200.

    Returns:
        Class; NaN where it needs the 40 cycles and has none.

    Source:
        EN 13300, an older edition: 1 to 3 read, 4 and 5 from memory.
    """
    at_200 = 1.0 + class_from(loss_at_200_um, LIMITS_AT_200_UM, limit_belongs="above")
    at_40 = 4.0 + class_from(loss_at_40_um, (LIMIT_AT_40_UM,), limit_belongs="above")
    graded: FloatArray = np.where(at_200 == 4.0, at_40, at_200)
    return graded
