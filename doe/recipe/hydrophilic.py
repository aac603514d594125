"""Hydrophilic load: how much water-loving matter the package leaves in the film."""

from __future__ import annotations

from collections.abc import Sequence


def hydrophilic_load(
    active_g: Sequence[float], hydrophilic_fractions: Sequence[float], film_solids_g: float
) -> float:
    """Give the hydrophilic part of the package on the film, % by mass.

    Args:
        active_g: Active matter of each additive.
        hydrophilic_fractions: Of each, 0..1, as the user declares it.
        film_solids_g: All that stays in the film.

    Returns:
        A covariate to compare recipes by; no measured property of a film.

    Source:
        100 × Σ m_active f / film solids; a definition of this project.

    Example:
        >>> round(hydrophilic_load([0.162, 0.594, 0.324], [0.9, 0.6, 0.2], 196.38), 4)
        0.2887
    """
    pairs = zip(active_g, hydrophilic_fractions, strict=True)
    return 100.0 * sum(g * f for g, f in pairs) / film_solids_g
