"""Dose arithmetic: active on pigment, as supplied, on mill base, on paint, and coverage.

All of it is definition: m_active = P × dose / 100, m_supplied = m_active / a, and coverage
Γ = 10 × dose / S, with P the pigment (g), a the active fraction, S the specific surface (m²/g).
"""

from __future__ import annotations

from collections.abc import Mapping

# 1 % on pigment is 10 mg a gram of pigment.
MG_PER_G_AND_PERCENT = 10.0


def active_g(dose_percent: float, pigment_g: float) -> float:
    """Give the grams of active matter of a dose, % active on pigment.

    Example:
        >>> round(active_g(1.8, 600.0), 6)
        10.8
    """
    return pigment_g * dose_percent / 100


def dose_of(active: float, pigment_g: float) -> float:
    """Give the dose, % active on pigment, of grams of active matter.

    Example:
        >>> round(dose_of(10.8, 600.0), 6)
        1.8
    """
    return 100 * active / pigment_g


def as_supplied_g(active: float, active_percent: float) -> float:
    """Give the grams to weigh of a material for grams of active matter.

    Example:
        >>> as_supplied_g(10.8, 40.0)
        27.0
    """
    return 100 * active / active_percent


def water_inside_g(supplied_g: float, active_percent: float, solvent_percent: float = 0.0) -> float:
    """Give the grams of water that come with a material as supplied.

    Example:
        >>> round(water_inside_g(27.0, 40.0), 6)
        16.2
    """
    return supplied_g * (100 - active_percent - solvent_percent) / 100


def supplied_on_pigment(dose_percent: float, active_percent: float) -> float:
    """Give % as supplied on pigment for a dose, % active on pigment.

    Example:
        >>> supplied_on_pigment(1.8, 40.0)
        4.5
    """
    return 100 * dose_percent / active_percent


def active_on_whole(dose_percent: float, pigment_percent: float) -> float:
    """Give % active on a whole that holds so much pigment: the mill base, or the paint.

    Args:
        dose_percent: Dose, % active on pigment.
        pigment_percent: Pigment in the mill base or in the paint, % by mass.

    Example:
        >>> active_on_whole(1.8, 60.0)
        1.08
    """
    return dose_percent * pigment_percent / 100


def dose_from_whole(active_on_whole_percent: float, pigment_percent: float) -> float:
    """Give the dose, % active on pigment, from % active on a whole; the way back."""
    return 100 * active_on_whole_percent / pigment_percent


def pigment_in_paint(pigment_percent: float, millbase_g: float, letdown_g: float) -> float:
    """Give the pigment of a paint, % by mass, let down from a mill base.

    Example:
        >>> pigment_in_paint(60.0, 100.0, 300.0)
        15.0
    """
    return pigment_percent * millbase_g / (millbase_g + letdown_g)


def coverage_of(dose_percent: float, surface_m2_per_g: float) -> float:
    """Give the coverage of the pigment's surface, mg/m².

    Example:
        >>> round(coverage_of(1.8, 12.0), 6)
        1.5
    """
    return MG_PER_G_AND_PERCENT * dose_percent / surface_m2_per_g


def dose_from_coverage(coverage_mg_per_m2: float, surface_m2_per_g: float) -> float:
    """Give the dose, % active on pigment, that covers the surface so far.

    Example:
        >>> dose_from_coverage(2.0, 50.0)
        10.0
    """
    return coverage_mg_per_m2 * surface_m2_per_g / MG_PER_G_AND_PERCENT


def supplied_shares(
    shares: Mapping[str, float], active_percent: Mapping[str, float]
) -> dict[str, float]:
    """Turn shares of active matter into shares of the package as supplied.

    The two differ wherever the additives differ in active content: say the basis every time.

    Args:
        shares: Share of active matter by additive, together 1.
        active_percent: Active content as supplied by additive, %.
    """
    weights = {name: share / active_percent[name] for name, share in shares.items()}
    total = sum(weights.values())
    return {name: weight / total for name, weight in weights.items()}
