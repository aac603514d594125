"""What stays when a liquid dries, and what it comes to when water has gone unnoticed."""

from __future__ import annotations

from doe.study.settings import FloatArray


def non_volatile_percent(
    dish: FloatArray, with_wet: FloatArray, with_dry: FloatArray
) -> FloatArray:
    """Give the non-volatile part, % m/m.

    Args:
        dish: Mass of the dish, g.
        with_wet: Dish and sample before drying, more than the dish, g.
        with_dry: Dish and residue, g.

    Source:
        Definition; in the manner of ISO 3251 and ASTM D2369 (both from memory).
    """
    return 100.0 * (with_dry - dish) / (with_wet - dish)


def solids_after_evaporation_percent(
    percent: FloatArray, before_g: FloatArray, after_g: FloatArray
) -> FloatArray:
    """Give the non-volatile part of what is left when volatile matter has gone, % m/m.

    Args:
        percent: Non-volatile part before, % m/m.
        before_g: Mass before, g.
        after_g: Mass after, with all solids still in it, g.

    Source:
        Balance of solids. 66.0 % of 1000 g in 980 g make 67.347 % (calculated).
    """
    return percent * before_g / after_g
