"""Each family of layouts in a study: what it makes, what it refuses, and the advice it gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from doe.errors import PlanError
from doe.layouts.checking import make_layout
from doe.layouts.registry import LAYOUTS, find_layout
from tests.doe.layouts.briefs import (
    BASE_CHOICE,
    CHEMISTRY,
    CUT_SIMPLEX,
    RANGES,
    WHOLE_SIMPLEX,
    a_request,
    a_study,
)

NAMES = (
    "full factorial", "fractional factorial", "Plackett-Burman", "definitive screening",
    "central composite", "Box-Behnken", "simplex lattice", "simplex centroid", "extreme vertices",
    "crossed",
)  # fmt: skip


def test_every_classic_layout_is_registered_with_its_reason() -> None:
    """The registry is what `--layout` offers."""
    assert set(NAMES) <= set(LAYOUTS)
    assert all(layout.for_.endswith(".") for layout in LAYOUTS.values())


@pytest.mark.parametrize("typed", ["plackett burman", "PLACKETT-BURMAN", "Plackett_Burman"])
def test_names_are_matched_folded(typed: str) -> None:
    """Case, spaces and hyphens don't matter."""
    assert find_layout(typed).name == "Plackett-Burman"


def test_an_unknown_layout_lists_those_that_exist() -> None:
    """The error names the registry."""
    with pytest.raises(PlanError, match="Box-Behnken"):
        find_layout("latin square")


def test_a_full_factorial_takes_all_levels() -> None:
    """2 × 3 numeric levels × 3 chemistries, once each, and centre runs beside them."""
    factors = [RANGES[0], {"name": "beads", "levels": [0.4, 0.6, 1.0]}, CHEMISTRY]
    request = a_request(a_study(factors), models=("interactions",), centre=0)

    values = make_layout("full factorial", request).values

    assert len({tuple(row) for row in values}) == len(values) == 18
    assert sorted(set(values[:, 1])) == [0.4, 0.6, 1.0]


