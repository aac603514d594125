"""A dose without a range yet: how the step `dose` reads such a brief, and writes the range in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from doe.errors import StudyError
from doe.study.brief_keys import settle_keys
from doe.study.brief_lines import Path, find_lines
from doe.study.brief_syntax import read_toml
from doe.study.brief_text import read_text
from doe.study.numerals import number_text

# Stands in for a range that is not known yet, so that the rest of the brief can be checked. Wider
# than any dose, % active on pigment, so that no limit of the brief fails for it.
STAND_IN = (0.01, 100.0)
# What gives a factor its settings.
WAYS = ("low", "high", "levels", "value", "range")


@dataclass(frozen=True, slots=True, kw_only=True)
class Insertion:
    """Lines put into a brief.

    Attributes:
        data: The whole file with them.
        lines: The lines, as they stand there.
        after: Number of the line behind which they stand.
    """

    data: bytes
    lines: tuple[str, ...]
    after: int


def open_dose(data: Mapping[str, Any]) -> int | None:
    """Find the factor with the role of the dose that has no settings at all; None without."""
    factors = data.get("factor")
    if not isinstance(factors, list):
        return None
    for i, one in enumerate(factors):
        if isinstance(one, Mapping) and one.get("role") == "dose":
            return None if any(way in one for way in WAYS) else i
    return None


def with_stand_in(data: dict[str, Any]) -> dict[str, Any]:
    """Give an open dose a range that stands in; the brief as it is where none is open."""
    place = open_dose(data)
    if place is None:
        return data
    factors = list(data["factor"])
    factors[place] = {**factors[place], "low": STAND_IN[0], "high": STAND_IN[1]}
    return {**data, "factor": factors}


def has_open_dose(data: bytes) -> bool:
    """Tell whether a brief has a dose without settings."""
    return open_dose(settle_keys(read_toml(read_text(data)[0]).data).data) is not None


def insert_range(data: bytes, low: float, high: float, because: str) -> Insertion:
    """Put low and high into a brief, behind the role of the dose; all else stays as it is.

    Args:
        data: The brief, whose dose is open.
        low: Lowest dose.
        high: Highest dose.
        because: A remark for the line of `low`.

    Raises:
        StudyError: The role of the dose stands on a line of its own nowhere.
    """
    text = data.decode("utf-8-sig")
    toml = read_toml(read_text(data)[0])
    place = open_dose(settle_keys(toml.data).data)
    path: Path = ("factor", place if place is not None else 0, "role")
    line = find_lines(read_text(data)[0]).get(path)
    rows = text.split("\n")
    if place is None or line is None or "{" in rows[line - 1]:
        raise StudyError(
            "the range cannot be put behind the role of the dose",
            where="study.toml",
            do=f"Write low = {number_text(low)} and high = {number_text(high)} yourself.",
        )
    row = rows[line - 1]
    indent = row[: len(row) - len(row.lstrip())]
    end = "\r" if row.endswith("\r") else ""
    new = (
        f"{indent}low = {number_text(low)}  # by millbase dose: {because}",
        f"{indent}high = {number_text(high)}",
    )
    rows[line:line] = [one + end for one in new]
    mark = b"\xef\xbb\xbf" if data.startswith(b"\xef\xbb\xbf") else b""
    return Insertion(data=mark + "\n".join(rows).encode(), lines=new, after=line)
