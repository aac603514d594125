"""Acid groups and the base that neutralises them: an order of magnitude, to be titrated.

Pigment surface, acid groups of a resin, carbon dioxide and buffer salts take base as well.
"""

from __future__ import annotations

# mg KOH per mmol, as acid numbers count.
KOH_G_PER_MOL = 56.106
# Molar masses, g/mol, from standard atomic weights.
AMMONIA_G_PER_MOL = 17.031
SODIUM_HYDROXIDE_G_PER_MOL = 39.997
AMINO_METHYL_PROPANOL_G_PER_MOL = 89.14
ACRYLIC_UNIT_G_PER_MOL = 72.06
# Of the ammonium ion in water at 25 °C; from memory, common handbook value.
AMMONIUM_PKA = 9.25


def acid_groups(active_g: float, acid_number: float) -> float:
    """Give the acid groups in an additive or resin, mmol.

    Args:
        active_g: Grams that the acid number is on.
        acid_number: mg KOH per g.

    Example:
        >>> round(acid_groups(10.0, 200.0), 2)
        35.65
    """
    return active_g * acid_number / KOH_G_PER_MOL


def base_needed(
    acid_mmol: float, molar_mass: float, *, degree: float = 1.0, purity: float = 1.0
) -> float:
    """Give the base that neutralises acid groups, grams as supplied.

    Args:
        acid_mmol: Acid groups.
        molar_mass: Of a base that takes one proton, g/mol.
        degree: Degree of neutralisation, 1 for all groups.
        purity: Mass fraction of the base as supplied, 0..1.
    """
    return acid_mmol * degree * molar_mass / 1000.0 / purity


def acid_number_of_repeat_unit(molar_mass: float = ACRYLIC_UNIT_G_PER_MOL) -> float:
    """Give the acid number of a polymer with one acid group a unit, acid form, mg KOH per g."""
    return 1000.0 * KOH_G_PER_MOL / molar_mass


def free_ammonia_share(ph: float, *, pka: float = AMMONIUM_PKA) -> float:
    """Give the part of ammonia that is free at a pH, 0..1: it smells and leaves.

    Args:
        ph: Of the paint.
        pka: Of the ammonium ion; that of another amine for its free share.

    Example:
        >>> round(free_ammonia_share(9.0), 3)
        0.36
    """
    return float(1.0 / (1.0 + 10.0 ** (pka - ph)))
