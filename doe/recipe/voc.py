"""VOC of a paint in the two ways that rules state it; calculated, not measured.

Which substances count is law, not arithmetic: in the EU organic compounds that boil at 250 °C or
below, at 101.3 kPa, per litre of the paint ready for use (Directive 2004/42/EC, read in its UK
transposition). Exempt substances come from the rule in force; the brief says them by material.
"""

from __future__ import annotations

from doe.recipe.materials import WATER_DENSITY_20C

# Pounds in a US gallon, each in g/L: 453.59237 g / 3.785411784 L, both exact by definition.
G_PER_L_OF_LB_PER_GAL = 119.826427


def voc_of_material(
    density_g_per_l: float, non_volatile: float, water: float, exempt: float = 0.0
) -> float:
    """Give the VOC per litre of paint by difference, g/L.

    Args:
        density_g_per_l: Of the paint.
        non_volatile: Mass fraction, 0..1.
        water: Mass fraction, 0..1.
        exempt: Mass fraction of volatile matter that does not count, ammonia included, 0..1.

    Source:
        In the manner of ASTM D3960 (equation from memory, agrees with two published cases).
    """
    return density_g_per_l * (1.0 - non_volatile - water - exempt)


def voc_less_water(
    voc_g_per_l: float,
    density_g_per_l: float,
    water: float,
    exempt: float = 0.0,
    *,
    water_density_g_per_l: float = 1000.0 * WATER_DENSITY_20C,
    exempt_density_g_per_l: float = 1000.0,
) -> float:
    """Give the VOC per litre of paint less water and exempt matter, g/L.

    Args:
        voc_g_per_l: Per litre of paint, by difference or from the recipe.
        density_g_per_l: Of the paint.
        water: Mass fraction, 0..1.
        exempt: Mass fraction, 0..1.
        water_density_g_per_l: Of water at the temperature of the density.
        exempt_density_g_per_l: Of the exempt matter; without any it counts for nothing.

    Source:
        In the manner of ASTM D3960 (equation from memory, agrees with two published cases).
    """
    gone = water / water_density_g_per_l + exempt / exempt_density_g_per_l
    return voc_g_per_l / (1.0 - density_g_per_l * gone)


def voc_of_recipe(density_g_per_ml: float, voc_fraction: float) -> float:
    """Give the VOC per litre from the recipe, g/L.

    Args:
        density_g_per_ml: Of the paint.
        voc_fraction: Mass fraction of VOC over all raw materials, 0..1.

    Example:
        >>> voc_of_recipe(1.25, 0.012)
        15.0
    """
    return 1000.0 * density_g_per_ml * voc_fraction
