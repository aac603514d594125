"""Rating scales of film defects: from areas to ratings, back to areas, and the codes for blisters.

Ratings are ordinal: their order means something, their differences need not. D610 (10 is sound) and
ISO 4628-3 (0 is sound) run in opposite directions, and so do D3359-B (5B) and ISO 2409 (0).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

import numpy as np

from doe.study.settings import FloatArray

# ASTM D610 (read, whole table): most rusted area of the ratings 10, 9 … 1, %; more is 0.
RUST_RATING_LIMITS = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 16.0, 33.0, 50.0)
# ISO 4628-3 (from memory): rusted area of the pictures Ri0 … Ri4, %; Ri5 shows 40 to 50 %.
RUST_GRADE_AREAS = (0.0, 0.05, 0.5, 1.0, 8.0)
# ISO 2409 and ASTM D3359-B (read): most flaked area of the classes 0 … 4 (5B … 1B), %.
CROSS_CUT_LIMITS = (0.0, 5.0, 15.0, 35.0, 65.0)
# ASTM D714 (from memory): few, medium, medium dense, dense, in this order.
BLISTER_FREQUENCIES = ("none", "F", "M", "MD", "D")

_BEST_RATING, _BEST_CROSS_CUT = 10.0, 5.0
_CODE = re.compile(r"\s*([0-5](?:[.,]5)?)\s*\(\s*S\s*([0-5](?:[.,]5)?)\s*\)\s*", re.IGNORECASE)


def class_from(
    x: FloatArray, limits: Sequence[float], *, limit_belongs: Literal["below", "above"]
) -> FloatArray:
    """Count how many limits a number passes; NaN stays NaN.

    Args:
        x: Numbers to class.
        limits: Ascending.
        limit_belongs: To which class a number right on a limit goes.

    Example:
        >>> class_from(np.array([4.0, 5.0, 6.0]), (5.0,), limit_belongs="below")
        array([0., 0., 1.])
    """
    passed = np.searchsorted(limits, x, side="left" if limit_belongs == "below" else "right")
    counted: FloatArray = np.where(np.isnan(x), np.nan, passed.astype(np.float64))
    return counted


def rust_rating(area_percent: FloatArray) -> FloatArray:
    """Give the rust rating, 10 (at most 0.01 %) to 0 (above 50 %), whatever the kind of rust.

    Source:
        ASTM D610-08 (read, whole table): 0.02 % is 9, 0.5 % is 6, 12 % is 3.
    """
    return _BEST_RATING - class_from(area_percent, RUST_RATING_LIMITS, limit_belongs="below")


def rust_rating_areas(rating: int) -> tuple[float, float]:
    """Give the rusted areas that a D610 rating stands for, %: above the first, up to the second.

    Raises:
        ValueError: No whole number from 0 to 10.
    """
    return _ends(int(_BEST_RATING) - rating, RUST_RATING_LIMITS)


def rust_grade(area_percent: FloatArray) -> FloatArray:
    """Give the degree of rusting, 0 (Ri0, none) to 5 (Ri5).

    The standard compares with pictures; here the grade is the first picture with as much rust.

    Source:
        ISO 4628-3:2016 (areas of the pictures from memory).
    """
    return class_from(area_percent, RUST_GRADE_AREAS, limit_belongs="below")


def rust_grade_areas(grade: int) -> tuple[float, float]:
    """Give the rusted areas that a degree of rusting stands for here, %: above, up to.

    Raises:
        ValueError: No whole number from 0 to 5.
    """
    return _ends(grade, RUST_GRADE_AREAS)


def cross_cut_class(area_percent: FloatArray) -> FloatArray:
    """Give the class of a cross-cut, 0 (nothing flaked) to 5 (above 65 %).

    Source:
        ISO 2409:2013 (read): 1 up to 5 %, 2 up to 15, 3 up to 35, 4 up to 65.
    """
    return class_from(area_percent, CROSS_CUT_LIMITS, limit_belongs="below")


def cross_cut_rating(area_percent: FloatArray) -> FloatArray:
    """Give the rating of a cross-cut, 5 (5B, nothing flaked) to 0 (0B, above 65 %).

    Source:
        ASTM D3359, method B (read): same limits as ISO 2409, counted the other way.
    """
    return turned_cross_cut(cross_cut_class(area_percent))


def turned_cross_cut(class_or_rating: FloatArray) -> FloatArray:
    """Turn a class of ISO 2409 into a rating of D3359-B or back: both add to 5."""
    return _BEST_CROSS_CUT - class_or_rating


def cross_cut_areas(class_: int) -> tuple[float, float]:
    """Give the flaked areas that a class of ISO 2409 stands for, %: above, up to.

    Raises:
        ValueError: No whole number from 0 to 5.
    """
    return _ends(class_, CROSS_CUT_LIMITS)


def blister_code(density: float, size: float) -> str:
    """Write blisters as ISO 4628-2 does.

    Example:
        >>> blister_code(2, 3.5)
        '2(S3.5)'
    """
    return f"{density:g}(S{size:g})"


def read_blister_code(code: str) -> tuple[float, float]:
    """Read density and size out of a code such as `2(S3)`; half steps are known.

    Raises:
        ValueError: It is no such code.
    """
    found = _CODE.fullmatch(code)
    density, size = (float(part.replace(",", ".")) for part in found.groups()) if found else (6, 6)
    if max(density, size) > 5:
        raise ValueError(f"'{code}' is no code such as 2(S3)")
    return density, size


def frequency_blister_code(size: int, frequency: int) -> str:
    """Write blisters as ASTM D714 does: size 10 (none), 8, 6, 4, 2, and the letters of frequency.

    Example:
        >>> frequency_blister_code(6, 3)
        '6MD'
    """
    return str(size) if frequency == 0 else f"{size}{BLISTER_FREQUENCIES[frequency]}"


def is_half_step(rating: float) -> bool:
    """Tell whether a rating lies half-way between two whole ones."""
    return (2 * rating) % 2 == 1


def _ends(place: int, limits: Sequence[float]) -> tuple[float, float]:
    if not 0 <= place <= len(limits):
        raise ValueError(f"the scale has {len(limits) + 1} steps, not step {place}")
    ends = (0.0, *limits, 100.0)
    return ends[place], ends[place + 1]
