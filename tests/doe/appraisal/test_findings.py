"""What the reader is told, in findings, ratios, relations and the summary."""

from __future__ import annotations

import numpy as np
import pytest

from doe.appraisal.appraise import Appraisal, Asked
from doe.appraisal.findings import appraisal_findings
from doe.appraisal.information import information_of
from doe.appraisal.relations import aliases_of
from doe.appraisal.runs import runs_of_values
from doe.appraisal.summary import summarise
from doe.model.coding import coding_of
from doe.model.strata import Stratum
from doe.model.terms import Model, Term
from tests.doe.appraisal.held_plans import appraised, ground, judged
from tests.doe.layouts.briefs import CUT_SIMPLEX, RANGES, a_study

SPLIT = a_study([RANGES[0], {**RANGES[2], "set_per": "sample"}])


def _split(n_batches: int) -> Appraisal:
    """Two levels of dose in turn, three samples a batch, linear model: n − 2 between batches."""
    dose = [0.8, 2.4] * (n_batches // 2) + [0.8] * (n_batches % 2)
    values = np.array([[a, t] for a in dose for t in (15.0, 30.0, 45.0)])
    batch = Stratum(name="batch", unit=np.repeat(np.arange(n_batches), 3))
    return judged(SPLIT, runs_of_values(values, batch), "linear", Asked(ratio=2.0))


@pytest.mark.parametrize(("n_batches", "is_told"), [(5, True), (6, False)])
def test_fewer_than_four_degrees_of_freedom_among_batches_are_a_caution(
    n_batches: int, is_told: bool
) -> None:
    """Five batches and two levels leave three; six leave four."""
    findings = appraisal_findings(_split(n_batches), coding_of(SPLIT))

    cautions = [one.what for one in findings if one.level == "caution"]
    assert any("between batches" in what and "dose" in what for what in cautions) is is_told


def test_variances_at_other_ratios_have_their_closed_form() -> None:
    """Intercept and batch factor (ρ + 1/3)/6, the sample's 1/12: average over the region."""
    found = _split(6)

    assert [at.ratio for at in found.at_ratios] == [0.1, 1.0, 2.0, 10.0]
    for at in found.at_ratios:
        between, within = (at.ratio + 1 / 3) / 6, 1 / 12
        average = between + between / 3 + within / 3
        assert at.average == pytest.approx(average)
        assert at.average_of_run == pytest.approx(average / (1 + at.ratio))
        assert at.std_errors == pytest.approx([between**0.5, between**0.5, within**0.5])


def test_aliases_are_those_of_the_weighted_fit() -> None:
    """(X'V^-1 X)^-1 X'V^-1 Z, written out for batches of unequal size."""
    _, terrain = ground(SPLIT, "linear")
    rng = np.random.default_rng(4)
    values = np.column_stack([rng.uniform(0.8, 2.4, 12), rng.uniform(15, 45, 12)])
    unit = np.array([1, 1, 1, 1, 1, 2, 2, 3, 3, 3, 4, 4])
    runs = runs_of_values(values, Stratum(name="batch", unit=unit))
    X = terrain.rows(values)
    z = (X[:, 1] * X[:, 2])[:, None]
    W = np.linalg.inv(np.eye(12) + 5.0 * (unit[:, None] == unit[None, :]))
    expected = np.linalg.solve(X.T @ W @ X, X.T @ W @ z).ravel()
    beyond = Model(name="beyond", terms=(Term(powers=(("dose", 1), ("grind time", 1))),))

    found = aliases_of(
        information_of(X, runs, 5.0), terrain.expansion.columns, beyond, terrain.region, values
    )

    told = {alias.term: dict(alias.others)["dose × grind time"] for alias in found}
    for name, part in zip(("intercept", "dose", "grind time"), expected, strict=True):
        if abs(part) > 0.05:
            assert told[name] == pytest.approx(part)
    assert len(told) == sum(abs(expected) > 0.05)


def test_d_of_a_blend_is_called_no_percentage() -> None:
    """It only compares plans."""
    study = a_study((), CUT_SIMPLEX)
    found = appraised(study, "extreme vertices", "quadratic")

    whats = [one.what for one in appraisal_findings(found, coding_of(study))]
    assert any("no percentages" in what for what in whats)


def test_a_summary_says_what_cannot_be_tested() -> None:
    """Two batches for two doses: the batch factor has no error to be judged by."""
    found = _split(2)
    text = " ".join(summarise(found))

    assert "no degree of freedom is left to test dose" in text
    assert "in grind time" in text
    assert "If one of batches 0 and 1 fails" in text


def test_a_summary_names_main_effects_that_products_hide_behind() -> None:
    """Half of three factors: each main effect is a product of the two others as well."""
    found = appraised(a_study(RANGES[:3]), "fractional factorial", "linear", resolution=3, centre=0)

    text = " ".join(summarise(found))
    assert "can't tell dose from pH × grind time" in text
