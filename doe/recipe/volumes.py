"""Volumes of a paint and of its dry film, from grams and densities with ideal volumes."""

from __future__ import annotations

# g/mL of linseed oil, the oil of the oil-absorption test; from memory, common handbook value.
# 100 g of pigment take OA / 0.935 mL of it, hence the 93.5 of the usual formula.
LINSEED_OIL_DENSITY = 0.935


def pigment_volume_concentration(pigment_ml: float, binder_ml: float) -> float:
    """Give the part of pigment and filler in the dry film, % by volume.

    Args:
        pigment_ml: Pigment and filler, mL.
        binder_ml: Dry binder, mL; solids of additives belong here or not, which has to be said.

    Source:
        ISO 4618 (terms), from memory: PVC = V_pigment / (V_pigment + V_binder).

    Example:
        >>> round(pigment_volume_concentration(12.0, 122.7273), 3)
        8.907
    """
    return 100.0 * pigment_ml / (pigment_ml + binder_ml)


def critical_pigment_volume_concentration(
    oil_absorption: float, density: float, *, oil_density: float = LINSEED_OIL_DENSITY
) -> float:
    """Give the CPVC from the oil absorption, % by volume.

    Args:
        oil_absorption: g of oil on 100 g of pigment.
        density: Of the pigment, g/mL.
        oil_density: g/mL.

    Returns:
        An upper guide: latex binders pack less well, and their CPVC is lower.

    Source:
        1 / (1 + OA ρ / K) with K = 100 × density of the oil (form read; 0.935 from memory).

    Example:
        >>> round(critical_pigment_volume_concentration(22.0, 5.0), 3)
        45.946
    """
    return 100.0 / (1.0 + oil_absorption * density / (100.0 * oil_density))


def reduced_pigment_volume_concentration(pvc: float, cpvc: float) -> float:
    """Give Λ = PVC / CPVC, both in the same unit: below 1 the binder fills all gaps.

    Source:
        Bierwagen and Hay (1975), Progress in Organic Coatings 3, 281-303; from memory.
    """
    return pvc / cpvc


def spreading_rate(volume_solids: float, dry_film_um: float) -> float:
    """Give the area that one litre covers, m²/L.

    Args:
        volume_solids: % by volume.
        dry_film_um: Thickness of the dry film, µm.

    Example:
        >>> round(spreading_rate(38.0, 30.0), 3)
        12.667
    """
    # 1 L at 1 µm covers 1000 m²; VS % of it stays: 1000 × VS / 100 / DFT.
    return 10.0 * volume_solids / dry_film_um
