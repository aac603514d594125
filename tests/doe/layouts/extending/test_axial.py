"""Axial runs complete a two-level layout to the published central composite ones."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.checking import make_layout
from doe.layouts.extending.registry import find_purpose
from doe.model.coding import code
from doe.study.settings import FloatArray
from tests.doe.layouts.briefs import BASE_CHOICE, RANGES, WHOLE_SIMPLEX, a_request, a_study
from tests.doe.layouts.extending.studies import ask_for, plan_of, planned

REFERENCE = Path(__file__).parents[3] / "reference" / "nist-rsm-design-tables" / "expected.json"
PUBLISHED = {v["id"]: v for v in json.loads(REFERENCE.read_text(encoding="utf-8"))["values"]}
THREE = [{"name": name, "low": 10, "high": 20} for name in ("first", "second", "third")]


def cube(low: float, high: float, n: int = 3) -> FloatArray:
    """Give the corners of a cube, shape (2^n, n)."""
    axes = np.meshgrid(*[[low, high]] * n, indexing="ij")
    return np.stack(axes, axis=-1).reshape(-1, n).astype(np.float64)


def rows(values: FloatArray) -> set[tuple[float, ...]]:
    """Give settings as a set."""
    return {tuple(row) for row in np.round(values, 6).tolist()}


def test_an_inscribed_core_is_completed_to_the_handbook_s_layout() -> None:
    """NIST e-Handbook, Table 3.25, inscribed: core at 12 and 18, axial runs at 10 and 20.

    The printed core is rounded; the axial runs follow from the exact one at 12.03 and 17.97.
    """
    study = a_study(THREE)
    half = 5 / PUBLISHED["alpha.k3.nf8"]["value"] if "alpha.k3.nf8" in PUBLISHED else 5 / 1.682
    made = find_purpose("axial").make(ask_for(study, plan_of(study, cube(15 - half, 15 + half))))
    axial = made.values[[i for i, kind in enumerate(made.kind) if kind == "axial"]]

    assert {round(15 - half), round(15 + half)} == {12, 18}
    assert sorted(np.unique(axial.round(1)).tolist()) == [10.0, 15.0, 20.0]
    assert len(axial) == 6


def test_axial_runs_beyond_the_ranges_are_those_of_the_handbook() -> None:
    """NIST e-Handbook, Table 3.25, circumscribed: core at 10 and 20, axial runs at 6.6 and 23.4."""
    study = a_study(THREE)
    ask = ask_for(study, plan_of(study, cube(10, 20)), axial_beyond=True)
    made = find_purpose("axial").make(ask)

    low, high = PUBLISHED["ccc.low"], PUBLISHED["ccc.high"]
    assert made.values.min() == pytest.approx(low["value"], abs=low["tolerance"])
    assert made.values.max() == pytest.approx(high["value"], abs=high["tolerance"])


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_both_rounds_together_are_the_central_composite_layout(n: int) -> None:
    """A core at the ends gets the face-centred runs of the layout that is planned at once."""
    study = a_study(RANGES[:n])
    whole = make_layout("central composite", a_request(study, models=("quadratic",)))
    core = whole.values[[i for i, kind in enumerate(whole.kind) if kind == "design"]]
    made = find_purpose("axial").make(ask_for(study, plan_of(study, core)))

    assert rows(np.vstack([core, made.values])) == rows(whole.values)
    assert made.models == ("quadratic",)
    assert made.criterion_value is not None


def test_axial_runs_are_made_at_every_level_of_a_choice() -> None:
    """As in the layout that is planned at once."""
    study = a_study((*RANGES[:2], BASE_CHOICE))
    whole = make_layout("central composite", a_request(study, models=("quadratic",)))
    core = whole.values[[i for i, kind in enumerate(whole.kind) if kind == "design"]]
    made = find_purpose("axial").make(ask_for(study, plan_of(study, core)))

    assert rows(np.vstack([core, made.values])) == rows(whole.values)


def test_centre_runs_link_the_rounds_where_the_first_had_some() -> None:
    """No corner is repeated then; otherwise two are."""
    study = a_study(RANGES[:3])
    with_centre = planned(study, "full factorial", models=("linear",))
    bare = plan_of(study, with_centre.settings.values[
        [i for i, kind in enumerate(with_centre.kind) if kind == "design"]])  # fmt: skip
    made = find_purpose("axial").make(ask_for(study, with_centre))
    other = find_purpose("axial").make(ask_for(study, bare))

    assert "replicate" not in made.kind
    assert made.kind.count("centre") >= 2
    assert other.kind.count("replicate") == 2


def test_the_budget_goes_to_the_centre_and_never_below_the_layout() -> None:
    """Eleven runs: six axial, and five in the centre; six are too few."""
    study = a_study(RANGES[:3])
    plan = planned(study, "full factorial", models=("linear",))
    made = find_purpose("axial").make(ask_for(study, plan, runs=11))

    assert (made.kind.count("axial"), made.kind.count("centre")) == (6, 5)
    with pytest.raises(PlanError, match="8 or more"):
        find_purpose("axial").make(ask_for(study, plan, runs=6))


@pytest.mark.parametrize("what", ["package", "optimal", "one range"])
def test_what_is_no_two_level_layout_is_refused(what: str) -> None:
    """With what would work."""
    study, plan = {
        "package": lambda: _simplex(),
        "optimal": lambda: _scattered(),
        "one range": lambda: _alone(),
    }[what]()

    with pytest.raises(PlanError, match="--for model"):
        find_purpose("axial").make(ask_for(study, plan))


def _simplex() -> tuple[object, object]:
    study = a_study((), WHOLE_SIMPLEX)
    return study, plan_of(study, np.eye(3))


def _scattered() -> tuple[object, object]:
    study = a_study(RANGES[:2])
    return study, plan_of(study, np.array([[0.8, 8.0], [2.4, 8.7], [1.0, 9.5], [2.4, 9.5]]))


def _alone() -> tuple[object, object]:
    study = a_study(RANGES[:1])
    return study, plan_of(study, np.array([[0.8], [2.4]]))


def test_code_of_axial_runs_is_one_setting_off_the_middle() -> None:
    """Each axial run moves one factor."""
    study = a_study(RANGES[:4])
    plan = planned(study, "fractional factorial", models=("interactions",))
    ask = ask_for(study, plan)
    made = find_purpose("axial").make(ask)
    axial = code(
        made.values[[i for i, kind in enumerate(made.kind) if kind == "axial"]], ask.coding
    )

    np.testing.assert_allclose(np.abs(axial).sum(axis=1), 1.0, atol=1e-9)
