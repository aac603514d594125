"""What a paint costs in raw materials, in the currency of the brief."""

from __future__ import annotations

from collections.abc import Sequence


def cost_per_kg(grams: Sequence[float], prices_per_kg: Sequence[float]) -> float:
    """Give the cost of one kilogram.

    Args:
        grams: Of each raw material, as supplied.
        prices_per_kg: Of each, as supplied.

    Example:
        >>> cost_per_kg([750.0, 250.0], [1.0, 5.0])
        2.0
    """
    return sum(g * p for g, p in zip(grams, prices_per_kg, strict=True)) / sum(grams)


def cost_per_litre(per_kg: float, density_g_per_ml: float) -> float:
    """Give the cost of one litre from that of one kilogram and the density."""
    return per_kg * density_g_per_ml


def cost_per_strength_unit(per_kg: float, strength_percent: float) -> float:
    """Give the cost of a kilogram of full colour strength: what pays for a dearer dispersant.

    Args:
        per_kg: Of the mill base or paint.
        strength_percent: Colour strength against the standard, which is 100.

    Source:
        Common practice, no source.

    Example:
        >>> cost_per_strength_unit(4.2, 105.0)
        4.0
    """
    return per_kg / (strength_percent / 100.0)