@pytest.mark.parametrize("layout", ["fractional factorial", "Plackett-Burman"])
def test_a_choice_of_two_levels_takes_a_column(layout: str) -> None:
    """Each level as often as the other, in no more runs than ranges would need."""
    request = a_request(a_study([*RANGES[:4], BASE_CHOICE]), models=("linear",), centre=0)

    values = make_layout(layout, request).values

    assert np.bincount(values[:, 4].astype(int)).tolist() == [len(values) // 2] * 2


@pytest.mark.parametrize("layout", ["central composite", "Box-Behnken", "fractional factorial"])
def test_a_choice_of_three_levels_repeats_the_layout(layout: str) -> None:
    """The same settings of the ranges at every chemistry."""
    model = "linear" if layout == "fractional factorial" else "quadratic"
    request = a_request(a_study([*RANGES[:3], CHEMISTRY]), models=(model,), centre=0)

    runs = make_layout(layout, request)

    values = runs.values[np.array(runs.kind) != "centre"]
    sets = [{tuple(row[:3]) for row in values if row[3] == level} for level in (0, 1, 2)]
    assert sets[0] == sets[1] == sets[2]


def test_definitive_screening_refuses_a_choice_of_three_levels_with_what_works() -> None:
    """The advice was tried."""
    request = a_request(a_study([*RANGES[:5], CHEMISTRY]), models=("linear",))

    with pytest.raises(PlanError) as raised:
        make_layout("definitive screening", request)

    assert "'fractional factorial'" in str(raised.value)
    assert len(make_layout("fractional factorial", request)) > 0


def test_a_layout_that_cannot_estimate_the_model_names_layouts_and_models_that_do() -> None:
    """Two levels can't tell squares apart."""
    request = a_request(a_study(RANGES[:3]), models=("quadratic",))

    with pytest.raises(PlanError, match=r"can't estimate the quadratic model") as raised:
        make_layout("fractional factorial", request)

    assert "'Box-Behnken' (15 runs)" in str(raised.value)
    assert "--model interactions" in str(raised.value)


def test_a_layout_that_leaves_the_region_says_where_and_what_works() -> None:
    """A limit cuts the corner that a central composite layout needs; Box-Behnken has none there."""
    limit = {"sum": {"dose": 1.0, "pH": 1.0, "grind time": 0.1}, "at_most": 15.7,
             "because": "foam"}  # fmt: skip
    request = a_request(a_study(RANGES[:3], limit=[limit]), models=("quadratic",))

    with pytest.raises(PlanError, match="foam") as raised:
        make_layout("central composite", request)

    assert "'Box-Behnken'" in str(raised.value)


def test_a_box_layout_refuses_a_package() -> None:
    """Shares that sum to 1 are no box; crossed does it."""
    request = a_request(a_study(RANGES[:1], CUT_SIMPLEX), models=("linear",))

    with pytest.raises(PlanError, match="'crossed'"):
        make_layout("central composite", request)


def test_a_cut_simplex_refuses_the_lattice_and_offers_extreme_vertices() -> None:
    """The corners of the lattice lie outside the limits."""
    request = a_request(a_study((), CUT_SIMPLEX), models=("quadratic",))

    with pytest.raises(PlanError, match="share of") as raised:
        make_layout("simplex lattice", request)

    assert "'extreme vertices'" in str(raised.value)


@pytest.mark.parametrize("layout", ["simplex lattice", "simplex centroid", "extreme vertices"])
@pytest.mark.parametrize("model", ["linear", "quadratic", "special cubic", "cubic"])
def test_package_layouts_estimate_every_blend_model(layout: str, model: str) -> None:
    """Or say so: a simplex centroid layout has one blend of each pair, a cubic needs two."""
    request = a_request(a_study((), WHOLE_SIMPLEX), models=(model,))
    if (layout, model) == ("simplex centroid", "cubic"):
        with pytest.raises(PlanError, match="'simplex lattice'"):
            make_layout(layout, request)
        return

    runs = make_layout(layout, request)

    np.testing.assert_allclose(runs.values.sum(axis=1), 1.0)


@pytest.mark.parametrize("model", ["linear", "interactions", "quadratic", "crossed"])
def test_crossed_layouts_estimate_the_model(model: str) -> None:
    """Every blend at every setting."""
    request = a_request(a_study(RANGES[:2], CUT_SIMPLEX), models=(model,), centre=0)

    runs = make_layout("crossed", request)

    assert len(runs) == runs.details["blends"] * runs.details["settings"]


def test_runs_are_reached_with_centre_runs_first_then_replicates() -> None:
    """Eight points, five centre runs, three replicates."""
    request = a_request(a_study(RANGES[:3]), models=("interactions",), runs=16)

    runs = make_layout("full factorial", request)

    assert [runs.kind.count(k) for k in ("design", "centre", "replicate")] == [8, 5, 3]
    assert "16 runs: 8 points of the layout, 5 centre runs and 3 replicates." in runs.reasons


def test_too_few_runs_are_refused_with_what_would_work() -> None:
    """Seven runs can't hold a face-centred layout of two ranges (8 points)."""
    request = a_request(a_study(RANGES[:2]), models=("quadratic",), runs=7)

    with pytest.raises(PlanError, match="8 or more"):
        make_layout("central composite", request)


def test_runs_on_steps_and_levels_of_the_bench() -> None:
    """A rotatable core at 8.30…9.20 is moved onto the step of 0.05, and that is said."""
    factors = [{**RANGES[1], "step": 0.05}, RANGES[2]]
    request = a_request(a_study(factors), models=("quadratic",), axial="rotatable")

    runs = make_layout("central composite", request)

    steps = (runs.values[:, 0] - 8.0) / 0.05
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    assert any("moved onto" in finding.what for finding in runs.findings)


def test_axial_runs_beyond_the_ranges_never_fall_below_nothing() -> None:
    """A dose from 0.1 to 2 has no axial run at a negative dose."""
    factors = [{"name": "dose", "low": 0.1, "high": 2.0, "role": "dose"}, RANGES[1], RANGES[2]]
    request = a_request(a_study(factors), models=("quadratic",), axial_beyond=True)

    with pytest.raises(PlanError, match="leave the region"):
        make_layout("central composite", request)


def test_orthogonal_blocks_of_a_central_composite_layout_do_not_disturb_the_surface() -> None:
    """Box and Hunter (1957): within each block the quadratic model's columns keep their means."""
    study = a_study(RANGES[:3], plan={"batches_per_day": 9})
    request = a_request(study, models=("quadratic",), axial="rotatable")

    runs = make_layout("central composite", request)

    assert runs.block is not None
    assert runs.details["axial rule"] == "orthogonal blocks"
    middle = np.array([1.6, 8.75, 30.0])
    coded = (np.asarray(runs.values) - middle) / np.array([0.8, 0.75, 15.0])
    means = [(coded[runs.block == b] ** 2).mean(axis=0) for b in np.unique(runs.block)]
    np.testing.assert_allclose(means, np.broadcast_to(means[0], np.shape(means)), rtol=1e-9)


def test_days_are_turned_into_runs() -> None:
    """Three days of six batches, one of them a control, hold fifteen runs."""
    control = {"name": "present formula", "every": "day", "settings": {"dose": 1.5, "pH": 8.8}}
    study = a_study(RANGES[:2], plan={"batches_per_day": 6}, control=[control])

    runs = make_layout("central composite", a_request(study, models=("quadratic",), days=3))

    assert len(runs) == 15


def test_noise_factors_take_part_and_held_ones_do_not() -> None:
    """A noise factor is set in the experiment; a held one is no column."""
    noisy = {**RANGES[4], "noise": True, "production": {"mean": 35.0, "sd": 4.0}}
    held = {"name": "bead diameter", "unit": "mm", "value": 0.8}
    request = a_request(a_study([*RANGES[:2], noisy, held]), models=("linear",))

    values = make_layout("full factorial", request).values

    assert values.shape[1] == 3
    assert (values[:, 2].min(), values[:, 2].max()) == (25.0, 45.0)


def test_samples_of_a_batch_share_it_when_asked() -> None:
    """A batch layout crossed with three grind times."""
    factors = [*RANGES[:2], {**RANGES[2], "set_per": "sample"}]
    request = a_request(a_study(factors), models=("quadratic",), sample_from_batch=True)

    runs = make_layout("central composite", request)

    assert runs.batch is not None
    for batch in np.unique(runs.batch):
        rows = runs.values[runs.batch == batch]
        assert len(np.unique(rows[:, :2], axis=0)) == 1
        assert rows[:, 2].tolist() == [15.0, 30.0, 45.0]


def test_samples_that_do_not_divide_are_refused_with_what_would() -> None:
    """Twenty runs are no multiple of three samples."""
    factors = [*RANGES[:2], {**RANGES[2], "set_per": "sample"}]
    request = a_request(a_study(factors), models=("quadratic",), sample_from_batch=True)

    with pytest.raises(PlanError, match="a multiple of 3"):
        make_layout("central composite", replace(request, runs=20))


@pytest.mark.parametrize("layout", ["full factorial", "central composite"])
def test_a_factor_stands_inside_its_own_range_at_each_level(layout: str) -> None:
    """Each chemistry has its own dose range; without additive there is no dose."""
    dose = {
        "name": "dose",
        "range": [
            {"when": {"chemistry": "acrylate"}, "low": 0.5, "high": 1.5},
            {"when": {"chemistry": "block"}, "low": 1.0, "high": 3.0},
        ],
    }
    request = a_request(a_study([dose, RANGES[1], CHEMISTRY]), models=("quadratic",))

    values = make_layout(layout, request).values

    ends = {level: values[values[:, 2] == level, 0] for level in (0, 1, 2)}
    assert (ends[0].min(), ends[0].max()) == (0.5, 1.5)
    assert (ends[1].min(), ends[1].max()) == (1.0, 3.0)
    assert np.isnan(ends[2]).all()


def test_a_package_of_one_additive_is_no_blend() -> None:
    """Its share is 1, and factors are laid out as without it."""
    only = [{"name": "dispersant", "low": 1.0, "high": 1.0}]
    request = a_request(a_study(RANGES[:2], only), models=("quadratic",))

    values = make_layout("central composite", request).values

    assert set(values[:, 0]) == {1.0}
