"""Repeats of one unit that lie further apart than repeatability allows.

Calculated in the manner of ISO 5725-6:1994; its own text is needed for conformity.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np
from scipy import stats

from analysis.lab.doubts.bench import Bench, cells_of
from analysis.lab.doubts.on_scale import FittedScale, fitted_scale, on_scale
from doe.methods.registry import METHODS
from doe.study.brief import Response
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.names import fold
from doe.study.readings import Reading

PROBABILITY = 0.95
# Rounding of values that lie exactly at the critical range.
_ROUNDING = 1e-9
_SOURCE = (
    "Critical range f(n) × repeatability standard deviation, in the manner of ISO 5725-6:1994 "
    "(from memory); f(n) calculated."
)


@lru_cache(maxsize=64)
def critical_range_factor(n: int) -> float:
    """Give the range of n repeats that is passed once in twenty, in standard deviations.

    Args:
        n: Repeats, two or more.

    Returns:
        f(n), the 95 % point of the studentised range with infinite degrees of freedom.

    Source:
        ISO 5725-6:1994, critical range factors [from memory]; value calculated.

    Example:
        >>> round(critical_range_factor(2), 2)
        2.77
    """
    return float(stats.studentized_range.ppf(PROBABILITY, n, np.inf))


def torn_repeats(bench: Bench) -> Iterator[Doubt]:
    """Find the units whose repeats disagree, where the brief or the method tells repeatability."""
    groups: dict[tuple[str, int, int | None, float | None], list[Reading]] = {}
    for row in bench.readings.current():
        if row.flag == "ok" and row.value is not None:
            key = (fold(row.response), row.run, row.panel, row.age_d)
            groups.setdefault(key, []).append(row)
    responses = {fold(one.name): one for one in bench.study.responses}
    for (name, *_), rows in sorted(groups.items(), key=lambda one: _order(one[1][0])):
        if len(rows) > 1 and name in responses:
            ordered = sorted(rows, key=lambda row: row.repeat)
            yield from _torn(bench, responses[name], ordered)


def _torn(bench: Bench, response: Response, rows: Sequence[Reading]) -> Iterator[Doubt]:
    values = np.array([row.value for row in rows], dtype=np.float64)
    measured = _range_and_sd(bench, response, values)
    if measured is None:
        return
    spread, sd, whose = measured
    limit = critical_range_factor(len(rows)) * sd
    if not spread > limit * (1 + _ROUNDING):
        return
    shown = ", ".join(f"{value:g}" for value in values)
    first = rows[0]
    yield Doubt(
        finding=Finding(
            level="caution",
            what=f"{_unit(first)}, '{response.name}': {len(rows)} repeats, {shown}, lie further "
            f"apart than repeatability allows in one case of twenty ({spread:.3g} against "
            f"{limit:.3g}).",
            evidence={
                "response": response.name,
                "values": shown,
                "range": float(f"{spread:.4g}"),
                "critical range": float(f"{limit:.4g}"),
                "repeatability sd": float(f"{sd:.4g}"),
                "repeatability of": whose,
            },
            advice="Read the unit once more and enter it as a further repeat; note a reading that "
            "went wrong as excluded, or, if they are right, that they stand: "
            f"'millbase note STUDY --run {first.run} --response {response.name} --says stands "
            "--because …'.",
            source=_SOURCE,
        ),
        responses=(response.name,),
        runs=(first.run,),
        batches=bench.batches_of([first.run]),
        readings=tuple(row.id for row in rows),
        sources=cells_of(bench, rows),
    )


def _range_and_sd(
    bench: Bench, response: Response, values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
) -> tuple[float, float, str] | None:
    """Give the range of the repeats and one standard deviation, both in the same terms."""
    scale = fitted_scale(response, bench.choices)
    if response.repeatability_sd and scale.name != "auto":
        z = on_scale(scale, values)
        if not np.all(np.isfinite(z)):
            return None  # impossible on its scale, which is a doubt of its own
        where = "" if scale.name == "identity" else f", {scale.name} scale"
        return float(np.ptp(z)), response.repeatability_sd, f"the brief{where}"
    method = METHODS.get(response.method or "")
    known = method.repeatability if method else None
    if known is None or known.sd <= 0:
        return _by_scatter(bench, response, scale, values)
    sd = known.sd * abs(float(values.mean())) if known.is_relative else known.sd
    return float(np.ptp(values)), sd, known.source or "the method"


def _by_scatter(
    bench: Bench,
    response: Response,
    scale: FittedScale,
    values: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> tuple[float, float, str] | None:
    """Measure repeats by the scatter that the plan reckons with: theirs cannot be greater."""
    wishes = {fold(name): sd for name, sd in bench.study.wishes.sd.items()}
    sd = wishes.get(fold(response.name), 0.0)
    if not sd or scale.name == "auto":
        return None
    z = on_scale(scale, values)
    if not np.all(np.isfinite(z)):
        return None
    return float(np.ptp(z)), sd, "the scatter in [plan] of the brief, as no repeatability is known"


def _unit(reading: Reading) -> str:
    panel = f", panel {reading.panel}" if reading.panel is not None else ""
    age = f", {reading.age_d:g} d" if reading.age_d is not None else ""
    return f"Run {reading.run}{panel}{age}"


def _order(row: Reading) -> tuple[int, str, int, float]:
    return (row.run, fold(row.response), row.panel or 0, -1.0 if row.age_d is None else row.age_d)
