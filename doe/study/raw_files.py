"""Where raw readings lie in the study folder: one table a test, one file a kind of curve."""

from __future__ import annotations

import re

from doe.study.names import fold

RAW = "raw/"


def raw_file(name: str) -> str:
    """Give the file of a test.

    Example:
        >>> raw_file("water uptake")
        'raw/water-uptake.csv'
    """
    slug = re.sub(r"[^\w]+", "-", fold(name)).strip("-")
    return f"{RAW}{slug}.csv"


def curves_file(kind: str) -> str:
    """Give the file of a kind of curve, which no test shares.

    Example:
        >>> curves_file("flow curve")
        'raw/curves/flow-curve.csv'
    """
    return f"{RAW}curves/{raw_file(kind).removeprefix(RAW)}"
