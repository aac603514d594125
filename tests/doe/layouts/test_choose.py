"""Choosing a layout where none is named."""

from __future__ import annotations

from typing import Any

import pytest

from doe.layouts.checking import make_layout
from doe.layouts.choose import choose_layout, make_chosen
from tests.doe.layouts.briefs import (
    BASE_CHOICE,
    CUT_SIMPLEX,
    RANGES,
    WHOLE_SIMPLEX,
    a_request,
    a_study,
)


@pytest.mark.parametrize(
    ("factors", "additives", "wishes", "name"),
    [
        (RANGES[:3], (), {"purpose": "screening"}, "full factorial"),
        (RANGES[:4], (), {"purpose": "screening"}, "fractional factorial"),
        (RANGES[:6], (), {"purpose": "screening"}, "definitive screening"),
        ((*RANGES[:6], BASE_CHOICE), (), {"purpose": "screening"}, "fractional factorial"),
        (RANGES[:5], (), {"models": ("interactions",)}, "fractional factorial"),
        (RANGES[:3], (), {}, "central composite"),
        (RANGES[:1], (), {}, "full factorial"),
        ((), WHOLE_SIMPLEX, {}, "simplex lattice"),
        ((), WHOLE_SIMPLEX, {"models": ("special cubic",)}, "simplex centroid"),
        ((), CUT_SIMPLEX, {}, "extreme vertices"),
        (RANGES[:1], CUT_SIMPLEX, {"purpose": "screening"}, "crossed"),
        (RANGES[:3], CUT_SIMPLEX, {}, "optimal"),
        (RANGES[:3], (), {"runs": 12}, "optimal"),
    ],
)
def test_the_layout_suits_the_question(
    factors: Any, additives: Any, wishes: dict[str, Any], name: str
) -> None:
    """Screening or optimising, package or factors or both, within the runs asked for."""
    request = a_request(a_study(factors, additives), starts=2, **wishes)

    chosen, reasons = choose_layout(request)

    assert chosen == name
    assert all(reason.endswith(".") for reason in reasons)
    made = len(make_layout(chosen, request))
    assert made == wishes.get("runs", made)


def test_corners_that_are_not_allowed_lead_to_box_behnken() -> None:
    """And the reason names what was refused."""
    limit = {"sum": {"dose": 1.0, "pH": 1.0, "grind time": 0.1}, "at_most": 15.7}
    request = a_request(a_study(RANGES[:3], limit=[limit]))

    name, reasons = choose_layout(request)

    assert name == "Box-Behnken"
    assert any(reason.startswith("Not 'central composite'") for reason in reasons)


def test_a_layout_picked_for_the_user_leaves_something_to_judge_it_by() -> None:
    """Three levels of one range carry a quadratic model exactly; replicates are added and told."""
    study = a_study(RANGES[:1])
    runs, why = make_chosen(a_request(study))

    assert runs.kind.count("replicate") == 3
    assert "3 replicates are added" in " ".join(why)
