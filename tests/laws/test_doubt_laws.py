"""Doubts: what must hold for any bench."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.lab.doubts.gathered import doubts_of
from doe.study.doubt import Doubt, tell
from doe.study.readings import Reading
from tests.analysis.bench_cases import bench_of, plan_of, reading, study_of

CONTROLS = (1, 3, 5, 7)
LAW = settings(max_examples=25, deadline=None)
STUDY = study_of(
    {"name": "viscosity", "scale": "log", "repeatability_sd": 0.04},
    {"name": "uptake", "from": "water uptake", "per": "sample"},
)


def readings(values: list[float]) -> list[Reading]:
    """Read every run twice, and the last like the second, digit by digit."""
    pairs = [*values, values[2], values[3]]
    return [
        reading(1 + i // 2, value, id=i + 1, repeat=1 + i % 2, source=f"t.csv, line {i}")
        for i, value in enumerate(pairs)
    ]


def films(seed: int, copied: bool) -> list[Reading]:
    """Weigh the films of eight runs dry and wet; the sixth as the second, where it is copied."""
    rng = np.random.default_rng(seed)
    masses = np.column_stack([rng.uniform(3.5, 4.5, 8), rng.uniform(4.7, 5.2, 8)]).round(4)
    if copied:
        masses[5] = masses[1]
    return [
        reading(1 + i, float(line[k]), id=2 * i + k, response=name)
        for i, line in enumerate(masses)
        for k, name in enumerate(("mass before", "mass wet"))
    ]


def doubts(rows: list[Reading], raw: list[Reading]) -> tuple[Doubt, ...]:
    """Doubt a bench of eight runs, four of them controls."""
    plan = plan_of(8, controls=CONTROLS)
    return doubts_of(bench_of(*rows, raw={"water uptake": raw}, study=STUDY, plan=plan))


@LAW
@given(
    st.lists(st.floats(100, 5000), min_size=14, max_size=14),
    st.integers(0, 2**16),
    st.randoms(use_true_random=False),
)
def test_the_order_of_rows_does_not_matter(values: list[float], seed: int, random: object) -> None:
    """A table may be sorted as its writer likes."""
    rows, raw = readings(values), films(seed, copied=True)
    turned, turned_raw = list(rows), list(raw)
    random.shuffle(turned)  # type: ignore[attr-defined]
    random.shuffle(turned_raw)  # type: ignore[attr-defined]

    assert tell(doubts(turned, turned_raw)) == tell(doubts(rows, raw))


@LAW
@given(st.integers(0, 2**16))
def test_a_study_without_doubt_gives_none(seed: int) -> None:
    """Scatter within repeatability, films of their own, controls without a trend."""
    rng = np.random.default_rng(seed)
    level = np.array([500.0, 620, 510, 480, 505, 700, 498, 555])
    rows = [
        reading(1 + i, round(float(value * (1 + rng.uniform(-0.01, 0.01))), 2), id=2 * i + k,
                repeat=1 + k)
        for i, value in enumerate(level)
        for k in range(2)
    ]  # fmt: skip

    assert not doubts(rows, films(seed, copied=False))


@LAW
@given(st.integers(0, 2**16))
def test_a_copied_film_is_found_in_any_table(seed: int) -> None:
    """Masses to 0.1 mg are never equal twice by chance."""
    found = [one for one in doubts([], films(seed, copied=True)) if "equal" in one.finding.what]

    assert [one.runs for one in found] == [(2, 6)]
