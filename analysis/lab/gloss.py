"""Gloss and haze: which geometry tells films apart, and the haze around the mirror image.

Calculated in the manner of ISO 2813, ASTM D523, ASTM D4039 and ISO 13803; their own texts are
needed for conformity. Gloss in GU: a polished glass of refractive index 1.567 has 100.
"""

from __future__ import annotations

import math
from typing import Literal

Geometry = Literal["20°", "60°", "85°"]

# ASTM D523, summary of the method [read]: read 60°; above 70 read 20°, below 10 read 85°.
GLOSSY_AT_60, MATT_AT_60 = 70.0, 10.0


def fitting_geometry(gloss_60: float) -> Geometry:
    """Tell which geometry tells films of such a gloss apart.

    Args:
        gloss_60: At 60°, GU.

    Example:
        >>> fitting_geometry(85.0), fitting_geometry(40.0), fitting_geometry(4.0)
        ('20°', '60°', '85°')
    """
    if gloss_60 > GLOSSY_AT_60:
        return "20°"
    return "85°" if gloss_60 < MATT_AT_60 else "60°"


def haze_from_gloss(gloss_20: float, gloss_60: float) -> float:
    """Compute the haze as gloss at 60° less gloss at 20°, GU.

    Source:
        ASTM D4039 [from memory].
    """
    return gloss_60 - gloss_20


def log_haze(haze: float) -> float:
    """Compute the logarithmic haze from the linear one that an instrument reads beside 20°.

    Args:
        haze: Linear, haze units; above -20.

    Source:
        ISO 13803 [from memory]: 1285 log10(H / 20 + 1).

    Raises:
        ValueError: The haze is -20 or less.

    Example:
        >>> round(log_haze(20.0), 1)
        386.8
    """
    return 1285.0 * math.log10(haze / 20.0 + 1.0)
