"""Raw readings outside the ends of their column."""

from __future__ import annotations

import pytest

from analysis.lab.doubts.possible import impossible_raw_readings
from tests.analysis.bench_cases import bench_of, reading, study_of


@pytest.mark.parametrize(("value", "is_doubted"), [(-0.1, True), (0.0, False), (4.2, False)])
def test_a_mass_below_nothing_is_doubted_with_its_cell(value: float, is_doubted: bool) -> None:
    """The column of the test says what is possible."""
    row = reading(3, value, response="mass before", source="bench.xlsx, D7")
    study = study_of({"name": "uptake", "from": "water uptake", "per": "sample"})
    found = list(impossible_raw_readings(bench_of(raw={"water uptake": [row]}, study=study)))

    assert bool(found) == is_doubted
    assert all((one.runs, one.sources) == ((3,), ("bench.xlsx, D7",)) for one in found)
