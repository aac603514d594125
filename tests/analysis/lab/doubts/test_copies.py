"""Lines and curves that were written down for two units."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analysis.lab.doubts.copies import chance_of_a_pair, copied_lines
from analysis.lab.doubts.curve_copies import copied_curves
from doe.study.curves import Curve
from doe.study.readings import Reading
from tests.analysis.bench_cases import bench_of, plan_of, reading, study_of

UPTAKE = {"name": "uptake", "from": "water uptake", "per": "sample"}
MASSES = [(4.1273, 4.5519), (4.3318, 4.8027), (3.9911, 4.3120), (4.2564, 4.6611), (4.0482, 4.4925)]


def films(masses: list[tuple[float, float]]) -> list[Reading]:
    """Make the raw lines of films, run by run."""
    return [
        reading(run, value, id=2 * run + k, response=name, source=f"table.csv, {name} {run}")
        for run, line in enumerate(masses, start=1)
        for k, (name, value) in enumerate(zip(("mass before", "mass wet"), line, strict=True))
    ]


def test_a_line_kept_for_two_runs_is_doubted() -> None:
    """Both runs, and every cell."""
    rows = films([*MASSES, MASSES[1]])
    (found,) = copied_lines(bench_of(raw={"water uptake": rows}, study=study_of(UPTAKE)))

    assert found.runs == (2, 6)
    assert found.finding.what.startswith("Run 2 and run 6 have equal water uptake (mass before 4.")
    assert "table.csv, mass wet 6" in found.sources
    assert found.responses == ("uptake",)


def test_lines_equal_in_one_of_two_columns_are_none() -> None:
    """Two films may weigh the same dry."""
    rows = films([*MASSES, (MASSES[1][0], 4.7711)])

    assert not list(copied_lines(bench_of(raw={"water uptake": rows}, study=study_of(UPTAKE))))


def test_coarse_numbers_are_equal_by_chance() -> None:
    """Masses to a tenth of a gram say nothing."""
    rows = films([(round(a, 1), round(b, 1)) for a, b in [*MASSES, MASSES[1]]])

    assert not list(copied_lines(bench_of(raw={"water uptake": rows}, study=study_of(UPTAKE))))


def test_repeats_of_one_unit_may_agree() -> None:
    """It is what repeats are for."""
    rows = films(MASSES)
    rows += [
        reading(2, value, id=90 + k, response=name, repeat=2)
        for k, (name, value) in enumerate(zip(("mass before", "mass wet"), MASSES[1], strict=True))
    ]

    assert not list(copied_lines(bench_of(raw={"water uptake": rows}, study=study_of(UPTAKE))))


def test_readings_entered_as_they_are_are_looked_at_too() -> None:
    """A line of a wide table is copied as easily."""
    study = study_of({"name": "viscosity"}, {"name": "gloss"})
    pairs = [(501.2, 61.3), (633.8, 44.9), (580.4, 52.2), (477.7, 70.6), (633.8, 44.9)]
    rows = [
        reading(run, value, id=2 * run + k, response=name)
        for run, line in enumerate(pairs, start=1)
        for k, (name, value) in enumerate(zip(("viscosity", "gloss"), line, strict=True))
    ]
    rng = np.random.default_rng(3)
    rows += [
        reading(run, round(value, 1), id=2 * run + k, response=name)
        for run in range(6, 9)
        for k, (name, value) in enumerate(
            zip(("viscosity", "gloss"), rng.normal((550, 55), (60, 9)), strict=True)
        )
    ]
    (found,) = copied_lines(bench_of(*rows, study=study))

    assert found.runs == (2, 5)
    assert set(found.readings) == {4, 5, 10, 11}


@pytest.mark.parametrize("correlation", [0.0, 0.9])
def test_the_chance_of_a_pair_is_that_of_drawn_lines(correlation: float) -> None:
    """Against pairs drawn from two normal columns, read in steps [calculated]."""
    rng = np.random.default_rng(8)
    S = [[1.0, correlation], [correlation, 1.0]]
    lines = np.round(rng.multivariate_normal([0.0, 0.0], S, 3000) / 0.1) * 0.1
    _, counts = np.unique(np.round(lines, 1), axis=0, return_counts=True)
    pairs = len(lines) * (len(lines) - 1) / 2
    seen = (counts * (counts - 1) / 2).sum() / pairs

    assert chance_of_a_pair(np.round(lines, 1)) == pytest.approx(seen, rel=0.06)


def test_nothing_is_told_where_nothing_varies() -> None:
    """A column of one number could not be otherwise."""
    assert chance_of_a_pair(np.full((6, 2), 4.1273)) == 1.0


def test_steps_of_five_count_as_such() -> None:
    """Ratings and dials do not show every digit."""
    by_ones = np.array([[101.0], [203.0], [306.0], [411.0]])
    by_fives = np.array([[100.0], [205.0], [305.0], [410.0]])

    assert chance_of_a_pair(by_fives) == pytest.approx(5 * chance_of_a_pair(by_ones), rel=0.02)


def curve(run: int, values: tuple[float, ...], **more: Any) -> Curve:
    """Make a curve of a run, six places."""
    x = tuple(400.0 + 20 * i for i in range(len(values)))
    return Curve(id=run, run=run, x=x, y=values, source=f"curves.csv, line {run}", **more)


STRENGTH = {"name": "strength", "from": "colour strength", "per": "sample"}
ONE, OTHER = (0.1, 0.12, 0.2, 0.33, 0.41, 0.5), (0.1, 0.12, 0.2, 0.33, 0.41, 0.501)


def test_curves_equal_everywhere_are_doubted() -> None:
    """Of two runs, with the lines that they came from."""
    curves = [curve(1, ONE), curve(2, OTHER), curve(3, ONE)]
    (found,) = copied_curves(bench_of(curves={"reflectance": curves}, study=study_of(STRENGTH)))

    assert found.runs == (1, 3)
    assert found.sources == ("curves.csv, line 1", "curves.csv, line 3")
    assert "run 1 and run 3" in found.finding.what


def test_one_standard_for_all_days_is_a_note() -> None:
    """It is done on purpose, and hides drift."""
    curves = [
        Curve(id=day, subject="standard", day=day, x=curve(1, ONE).x, y=ONE) for day in (1, 2)
    ]
    (found,) = copied_curves(bench_of(curves={"reflectance": curves}, study=study_of(STRENGTH)))

    assert found.finding.level == "note"
    assert "drift from day to day does not show" in found.finding.what
    assert found.days == (1, 2)


def test_flat_curves_are_no_copies() -> None:
    """Two blacks that read the same everywhere."""
    curves = [curve(1, (0.04,) * 6), curve(2, (0.04,) * 6)]

    assert not list(
        copied_curves(bench_of(curves={"reflectance": curves}, study=study_of(STRENGTH)))
    )


def test_a_corrected_curve_is_no_copy_of_itself() -> None:
    """Only the curves that stand are looked at."""
    curves = [curve(1, ONE), curve(2, ONE), curve(2, OTHER)]
    curves[2] = Curve(id=9, replaces=2, run=2, x=curves[2].x, y=OTHER)

    assert not list(
        copied_curves(
            bench_of(curves={"reflectance": curves}, study=study_of(STRENGTH), plan=plan_of(4))
        )
    )
