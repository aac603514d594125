"""Classic layouts where each chemistry has its own dose range, or none."""

from __future__ import annotations

import itertools
from collections import Counter

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.checking import make_layout
from doe.layouts.request import LayoutRuns, Request
from doe.model.coding import code
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import a_request, a_study

RANGES = {"polyacrylate": (0.4, 1.2), "electrosteric": (0.8, 2.4)}


def _request(
    levels: tuple[str, ...],
    *,
    n_more: int = 2,
    models: tuple[str, ...] = ("quadratic",),
    runs: int | None = None,
) -> Request:
    own = [
        {"when": {"chemistry": level}, "low": low, "high": high}
        for level, (low, high) in RANGES.items()
        if level in levels
    ]
    others = [{"name": name, "low": -1.0, "high": 1.0} for name in ("pH", "time", "heat")[:n_more]]
    chemistry = {"name": "chemistry", "levels": list(levels)}
    study = a_study([chemistry, {"name": "dose", "range": own}, *others])
    return a_request(study, models=models, runs=runs)


def _coded(request: Request, runs: LayoutRuns) -> FloatArray:
    return code(runs.values, request.coding)


@pytest.mark.parametrize("layout", ["full factorial", "central composite", "Box-Behnken"])
def test_every_level_runs_over_its_own_range(layout: str) -> None:
    """Coded −1 to +1 at each chemistry, lab units inside its own ends."""
    request = _request(("polyacrylate", "electrosteric"))
    runs = make_layout(layout, request)
    coded = _coded(request, runs)

    for i, (low, high) in enumerate(RANGES.values()):
        at = runs.values[:, 0] == i
        assert (runs.values[at, 1].min(), runs.values[at, 1].max()) == pytest.approx((low, high))
        assert set(np.round(coded[at, 1], 9)) == {-1.0, 0.0, 1.0}


def test_a_full_factorial_makes_a_level_without_the_factor_once() -> None:
    """Three levels of dose, pH and time at two chemistries, nine settings without a dose."""
    request = _request(("none", "polyacrylate", "electrosteric"))
    runs = make_layout("full factorial", request)
    lacking = np.isnan(runs.values[:, 1])

    assert len(runs) == 2 * 27 + 9
    np.testing.assert_array_equal(lacking, runs.values[:, 0] == 0)
    assert Counter(map(tuple, runs.values[lacking, 2:].tolist())) == dict.fromkeys(
        itertools.product((-1.0, 0.0, 1.0), repeat=2), 1
    )
    assert any("18 points are left out" in reason for reason in runs.reasons)


@pytest.mark.parametrize(("layout", "n_points"), [("central composite", 9), ("Box-Behnken", 9)])
def test_composite_layouts_repeat_only_the_centre_without_the_factor(
    layout: str, n_points: int
) -> None:
    """The axial runs of the dose, and the pairs that differ in it, fall on others."""
    request = _request(("none", "polyacrylate", "electrosteric"))
    runs = make_layout(layout, request)
    lacking = np.isnan(runs.values[:, 1])
    counts = Counter(map(tuple, runs.values[lacking, 2:].tolist()))
    centre = counts.pop((0.0, 0.0))

    assert len(counts) == n_points - 1
    assert set(counts.values()) == {1}
    assert centre >= 1


@pytest.mark.parametrize("layout", ["Plackett-Burman", "definitive screening"])
def test_fractions_refuse_a_factor_that_a_level_of_their_columns_lacks(layout: str) -> None:
    """Half of the column would stand still, and the balance be gone."""
    request = _request(("none", "electrosteric"), n_more=3, models=("linear",))

    with pytest.raises(PlanError, match=r"'dose' is no setting at chemistry none"):
        make_layout(layout, request)


def test_a_fraction_of_the_combinations_refuses_too() -> None:
    """A half of 2^5 takes the fifth factor from the product of the others."""
    request = _request(("none", "electrosteric"), n_more=3, models=("interactions",), runs=16)

    with pytest.raises(PlanError, match="would not be balanced"):
        make_layout("fractional factorial", request)


def test_a_refusal_names_what_works() -> None:
    """The full factorial does, and says how many runs."""
    request = _request(("none", "electrosteric"), n_more=3, models=("linear",))

    with pytest.raises(PlanError, match=r"'full factorial' \(\d+ runs\)"):
        make_layout("Plackett-Burman", request)


def test_a_choice_crossed_with_a_fraction_may_lack_the_factor() -> None:
    """Three chemistries repeat the whole table; the one without a dose loses the doubles."""
    request = _request(("none", "polyacrylate", "electrosteric"), n_more=3, models=("linear",))
    runs = make_layout("fractional factorial", request)
    lacking = np.isnan(runs.values[:, 1])

    assert (lacking == (runs.values[:, 0] == 0)).all()
    assert 0 < lacking.sum() < (~lacking).sum()


def test_samples_of_a_batch_take_the_range_of_its_chemistry() -> None:
    """Dose after the grind, per sample: each batch's chemistry decides over its range."""
    own = [
        {"when": {"chemistry": level}, "low": low, "high": high}
        for level, (low, high) in RANGES.items()
    ]
    study = a_study(
        [
            {"name": "chemistry", "levels": ["none", *RANGES]},
            {"name": "pH", "low": 8.0, "high": 9.0},
            {"name": "dose", "set_per": "sample", "range": own},
        ]
    )
    request = a_request(study, models=("quadratic",), sample_from_batch=True)
    runs = make_layout("full factorial", request)
    assert runs.batch is not None
    seen = {
        level: sorted(set(runs.values[runs.values[:, 0] == i, 2].tolist()))
        for i, level in enumerate(["none", *RANGES])
    }

    assert seen["polyacrylate"] == pytest.approx([0.4, 0.8, 1.2])
    assert seen["electrosteric"] == pytest.approx([0.8, 1.6, 2.4])
    assert max(Counter(runs.batch[runs.values[:, 0] == 0].tolist()).values()) == 1
