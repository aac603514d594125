"""How a film lets water through, liquid and vapour, in the manner of EN 1062 and ASTM D1653."""

from __future__ import annotations

import math

from analysis.lab.ratings import class_from
from doe.study.settings import FloatArray

# EN 1062-1 (read): W1 above 0.5, W2 above 0.1, W3 the rest, kg/(m²·h^0.5).
W_LIMITS = (0.1, 0.5)
# EN 1062-1 (read): V1 above 150, V2 from 15 to 150, V3 below 15 g/(m²·d).
V_LIMITS = (15.0, 150.0)
# Calculated from the limits of EN 1062-1: 150 g/(m²·d) stands at 0.14 m, 15 at 1.4 m.
SD_TIMES_V = 21.0


def capillary_coefficient(gain_g: FloatArray, area_m2: float, hours: float) -> FloatArray:
    """Give the coefficient w of water drawn in by capillarity, kg/(m²·h^0.5).

    Args:
        gain_g: Mass gained in that time, g, weighed to 0.1 g.
        area_m2: Coated face under water, m².
        hours: Time under water, h; 24 as a rule.

    Source:
        EN 1062-3:2008 (read in part): 24 h at 23 °C; values above 0.5 are not quantified there.
        15 g through 0.02 m² in 24 h give 0.1531 (calculated).
    """
    return gain_g / 1000.0 / (area_m2 * math.sqrt(hours))


def capillary_class(w: FloatArray) -> FloatArray:
    """Give the class of liquid water: 1 (W1, above 0.5), 2, 3 (W3, at most 0.1 kg/(m²·h^0.5)).

    Source:
        EN 1062-1 (read).
    """
    return 3.0 - class_from(w, W_LIMITS, limit_belongs="below")


def vapour_transmission(change_g: FloatArray, days: FloatArray, area_m2: float) -> FloatArray:
    """Give the rate V of water vapour, g/(m²·d).

    Args:
        change_g: Mass that went through, g: lost by a wet cup, gained by a dry one.
        days: Time between the weighings, d, at a steady rate.
        area_m2: Open face of the cup, m².

    Source:
        ASTM D1653 (formula from memory). 0.85 g in 1 d through 0.005 m² give 170 (calculated).
    """
    return change_g / (days * area_m2)


def vapour_class(v: FloatArray) -> FloatArray:
    """Give the class of water vapour: 1 (V1, above 150), 2, 3 (V3, below 15 g/(m²·d)).

    Source:
        EN 1062-1 (read).
    """
    above_150 = class_from(v, V_LIMITS[1:], limit_belongs="below")
    from_15 = class_from(v, V_LIMITS[:1], limit_belongs="above")
    return 3.0 - above_150 - from_15


def air_layer_m(v: FloatArray, sd_times_v: float = SD_TIMES_V) -> FloatArray:
    """Give sd, the layer of still air that holds vapour back as much, m.

    Args:
        v: Rate of water vapour, above zero, g/(m²·d).
        sd_times_v: What both multiply to, g/(m·d).

    Source:
        EN 1062-1 (limits read; the factor calculated from them): 150 and 0.14 m, 15 and 1.4 m.
    """
    return sd_times_v / v
