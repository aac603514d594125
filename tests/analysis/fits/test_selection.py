"""Reducing models: by p, by AICc, within hierarchy, with everything said."""

from __future__ import annotations

from itertools import chain, combinations
from typing import Any

import numpy as np
import pytest

from analysis.fits.fit import Scale
from analysis.fits.fitted_response import fit_response
from analysis.fits.selection import reduce_fit, reduce_model
from doe.model.terms import Model, Term, make_model, term_label
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of


def _rows(seed: int, n: int = 20) -> list[dict[str, Any]]:
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(n):
        dose, ph = rng.uniform(-1, 1, 2)
        y = 10 + 3 * dose + 2 * dose**2 + rng.normal(0, 0.5)
        rows.append({"dose": dose, "pH": ph, "y": y})
    return rows


def _data(seed: int) -> Any:
    study = study_of(factors=[range_factor("dose"), range_factor("pH")])
    return adopt(study, _rows(seed), "y")


def _obeys_hierarchy(terms: tuple[Term, ...]) -> bool:
    present = {term.powers for term in terms}
    mains = {(name, 1) for term in terms for name, _ in term.powers}
    return all((main,) in present for main in mains)


@pytest.mark.parametrize("seed", range(4))
def test_best_aicc_equals_the_exhaustive_search(seed: int) -> None:
    """All subsets of a quadratic in two factors that hierarchy allows, fitted one by one."""
    data, coding = _data(seed)
    full = make_model("quadratic", coding)
    free = [term for term in full.terms if term.powers]
    subsets = chain.from_iterable(combinations(free, size) for size in range(len(free) + 1))
    heights = {}
    for subset in subsets:
        terms = tuple(term for term in full.terms if not term.powers or term in subset)
        if _obeys_hierarchy(terms):
            fitted = fit_response(data, coding, model=Model(name="subset", terms=terms))
            heights[terms] = fitted.assessment.aicc
    reduced, steps = reduce_model(data, coding, full, scale=Scale())

    assert set(reduced.terms) == set(min(heights, key=lambda terms: heights[terms]))
    assert len(steps) == len(full.terms) - len(reduced.terms)


def test_backward_by_p_keeps_what_acts() -> None:
    """Dose and its square stay."""
    data, coding = _data(1)
    reduced, steps = reduce_model(
        data, coding, make_model("quadratic", coding), scale=Scale(), by="p"
    )

    assert {"intercept", "dose", "dose²"} <= {term_label(term) for term in reduced.terms}
    assert all(step.p is not None and step.p > 0.10 for step in steps)


def test_reduction_is_never_silent() -> None:
    """What was left out, what it does to AICc, and a warning about the p-values."""
    data, coding = _data(1)
    full = fit_response(data, coding, model="quadratic")
    reduced = reduce_fit(data, coding, full)
    told = reduced.findings[0]

    assert "Left out of the quadratic model" in told.what
    assert "too sure of themselves" in told.what
    assert told.evidence["AICc after"] < told.evidence["AICc before"]
    assert len(reduced.fit.columns) < len(full.fit.columns)


def test_a_set_of_shares_with_a_factor_becomes_the_factor() -> None:
    """Shares × pH goes as a whole and leaves the pH."""
    rng = np.random.default_rng(3)
    shares = [{"name": name, "low": 0, "high": 1} for name in ("wetting", "dispersing")]
    study = study_of(shares=shares, factors=[range_factor("pH")])
    rows = []
    for _ in range(24):
        share, ph = rng.uniform(), rng.uniform(-1, 1)
        y = 5 * share + 9 * (1 - share) + 2 * ph + rng.normal(0, 0.3)
        rows.append({"wetting": share, "dispersing": 1 - share, "pH": ph, "y": y})
    data, coding = adopt(study, rows, "y")
    full = make_model("interactions", coding)
    reduced, steps = reduce_model(data, coding, full, scale=Scale(), by="p")

    assert {term_label(t) for t in reduced.terms} == {"wetting", "dispersing", "pH"}
    assert steps[0].terms == ("wetting × pH", "dispersing × pH")
