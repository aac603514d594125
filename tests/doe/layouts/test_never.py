"""Settings that limits and forbids tie together, and levels that they leave out."""

from __future__ import annotations

from typing import Any

import pytest

from doe.layouts.never import missing_levels, missing_pairs, tied_findings
from doe.model.region import Region, region_of
from tests.doe.layouts.briefs import CUT_SIMPLEX, RANGES, a_study

C: dict[str, Any] = {"name": "c", "levels": ["a", "b"]}
E: dict[str, Any] = {"name": "e", "levels": ["a", "b"]}
X: dict[str, Any] = {"name": "x", "low": 0.0, "high": 1.0}
Y: dict[str, Any] = {"name": "y", "low": 0.0, "high": 1.0}
Z: dict[str, Any] = {"name": "z", "low": 0.0, "high": 1.0}


def region(*factors: dict[str, Any], **more: Any) -> Region:
    """Give the region of a brief."""
    return region_of(a_study(factors, **more))


def test_an_open_brief_ties_nothing() -> None:
    """Ranges, a choice and a cut simplex beside one another."""
    found = region_of(a_study((*RANGES[:2], C), CUT_SIMPLEX))

    assert tied_findings(found) == missing_levels(found) == missing_pairs(found) == ()


def test_factors_that_a_limit_makes_equal_are_named_and_others_are_not() -> None:
    """The limit holds x − y between 0 and 0: the two are one, and z is free."""
    same = {"sum": {"x": 1.0, "y": -1.0}, "at_most": 0.0, "at_least": 0.0}
    (told,) = tied_findings(region(X, Y, Z, limit=[same]))

    assert told.what.startswith("'x' and 'y' move as one")
    assert "'z'" not in told.what
    assert told.level == "stop"


def test_choices_that_forbids_tie_are_named_with_the_pairs_that_are_left() -> None:
    """A with b and b with a are forbidden: knowing one is knowing the other."""
    forbids = [{"settings": {"c": "a", "e": "b"}}, {"settings": {"c": "b", "e": "a"}}]
    (told,) = tied_findings(region(X, C, E, forbid=forbids))

    assert told.what.startswith("'c' and 'e' move as one")
    assert "a with a, b with b only" in told.what


def test_one_forbidden_pair_ties_nothing_and_is_told_for_interactions() -> None:
    """Three of four pairs tell both main effects apart, and not their product."""
    found = region(X, C, E, forbid=[{"settings": {"c": "a", "e": "b"}}])

    assert tied_findings(found) == ()
    (told,) = missing_pairs(found)
    assert "'c' a and 'e' b never meet" in told.what


def test_a_level_that_is_wholly_forbidden_is_named() -> None:
    """Level b of three."""
    three = {"name": "c", "levels": ["a", "b", "d"]}
    (told,) = missing_levels(region(X, three, forbid=[{"settings": {"c": "b"}}]))

    assert "'c' can never be b" in told.what


@pytest.mark.parametrize("at", [0.0, 0.5])
def test_a_factor_that_limits_pin_is_named_with_its_value(at: float) -> None:
    """Limits from both sides leave one value."""
    pin = [{"sum": {"x": 1.0}, "at_most": at}, {"sum": {"x": 1.0}, "at_least": at}]
    (told,) = tied_findings(region(X, Y, limit=pin))

    assert told.what.startswith("'x' cannot vary")
    assert f"({at:g})" in told.what
