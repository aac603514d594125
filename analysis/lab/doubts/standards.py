"""The standard of colour read again each day: its strength against that of the first day."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.lab.colour_strength import absorption, strengths
from analysis.lab.doubts.bench import Bench
from doe.methods.raw_columns import bench_tests
from doe.study.curves import Curve
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.raw_data import REFLECTANCE

# Common practice, no source: twice or three times the scatter of a drawdown's strength.
FAR_PERCENT = 3.0


def drifting_standards(bench: Bench) -> Iterator[Doubt]:
    """Find days whose standard is weaker or stronger than that of the first day."""
    tests = [test for test in bench_tests(bench.study) if test.table.curve == REFLECTANCE]
    responses = tuple(
        dict.fromkeys(one.name for test in tests if test.table.references for one in test.responses)
    )
    days: dict[int, list[Curve]] = {}
    for curve in bench.raw.current_curves(REFLECTANCE):
        if curve.subject == "standard" and curve.day is not None and not curve.what:
            days.setdefault(curve.day, []).append(curve)
    if not responses or len(days) < 2:
        return
    first, *others = sorted(days)
    for day in others:
        strength = strength_against(days[first], days[day])
        if strength is not None and abs(strength - 100) > FAR_PERCENT:
            yield _doubt(first, day, strength, (*days[first], *days[day]), responses)


def strength_against(first: list[Curve], later: list[Curve]) -> float | None:
    """Compare the standard of a day with that of the first, repeats averaged.

    Returns:
        Strength where the first absorbs most, %; None where they were read at other wavelengths
        or absorb nothing.
    """
    x = first[0].x
    if any(curve.x != x for curve in (*first, *later)):
        return None
    mean = [np.mean([curve.y for curve in curves], axis=0) for curves in (first, later)]
    if any(np.any(row <= 0) or np.any(row > 1) for row in mean):
        return None
    ratios = absorption(np.array(mean, dtype=np.float64), None)
    found = strengths(ratios[1:], ratios[0], np.ones(len(x)))
    return float(found.maximum[0]) if np.isfinite(found.maximum[0]) else None


def _doubt(
    first: int,
    day: int,
    strength: float,
    curves: tuple[Curve, ...],
    responses: tuple[str, ...],
) -> Doubt:
    return Doubt(
        finding=Finding(
            level="caution",
            what=f"The standard of day {day} has {strength:.4g} % of the strength of that of day "
            f"{first}.",
            evidence={
                "day": day,
                "first day": first,
                "strength of the standard, %": float(f"{strength:.4g}"),
            },
            advice="Calibrate the instrument and read both standards again; if the drawdown itself "
            "is off, draw the standard anew, as strengths of that day are told against it. If it "
            f"is right: 'millbase note STUDY --day {day} --says stands --because …'.",
            source=f"{FAR_PERCENT:g} % between two days: common practice, no source.",
        ),
        responses=responses,
        days=(day,),
        sources=tuple(dict.fromkeys(curve.source for curve in curves)),
    )
