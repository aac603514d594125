"""The region of a brief: pieces, membership, implied limits, contradictions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import linprog

from doe.errors import StudyError
from doe.model.region import binding_words, region_of

FOAM = {"sum": {"dose": 1.0, "grind time": 0.02}, "at_most": 3.0, "because": "foam"}


def test_ranges_shares_limits_and_forbids_all_bind(
    make_study: Any, package: Any, factor: Any
) -> None:
    """One row for each way to leave the region, after one that is inside."""
    study = make_study(
        package,
        [factor["dose"], factor["pH"], factor["grind time"], factor["neutraliser"]],
        limits=[FOAM],
        forbids=[{"settings": {"neutraliser": "ammonia", "pH": "> 9.3"}}],
    )
    rows = np.array(
        [
            [0.2, 0.5, 0.3, 1.0, 9.3, 30.0, 0.0],
            [0.2, 0.5, 0.3, 1.0, 9.4, 30.0, 1.0],
            [0.2, 0.5, 0.3, 1.0, 9.4, 30.0, 0.0],
            [0.2, 0.5, 0.3, 2.3, 9.0, 40.0, 1.0],
            [0.2, 0.5, 0.2, 1.0, 9.0, 30.0, 1.0],
            [0.05, 0.65, 0.3, 1.0, 9.0, 30.0, 1.0],
            [0.2, 0.5, 0.3, 1.0, 9.6, 30.0, 1.0],
            [0.2, 0.5, 0.3, np.nan, 9.0, 30.0, 1.0],
        ]
    )

    inside = region_of(study).contains(rows)

    assert inside.tolist() == [True, True, False, False, False, False, False, False]


def test_numeric_levels_are_the_only_settings(make_study: Any, factor: Any) -> None:
    """0.7 mm beads lie in the range and cannot be set."""
    region = region_of(make_study((), [factor["bead diameter"]]))

    assert region.contains(np.array([[0.6], [0.7], [1.2]])).tolist() == [True, False, True]


def test_a_limit_counts_numeric_levels_with_their_value(make_study: Any, factor: Any) -> None:
    """Coarse beads leave less room for the dose: 1.9, 1.7 and 1.3 %."""
    limit = {"sum": {"dose": 1.0, "bead diameter": 1.0}, "at_most": 2.5}
    study = make_study((), [factor["dose"], factor["bead diameter"]], limits=[limit])

    highs = [piece.high[0] for piece in region_of(study).pieces]

    np.testing.assert_allclose(highs, [1.9, 1.7, 1.3])


def test_a_forbid_of_two_numbers_leaves_the_union_of_two_pieces(
    make_study: Any, factor: Any
) -> None:
    """Only the corner where both conditions hold is gone, borders stay."""
    study = make_study(
        (),
        [factor["pH"], factor["grind time"]],
        forbids=[{"settings": {"pH": "> 9.0", "grind time": ">= 30"}}],
    )
    region = region_of(study)

    assert len(region.pieces) == 2
    rows = np.array([[9.4, 20.0], [8.5, 40.0], [9.0, 40.0], [9.4, 40.0], [9.4, 30.0]])
    assert region.contains(rows).tolist() == [True, True, True, False, False]


def test_at_least_in_a_forbid_leaves_the_step_below(make_study: Any, factor: Any) -> None:
    """`>= 9.3` forbidden on a bench with steps of 0.05 leaves 9.25."""
    study = make_study((), [factor["pH"]], forbids=[{"settings": {"pH": ">= 9.3"}}])

    assert region_of(study).implied == ((8.0, 9.25),)


def test_at_most_in_a_forbid_leaves_the_step_above(make_study: Any, factor: Any) -> None:
    """`<= 8.3` forbidden leaves 8.35."""
    study = make_study((), [factor["pH"]], forbids=[{"settings": {"pH": "<= 8.3"}}])

    assert region_of(study).implied == ((8.35, 9.5),)


def test_a_list_forbids_each_of_its_levels(make_study: Any, factor: Any) -> None:
    """Of six combinations the two with coarse beads and ammonia go."""
    study = make_study(
        (),
        [factor["neutraliser"], factor["bead diameter"]],
        forbids=[{"settings": {"neutraliser": "ammonia", "bead diameter": [0.8, 1.2]}}],
    )

    assert len(region_of(study).pieces) == 4


def test_a_single_number_of_a_range_forbids_nothing_and_is_said(
    make_study: Any, factor: Any
) -> None:
    """It has no width; the user surely meant something else."""
    study = make_study((), [factor["pH"]], forbids=[{"settings": {"pH": 9.0}}])
    region = region_of(study)

    assert region.implied == ((8.0, 9.5),)
    assert [finding.level for finding in region.findings] == ["caution"]


def test_names_in_bounds_are_compared_folded(make_study: Any, factor: Any) -> None:
    """`Grind Time` is `grind time`; levels likewise."""
    study = make_study(
        (),
        [factor["grind time"], factor["neutraliser"]],
        limits=[{"sum": {"Grind  Time": 1.0}, "at_most": 40}],
        forbids=[{"settings": {"NEUTRALISER": "Ammonia"}}],
    )
    region = region_of(study)

    assert region.implied == ((15.0, 40.0), (1.0, 1.0))


def test_held_factors_count_with_their_value(make_study: Any, factor: Any) -> None:
    """In limits they shift the bound, in forbids they hold or not."""
    held = {"name": "bead diameter", "unit": "mm", "value": 0.8}
    study = make_study(
        (),
        [factor["pH"], held],
        limits=[{"sum": {"pH": 1.0, "bead diameter": 1.0}, "at_most": 10.0}],
        forbids=[
            {"settings": {"bead diameter": "> 0.9", "pH": "< 8.5"}},
            {"settings": {"bead diameter": "< 0.9", "pH": "< 8.3"}},
        ],
    )
    region = region_of(study)

    np.testing.assert_allclose(region.implied[0], (8.3, 9.2))


def test_a_lacking_factor_is_open_and_meets_no_bound(make_study: Any) -> None:
    """Where a chemistry lacks the dose, its row must leave it open; a limit counts it 0."""
    dose = {
        "name": "dose",
        "range": [{"when": {"chemistry": "polyacrylate"}, "low": 1.0, "high": 2.0}],
    }
    study = make_study(
        (),
        [{"name": "chemistry", "levels": ["polyacrylate", "none"]}, dose],
        limits=[{"sum": {"dose": 1.0}, "at_least": 0.0}],
        forbids=[{"settings": {"dose": "< 1.5"}}],
    )
    rows = np.array([[0, 1.6], [0, 1.2], [0, np.nan], [1, np.nan], [1, 1.6]])

    assert region_of(study).contains(rows).tolist() == [True, False, False, True, False]


def test_shares_out_of_reach_are_found_and_said(make_study: Any) -> None:
    """Piepel (1983): the dispersant cannot reach 0.9 beside 0.2 of the others."""
    study = make_study(
        [
            {"name": "wetting agent", "low": 0.2, "high": 0.5},
            {"name": "dispersant", "low": 0.3, "high": 0.9},
        ]
    )
    region = region_of(study)

    np.testing.assert_allclose(region.implied, [(0.2, 0.5), (0.5, 0.8)])
    assert [finding.evidence["implied"] for finding in region.findings] == [0.5, 0.8]
    assert "share of 'dispersant' cannot reach its low end 0.3" in region.findings[0].what


def test_implied_limits_agree_with_linear_programmes(
    make_study: Any, package: Any, factor: Any
) -> None:
    """Ranges under a limit over shares and dose, against an independent solver."""
    limit = {"sum": {"dispersant": 2.0, "dose": 1.0, "grind time": 0.03}, "at_most": 3.0}
    floor = {"sum": {"wetting agent": 1.0, "dose": -0.2}, "at_least": 0.0}
    study = make_study(package, [factor["dose"], factor["grind time"]], limits=[limit, floor])
    region = region_of(study)
    A = [[0.0, 2.0, 0.0, 1.0, 0.03], [-1.0, 0.0, 0.0, 0.2, 0.0]]
    bounds = [(0.1, 0.4), (0.4, 0.8), (0.0, 0.3), (0.8, 2.4), (15, 45)]

    for j in range(5):
        for sign, end in ((1.0, 0), (-1.0, 1)):
            c = sign * np.eye(5)[j]
            best = linprog(c, A, [3.0, 0.0], [[1, 1, 1, 0, 0]], [1.0], bounds).fun
            assert region.implied[j][end] == pytest.approx(sign * best, abs=1e-9)


def test_a_package_of_one_additive_is_all_of_it(make_study: Any, factor: Any) -> None:
    """Its share is 1, whatever the brief allows."""
    study = make_study([{"name": "dispersant", "low": 0.5, "high": 1.0}], [factor["pH"]])
    region = region_of(study)

    assert region.implied[0] == (1.0, 1.0)
    assert region.contains(np.array([[1.0, 8.5], [0.9, 8.5]])).tolist() == [True, False]


@pytest.mark.parametrize(
    ("brief", "named", "spared"),
    [
        (
            {
                "additives": [
                    {"name": "wetting agent", "low": 0.6, "high": 0.7},
                    {"name": "dispersant", "low": 0.5, "high": 0.7},
                    {"name": "co-additive", "low": 0.0, "high": 0.2},
                ]
            },
            ["at least 0.6", "at least 0.5", "shares add to 1"],
            ["co-additive"],
        ),
        (
            {
                "factors": [
                    {"name": "dose", "low": 0.8, "high": 2.4},
                    {"name": "pH", "low": 8, "high": 9},
                ],
                "limits": [{"sum": {"dose": 1.0}, "at_least": 3.0, "because": "wetting"}],
            },
            ["'dose', at most 2.4", "limit dose ≥ 3 (wetting)"],
            ["pH", "shares"],
        ),
        (
            {
                "factors": [{"name": "neutraliser", "levels": ["ammonia", "amine"]}],
                "forbids": [
                    {"settings": {"neutraliser": "ammonia"}},
                    {"settings": {"neutraliser": "amine"}, "because": "odour"},
                ],
            },
            ["forbid neutraliser ammonia", "forbid neutraliser amine (odour)"],
            [],
        ),
    ],
)
def test_an_empty_region_names_what_contradicts(
    make_study: Any, brief: dict[str, Any], named: list[str], spared: list[str]
) -> None:
    """A smallest set of statements, and none that is not to blame."""
    study = make_study(
        brief.get("additives", ()),
        brief.get("factors", ()),
        limits=brief.get("limits", ()),
        forbids=brief.get("forbids", ()),
    )

    with pytest.raises(StudyError) as caught:
        region_of(study)

    said = str(caught.value)
    assert all(words in said for words in named)
    assert not any(words in said for words in spared)


@pytest.mark.parametrize(
    ("bounds", "said"),
    [
        ({"limits": [{"sum": {"dose": 1.0}, "at_most": 2}]}, "'dose' is no setting"),
        ({"limits": [{"sum": {"neutraliser": 1.0}, "at_most": 2}]}, "named choice"),
        ({"forbids": [{"settings": {"neutraliser": "lime"}}]}, "no level 'lime'"),
        ({"forbids": [{"settings": {"pH": "~ 9"}}]}, "no condition on 'pH'"),
        ({"forbids": [{"settings": {"pH": "> 9,3"}}]}, "no condition on 'pH'"),
    ],
)
def test_bounds_that_say_nothing_sensible_are_refused(
    make_study: Any, factor: Any, bounds: dict[str, Any], said: str
) -> None:
    """With the entry and what is wrong in it."""
    study = make_study((), [factor["pH"], factor["neutraliser"]], **bounds)

    with pytest.raises(StudyError, match=said):
        region_of(study)


def test_binding_bounds_are_said_in_words(make_study: Any, factor: Any) -> None:
    """What stops the settings where they are."""
    region = region_of(make_study((), [factor["dose"], factor["grind time"]], limits=[FOAM]))

    assert binding_words(region, np.array([2.1, 45.0])) == (
        "range of 'grind time', at most 45 min",
        "limit dose + 0.02 × grind time ≤ 3 (foam)",
    )
    assert binding_words(region, np.array([1.5, 30.0])) == ()


def test_a_level_that_the_limits_empty_is_named(make_study: Any, factor: Any) -> None:
    """Its own dose range begins above the limit: silence would plan without that chemistry."""
    chemistry = {"name": "chemistry", "levels": ["none", "acrylate", "comb"]}
    dose = {
        "name": "dose",
        "range": [
            {"when": {"chemistry": "acrylate"}, "low": 0.3, "high": 0.9},
            {"when": {"chemistry": "comb"}, "low": 2.0, "high": 3.0},
        ],
    }
    limit = {"sum": {"dose": 1.0}, "at_most": 1.5}
    region = region_of(make_study((), [chemistry, dose], limits=[limit]))

    assert any("'chemistry' cannot be comb:" in one.what for one in region.findings)
    assert not any("cannot be none" in one.what for one in region.findings)
