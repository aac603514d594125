"""Per cent or fraction: decided once by all numbers of a file of reflectance, said, or refused."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from doe.errors import Fault
from doe.study.finding import Finding

# A film that fluoresces reflects somewhat more than the perfect white; beyond it is an error.
GREATEST = 1.2
# A greatest number above it is per cent: no film, fluorescent or not, reflects so much light.
_SURELY_PERCENT = 1.5
# A number below it is no per cent: the best black trap reflects about as much. Own choice.
_LEAST_PERCENT = 0.1
# In a curve of per cent more numbers than this part lie above `GREATEST`, unless a decimal sign was
# lost. Own choice: a tenth of 31 points is three.
_LOST_SIGN = 0.1

FloatArray = NDArray[np.float64]
Unit = Literal["per cent", "fraction"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What one number of a file means.

    Attributes:
        factor: 0.01 for per cent, 1 for fractions.
        findings: What was decided, and what looks doubtful about it.
    """

    factor: float
    findings: tuple[Finding, ...]


def scale_of(
    curves: Mapping[str, FloatArray],
    source: str,
    *,
    says: Unit | None,
    whites: Collection[str] = (),
    fluorescent: float = 1.0,
) -> Scale | Fault:
    """Decide whether the numbers of a file are per cent.

    Heads decide first. Without a word the greatest number of the whole file does; where all numbers
    might be either, as those of dark films in per cent, the file is refused.

    Args:
        curves: Readings by place, as the file gives them.
        source: Name of the file.
        says: What the heads say; None where they say nothing.
        whites: Places of the curves of a white.
        fluorescent: Fraction from which a curve is told to look like fluorescence.
    """
    if not curves:
        return Scale(factor=1.0, findings=())
    greatest, where = max((float(y.max()), place) for place, y in curves.items())
    dark_white = next((place for place in whites if curves[place].max() <= GREATEST), None)
    if says == "per cent" and dark_white is not None:
        return _dark_white(float(curves[dark_white].max()), dark_white)
    if says == "per cent" or greatest > _SURELY_PERCENT:
        if says != "per cent" and np.mean(curves[where] > GREATEST) < _LOST_SIGN:
            return _mixed(greatest, where)
        return Scale(factor=0.01, findings=(_said(source, "per cent", greatest), *_low(curves)))
    least = min(float(y.min()) for y in curves.values())
    is_told = says is not None or dark_white is not None or least < _LEAST_PERCENT
    if greatest <= GREATEST and is_told:
        bright = [place for place, y in curves.items() if y.max() > fluorescent]
        findings = (_said(source, "fractions of 1", greatest), *_fluoresces(bright, greatest))
        return Scale(factor=1.0, findings=findings)
    return _unclear(greatest, where)


def percent_fluoresces(curves: Mapping[str, FloatArray]) -> tuple[Finding, ...]:
    """Tell which curves of a file in per cent reflect more than the perfect white."""
    bright = [place for place, y in curves.items() if y.max() > 100.0]
    greatest = max((float(y.max()) for y in curves.values()), default=0.0) / 100.0
    return _fluoresces(bright, greatest)


def _said(source: str, unit: str, greatest: float) -> Finding:
    return Finding(
        level="note",
        what=f"{source}: reflectance is read as {unit}.",
        evidence={"greatest number": float(f"{greatest:.5g}")},
    )


def _low(curves: Mapping[str, FloatArray]) -> tuple[Finding, ...]:
    low = [place for place, y in curves.items() if y.max() <= GREATEST]
    told = tuple(
        Finding(
            level="caution",
            what=f"{place}: the curve stays below {GREATEST:g} %, as one in fractions of 1 would.",
            advice="Check its unit; one file holds one unit.",
        )
        for place in low
    )
    return (*told, *percent_fluoresces(curves))


def _fluoresces(bright: list[str], greatest: float) -> tuple[Finding, ...]:
    if not bright:
        return ()
    more = f" and {len(bright) - 1} more" if len(bright) > 1 else ""
    return (
        Finding(
            level="caution",
            what=f"{bright[0]}{more}: reflectance above 1, as fluorescence or a worn white "
            "standard gives it.",
            evidence={"greatest fraction": float(f"{greatest:.4g}")},
            advice="Calibrate the instrument again; a film that fluoresces has no K/S.",
        ),
    )


def _mixed(greatest: float, where: str) -> Fault:
    return Fault(
        where=where,
        what=f"{greatest:g} looks like per cent, and most numbers of the file like fractions of 1",
        allowed="one unit in a file",
        do="Look for a lost decimal sign, or write all numbers in the same unit.",
    )


def _dark_white(greatest: float, where: str) -> Fault:
    return Fault(
        where=where,
        what=f"the head says per cent, and the white reflects {greatest:g} at most",
        do="Take the per cent sign out of the heads if the numbers are fractions.",
    )


def _unclear(greatest: float, where: str) -> Fault:
    return Fault(
        where=where,
        what=f"the greatest reflectance of the file is {greatest:g}: it may be per cent or a "
        "fraction of 1",
        allowed=f"fractions up to {GREATEST:g}, or per cent",
        do="Add the curve of a white to the file, or say the unit in the heads: 'R% 400' or "
        "'R fraction 400'.",
    )
