"""Where raw readings lie in the study folder: one table a test, one file a kind of curve."""

from __future__ import annotations

import re

from doe.study.names import fold

RAW = "raw/"


def raw_file(name: str) -> str:
    """Give the file of a test or of a kind of curve.

    Example:
        >>> raw_file("water uptake"), raw_file("flow curve")
        ('raw/water-uptake.csv', 'raw/flow-curve.csv')
    """
    slug = re.sub(r"[^\w]+", "-", fold(name)).strip("-")
    return f"{RAW}{slug}.csv"
