"""Two responses of a chemical process, desirability on a cuboidal region.

Source: Kuhn, M. (2016), The desirability Package (vignette), sections 4 and 5, with the two models
of Myers, R. H. and Montgomery, D. C. (1995), Response Surface Methodology, as printed there; see
tests/reference/kuhn-desirability-chemical/SOURCE.md. The process data are in mm-chemical-process.
Tolerance: half a unit of the last printed digit; the printed optimum is where a simplex search
stopped, so ours may lie above it, by no more than the 3e-4 that a flat, kinked top leaves open.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.choice.desirability import aims_of, desirability
from analysis.choice.search import choose_compromise
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import fit_response
from doe.model.coding import Coding, coding_of
from doe.model.region import region_of
from doe.study.brief import Study
from tests.analysis.choice.problems import Problem, brief, fit_of
from tests.analysis.fits.adopted_table import adopt, computed, reference_rows

CASE = "kuhn-desirability-chemical"
DATA = Path(__file__).parents[1] / "reference" / CASE / "data.csv"
GOALS = (
    {"name": "conversion", "aim": "high", "worst": 80, "best": 97},
    {"name": "activity", "aim": "target", "worst_low": 55, "best": 57.5, "worst_high": 60},
)
END = 1.682


def _study(*goals: dict[str, object]) -> Study:
    return brief([{"name": f"x{i}", "low": -END, "high": END} for i in (1, 2, 3)], goals)


def _printed_fits(coding: Coding) -> dict[str, Fit]:
    """Turn the printed equations, in units of x, into models coded over ±1.682."""
    with DATA.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    fits = {}
    for name in ("conversion", "activity"):
        plain = fit_of(coding, name, np.zeros(10))
        terms = {row["term"]: float(row[name]) for row in rows}
        coefficients = []
        for column in plain.columns:
            powers = column.term.powers
            label = "".join(f"{n}^2" if power == 2 else n for n, power in powers) or "1"
            degree = sum(power for _, power in powers)
            coefficients.append(terms[label] * END**degree)
        fits[name] = fit_of(coding, name, coefficients)
    return fits


def test_desirabilities_at_the_centre() -> None:
    """Printed: conversion 81.09 gives 0.06411765, activity 59.85 gives 0.06."""
    conversion, activity = aims_of(_study(*map(dict, GOALS)))

    assert float(desirability(conversion, np.array(81.09))) == pytest.approx(0.06411765, abs=5e-9)
    assert float(desirability(activity, np.array(59.85))) == pytest.approx(0.06, abs=0.005)


def test_optimum_in_the_cube() -> None:
    """Printed D = 0.9425094 with conversion 95.1 and activity 57.5."""
    study = _study(*map(dict, GOALS))
    fits = _printed_fits(coding_of(study))
    best = choose_compromise(study, region_of(study), fits, rng=np.random.default_rng(1)).best
    value = {one.response: one.value for one in best.expected}

    assert 0.9425094 - 5e-8 <= best.desirability <= 0.9425094 + 3e-4
    assert best.desirability == pytest.approx(computed(CASE)["cube.opt.D.ours"], abs=1e-4)
    assert value["conversion"] == pytest.approx(95.1, abs=0.05)
    assert value["activity"] == pytest.approx(57.5, abs=0.05)


def test_process_data_lead_to_a_compromise_no_grid_beats() -> None:
    """From the runs of the process: 41³ places of the cube hold nothing better."""
    study = _study(*map(dict, GOALS))
    fits = {}
    for goal in GOALS:
        name = str(goal["name"])
        data, coding = adopt(_study(dict(goal)), reference_rows("mm-chemical-process"), name)
        fits[name] = fit_response(data, coding, model="quadratic").fit
    region = region_of(study)
    best = choose_compromise(study, region, fits, rng=np.random.default_rng(1)).best
    grid = np.stack(np.meshgrid(*[np.linspace(-END, END, 41)] * 3), axis=-1).reshape(-1, 3)
    objective = Problem(study=study, region=region, fits=fits).objective

    assert objective.overall(objective.values(grid)).max() <= best.desirability + 1e-9
