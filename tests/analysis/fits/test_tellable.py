"""What the runs cannot tell is left out of a model, and nothing else."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest

from analysis.fits.as_tried import as_tried
from analysis.fits.gaps import in_gaps
from analysis.fits.tellable import tellable, tried_rows
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.terms import make_model, term_label
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

CORNERS = list(product((-1.0, 1.0), repeat=3))


def _read(points: list[tuple[float, ...]]) -> tuple[ResponseData, Coding]:
    names = "abcd"[: len(points[0])]
    rows: list[dict[str, Any]] = [
        dict(zip(names, point, strict=True)) | {"y": float(i)} for i, point in enumerate(points)
    ]
    return adopt(study_of(factors=[range_factor(name) for name in names]), rows, "y")


def _terms(points: list[tuple[float, ...]], model: str) -> set[str]:
    data, coding = _read(points)
    return {
        term_label(term) for term in tellable(make_model(model, coding), data, coding).model.terms
    }


def test_aliased_products_all_go() -> None:
    """Where d = abc: ab with cd, ac with bd, ad with bc; none may speak for its partner.

    Source: Box, Hunter and Hunter (2005), Statistics for Experimenters, 2nd ed., chapter 6, on the
    half fraction of four factors (from memory).
    """
    half = [(a, b, c, a * b * c) for a, b, c in CORNERS]

    assert _terms(half * 2, "interactions") == {"intercept", "a", "b", "c", "d"}


def test_squares_that_only_the_centre_tells_all_go() -> None:
    """A centre tells that something bends, and not along what."""
    points = [*CORNERS, *[(0.0, 0.0, 0.0)] * 4]

    assert _terms(points, "quadratic") == _terms(points, "interactions")


@pytest.mark.parametrize("points", [CORNERS, [*CORNERS, (0.0, 0.0, 0.0)]])
def test_too_few_runs_cut_nothing(points: list[tuple[float, ...]]) -> None:
    """A smaller model is needed, and not a large one with its last terms cut off."""
    data, coding = _read(points)
    model = make_model("quadratic", coding)

    assert tellable(model, data, coding).model == model


def test_a_model_that_the_runs_tell_stays_whole() -> None:
    """Faces beside corners: every square has its own."""
    faces = [tuple(float(s * (i == j)) for j in range(3)) for i in range(3) for s in (-1, 1)]
    data, coding = _read([*CORNERS, *faces])
    model = make_model("quadratic", coding)

    assert tellable(model, data, coding).model == model
    tried = as_tried(study_of(factors=[range_factor(n) for n in "abc"]), coding, tried_rows(data))
    assert (tried.untold, tried.gaps, tried.findings) == ((), (), ())


def test_a_share_that_never_varied_leaves_the_others_told() -> None:
    """Its plane is the region; the blend of the other two is told there."""
    shares = [{"name": name, "low": 0.0, "high": 1.0} for name in ("x", "y", "z")]
    study = study_of(shares=shares)
    rows = [{"x": x, "y": 0.8 - x, "z": 0.2, "r": 3 * x} for x in (0.0, 0.2, 0.4, 0.6, 0.8)]
    data, coding = adopt(study, rows, "r")
    tried = as_tried(study, coding, tried_rows(data))

    assert tried.untold == ("z",)
    inside = np.array([[0.3, 0.5, 0.2], [0.3, 0.4, 0.3]])
    assert list(tried.region.contains(inside)) == [True, False]
    assert list(in_gaps(inside, tried.gaps)[0]) == [False, True]
