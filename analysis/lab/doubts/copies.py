"""A reading written down for two units: raw lines and curves that are equal where chance is not.

Rule of lines: two units whose needed columns are all equal are doubted where fewer than one such
pair in a hundred studies would come about by chance. The chance of one pair is that of two draws
from one normal distribution to fall into the same step of the instrument in every column,
∏ h / ((2√π)^d √det S), with the steps h as the numbers were written and S as the lines of the study
scatter. With few lines only the most telling columns count, which can but raise the chance.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations

import numpy as np

from analysis.lab.doubts.bench import Bench
from analysis.lab.raw_grouping import UnitKey, unit_label
from doe.methods.raw_columns import bench_tests
from doe.study.computed_merge import COMPUTED
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.readings import Reading
from doe.study.settings import FloatArray

# Common practice, no source: one false alarm in a hundred studies.
CHANCE = 0.01
# Common practice, no source: units of equal settings scatter at least a tenth as much as the plan.
ALIKE = 0.1
# Below it no scatter can be told.
_LEAST_LINES = 4
# Digits beyond these come of arithmetic in a spreadsheet.
_MOST_DECIMALS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """What was read on one unit in one test."""

    key: UnitKey
    rows: tuple[Reading, ...]

    @property
    def values(self) -> tuple[float, ...]:
        return tuple(row.value for row in self.rows if row.value is not None)


def copied_lines(bench: Bench) -> Iterator[Doubt]:
    """Find units whose lines are equal where chance is implausible."""
    for test in bench_tests(bench.study):
        rows = bench.raw_rows().get(test.table.name, ())
        needed = tuple(one.name for one in test.table.columns if one.is_needed)
        responses = tuple(one.name for one in test.responses)
        yield from _copied(bench, test.table.name, _lines(rows, needed), responses)
    entered: dict[UnitKey, list[Reading]] = {}
    for row in bench.readings.current():
        if not row.source.startswith(COMPUTED):
            entered.setdefault(_key(row), []).append(row)
    heads = {tuple(sorted({row.response for row in rows})) for rows in entered.values()}
    for names in sorted(heads):
        same = [row for rows in entered.values() for row in rows if _heads(rows) == names]
        yield from _copied(bench, "readings", _lines(same, names), names)


def _heads(rows: Sequence[Reading]) -> tuple[str, ...]:
    return tuple(sorted({row.response for row in rows}))


def _key(row: Reading) -> UnitKey:
    return (row.run, row.panel, row.age_d, row.repeat)


def _lines(rows: Sequence[Reading], columns: Sequence[str]) -> list[_Line]:
    found: dict[UnitKey, dict[str, Reading]] = {}
    for row in rows:
        if row.flag == "ok" and row.value is not None:
            found.setdefault(_key(row), {})[row.response] = row
    lines = [
        _Line(key=key, rows=tuple(cells[name] for name in columns))
        for key, cells in found.items()
        if columns and all(name in cells for name in columns)
    ]
    return sorted(lines, key=lambda line: (line.key[0], str(line.key)))


def _copied(
    bench: Bench, test: str, lines: Sequence[_Line], responses: tuple[str, ...]
) -> Iterator[Doubt]:
    if len(lines) < _LEAST_LINES:
        return
    alike: dict[tuple[float, ...], list[_Line]] = {}
    for line in lines:
        alike.setdefault(line.values, []).append(line)
    twice = [group for group in alike.values() if len({line.key[:3] for line in group}) > 1]
    if not twice:
        return
    values = np.array([line.values for line in lines])
    pairs = len(lines) * (len(lines) - 1) / 2
    for group in twice:
        factor = ALIKE if _has_equal_settings(bench, group) else 1.0
        expected = pairs * chance_of_a_pair(values, scatter=factor)
        if expected < CHANCE:
            yield _doubt(bench, test, group, responses, expected)


def chance_of_a_pair(values: FloatArray, *, scatter: float = 1.0) -> float:
    """Estimate how likely two lines of a table are to be equal by chance.

    Args:
        values: Lines of the table, shape (n, d), as written.
        scatter: How far two such lines scatter, as a part of the scatter of the table.

    Returns:
        An upper bound for the columns that count, 0..1; 1 where nothing varies.

    Source:
        Density at zero of the difference of two draws from N(m, S), 1 / ((2√π)^d √det S), times
        the volume of one step; calculated.
    """
    deviations = values.std(axis=0, ddof=1)
    varied = np.flatnonzero(deviations > 0)
    if not len(varied):
        return 1.0
    steps = np.array([_step(values[:, j]) for j in varied])
    alone = steps / (2 * np.sqrt(np.pi) * deviations[varied] * scatter)
    most = max(1, (len(values) - 2) // 2)
    telling = np.argsort(alone, kind="stable")[:most]
    if len(telling) == 1:
        return float(min(1.0, alone[telling[0]]))
    z = values[:, varied[telling]] / deviations[varied[telling]]
    # Correlated columns tell the same twice: the root of the determinant takes that off.
    spread = np.sqrt(max(float(np.linalg.det(np.cov(z, rowvar=False))), 0.0))
    least = float(alone[telling[0]])
    if spread <= 0:
        return min(1.0, least)
    return float(min(1.0, least, float(np.prod(np.minimum(alone[telling], 1.0))) / spread))


def _step(column: FloatArray) -> float:
    """Find the step of the instrument: the largest one that the numbers as written are made of."""
    decimals = [min(_decimals(value), _MOST_DECIMALS) for value in column]
    places = int(np.median(decimals))
    whole = [round(float(value) * 10**places) for value in column]
    step = int(np.gcd.reduce(np.array(whole) - whole[0]))
    return float(max(step, 1) * 10.0**-places)


def _decimals(value: float) -> int:
    exponent = Decimal(repr(float(value))).as_tuple().exponent
    text = repr(float(value))
    whole = text.endswith(".0")
    return 0 if whole or not isinstance(exponent, int) else max(0, -exponent)


def _has_equal_settings(bench: Bench, group: Sequence[_Line]) -> bool:
    place = {run: i for i, run in enumerate(bench.plan.run)}
    rows = [place[line.key[0]] for line in group if line.key[0] in place]
    values = bench.plan.settings.values
    return any(np.array_equal(values[i], values[j], True) for i, j in combinations(rows, 2))


def _doubt(
    bench: Bench, test: str, group: Sequence[_Line], responses: tuple[str, ...], expected: float
) -> Doubt:
    units = " and ".join(unit_label(line.key) for line in group)
    shown = ", ".join(f"{row.response} {row.value:g}" for row in group[0].rows)
    runs = tuple(dict.fromkeys(line.key[0] for line in group))
    is_raw = test != "readings"
    return Doubt(
        finding=Finding(
            level="caution",
            what=f"{units[0].upper()}{units[1:]} have equal {test if is_raw else 'readings'} "
            f"({shown}): was one of them copied?",
            evidence={
                "test": test,
                "values": shown,
                "pairs expected by chance": float(f"{expected:.2g}"),
            },
            advice="Look at the bench notes; correct the copied one and enter it again, or note "
            f"that it stands: 'millbase note STUDY --run {runs[-1]} --says stands --because …'.",
            source="Equal to the last digit in every column, less than one such pair in a hundred "
            "studies by chance: common practice, no source.",
        ),
        responses=responses,
        runs=runs,
        batches=bench.batches_of(runs),
        readings=() if is_raw else tuple(row.id for line in group for row in line.rows),
        sources=tuple(dict.fromkeys(row.source for line in group for row in line.rows)),
    )
