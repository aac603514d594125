"""Repeats of one unit against the critical range."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.lab.doubts.repeats import critical_range_factor, torn_repeats
from tests.analysis.bench_cases import bench_of, reading, study_of


def repeats(*values: float, **response: Any) -> list[Any]:
    """Doubt the repeats of run 7."""
    rows = [reading(7, value, id=i, repeat=i) for i, value in enumerate(values, start=1)]
    return list(torn_repeats(bench_of(*rows, study=study_of({"name": "viscosity", **response}))))


@pytest.mark.parametrize(("factor", "is_doubted"), [(0.999, False), (1.001, True)])
@pytest.mark.parametrize("n", [2, 3])
def test_the_range_is_held_against_the_brief(n: int, factor: float, is_doubted: bool) -> None:
    """f(n) × the standard deviation, on the scale that is fitted."""
    ratio = np.exp(factor * critical_range_factor(n) * 0.04)
    values = [500.0, 500.0 * ratio, 500.0 * np.sqrt(ratio)][:n]

    assert bool(repeats(*values, scale="log", repeatability_sd=0.04)) == is_doubted


@pytest.mark.parametrize(("factor", "is_doubted"), [(0.99, False), (1.01, True)])
def test_without_a_word_in_the_brief_the_method_tells(factor: float, is_doubted: bool) -> None:
    """A relative one, as a part of the mean; the source goes with the doubt."""
    gap = factor * critical_range_factor(2) * 0.022 * 500
    found = repeats(500 - gap / 2, 500 + gap / 2, **{"from": "high-shear viscosity"})

    assert bool(found) == is_doubted
    assert all("D4287" in str(one.finding.evidence["repeatability of"]) for one in found)


def test_a_response_of_unknown_repeatability_raises_none() -> None:
    """Its own replicates tell, in the fit."""
    assert not repeats(500.0, 900.0)


def test_the_doubt_names_run_panel_values_cells_and_readings() -> None:
    """So that the line can be found, and each reading be noted."""
    rows = [
        reading(7, value, id=i, repeat=i, panel=2, source=f"table.csv, cell C{i}")
        for i, value in enumerate((500.0, 700.0), start=1)
    ]
    study = study_of({"name": "viscosity", "scale": "log", "repeatability_sd": 0.04})
    (found,) = torn_repeats(bench_of(*rows, study=study))

    assert found.finding.what.startswith("Run 7, panel 2, 'viscosity': 2 repeats, 500, 700,")
    assert found.sources == ("table.csv, cell C1", "table.csv, cell C2")
    assert found.readings == (1, 2)
    assert (found.runs, found.batches) == ((7,), (7,))


@pytest.mark.parametrize("flag", ["lost", "excluded", "above"])
def test_a_reading_that_is_no_number_is_no_repeat(flag: str) -> None:
    """Whoever noted one as lost has decided already."""
    study = study_of({"name": "viscosity", "scale": "log", "repeatability_sd": 0.04})
    rows = [reading(7, 500.0, id=1), reading(7, 900.0, id=2, repeat=2, flag=flag)]

    assert not list(torn_repeats(bench_of(*rows, study=study)))


def test_other_ages_and_panels_are_no_repeats() -> None:
    """They differ for good reasons."""
    study = study_of({"name": "viscosity", "scale": "log", "repeatability_sd": 0.04})
    rows = [
        reading(7, 500.0, id=1, age_d=1.0),
        reading(7, 900.0, id=2, age_d=28.0),
        reading(7, 900.0, id=3, age_d=1.0, panel=2),
    ]

    assert not list(torn_repeats(bench_of(*rows, study=study)))
