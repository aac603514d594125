"""What storage does: a signed change between two ages of one batch, and a clear layer."""

from __future__ import annotations

from typing import Literal

from doe.study.settings import FloatArray

ChangeAs = Literal["difference", "percent", "ratio"]


def change(start: FloatArray, end: FloatArray, as_: ChangeAs) -> FloatArray:
    """Give the change from start to end; its sign is kept.

    Args:
        start: Value at the first age; not zero for a ratio or per cent.
        end: Value of the same batch at the later age.
        as_: `difference` end - start, in their unit; `percent` of the start; `ratio` end/start.

    Source:
        Definition. Ageing in an oven screens; no days of shelf follow from it.
    """
    if as_ == "difference":
        return end - start
    if as_ == "percent":
        return 100.0 * (end - start) / start
    return end / start


def syneresis_percent(clear_mm: FloatArray, height_mm: FloatArray) -> FloatArray:
    """Give the clear layer on top, % of the height of filling.

    Args:
        clear_mm: Height of the clear layer, mm.
        height_mm: Height of the whole filling, above zero, mm.

    Source:
        Definition; common practice, no standard.
    """
    return 100.0 * clear_mm / height_mm
