"""Water taken up by a free film, and what it washed out, from three weighings.

Gravimetric; no one standard is followed. Masses in any one unit, results in % m/m.
"""

from __future__ import annotations

from doe.study.settings import FloatArray


def uptake_on_initial_percent(before: FloatArray, wet: FloatArray) -> FloatArray:
    """Give the water taken up, % of the mass before immersion.

    What the water washes out lowers the wet mass, so that a hydrophilic additive hides itself here.

    Args:
        before: Mass of the dry film, above zero.
        wet: Mass after immersion, blotted.

    Source:
        Definition. 0.5000 g to 0.5425 g gives 8.50 % (calculated).
    """
    return 100.0 * (wet - before) / before


def uptake_on_redried_percent(wet: FloatArray, redried: FloatArray) -> FloatArray:
    """Give the water taken up, % of the mass re-dried: free of what was washed out.

    Args:
        wet: Mass after immersion, blotted.
        redried: Mass of the same film re-dried to constant mass, above zero.

    Source:
        Definition. 0.5425 g, re-dried 0.4960 g, gives 9.375 % (calculated).
    """
    return 100.0 * (wet - redried) / redried


def leached_percent(before: FloatArray, redried: FloatArray) -> FloatArray:
    """Give what the water washed out, % of the mass before immersion.

    A film that held coalescent or water before also loses those on re-drying.

    Args:
        before: Mass of the dry film, above zero.
        redried: Mass of the same film re-dried to constant mass.

    Source:
        Definition. 0.5000 g, re-dried 0.4960 g, gives 0.80 % (calculated).
    """
    return 100.0 * (before - redried) / before
