"""Density of a liquid, and the air in it."""

from __future__ import annotations

from doe.study.settings import FloatArray


def density_g_per_ml(empty_g: FloatArray, filled_g: FloatArray, volume_ml: float) -> FloatArray:
    """Give the density from a cup of known volume, g/mL.

    Args:
        empty_g: Mass of cup and lid, g.
        filled_g: The same filled, overflow wiped off, g.
        volume_ml: Of the cup, at the temperature of the test, mL.

    Source:
        Definition; in the manner of ISO 2811-1 and ASTM D1475 (both from memory).
    """
    return (filled_g - empty_g) / volume_ml


def air_percent(foamed: FloatArray, deaerated: FloatArray) -> FloatArray:
    """Give the air in a liquid, % by volume.

    Args:
        foamed: Density as it is, g/mL.
        deaerated: Density of the same liquid without air, above zero, g/mL.

    Source:
        Definition. 1.10 against 1.16 g/mL give 5.172 % (calculated).
    """
    return 100.0 * (1.0 - foamed / deaerated)
