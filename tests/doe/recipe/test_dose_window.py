"""Starting doses: each way's arithmetic, what they suggest together, what is said."""

from __future__ import annotations

from typing import Any

import pytest

from doe.errors import StudyError
from doe.recipe.dose_tables import CLASSES, COVERAGES, OIL_RULES
from doe.recipe.dose_window import DoseWindow, WindowOptions, dose_window, refuse_without_data
from doe.study.brief import Study


def window(options: WindowOptions | None = None, **pigment: Any) -> DoseWindow:
    """Estimate for a pigment."""
    study = {"study": {"title": "t"}, "pigment": {"name": "red iron oxide", **pigment}}
    return dose_window(Study.model_validate(study), options)


def words(found: DoseWindow) -> str:
    """Give all findings as one text."""
    return " ".join(one.what for one in found.findings)


def test_every_rule_carries_a_mark() -> None:
    """Nothing that is remembered or common practice may be a hidden constant."""
    assert all(one.mark for one in (*COVERAGES, *OIL_RULES, *CLASSES))
    assert all(one.source for one in (*COVERAGES, *OIL_RULES))


def test_surface_gives_a_tenth_of_coverage_times_surface() -> None:
    """2 to 2.5 mg/m² on 12 m²/g are 2.4 to 3 %."""
    found = window(WindowOptions(family="polymeric"), specific_surface_m2_per_g=12.0)
    estimate = found.estimates[0]

    assert (estimate.low, estimate.high) == pytest.approx((2.4, 3.0))
    assert estimate.mark == "read"


def test_oil_absorption_gives_a_tenth_for_inorganic_and_a_fifth_for_black() -> None:
    """Oil absorption 20 is 2 % for an oxide; a black of 100 takes 20 %."""
    oxide = window(kind="inorganic", oil_absorption_g_per_100g=20.0).estimates[0]
    black = window(kind="carbon black", oil_absorption_g_per_100g=100.0).estimates[0]

    assert oxide.basis == "oil absorption"
    assert oxide.low == pytest.approx(2.0)
    assert black.low == pytest.approx(20.0)


def test_options_beat_the_defaults_and_say_so() -> None:
    """Coverage and oil factor of the user bear the user's mark."""
    options = WindowOptions(coverage=(0.5, 1.0), oil_factor=0.2)
    found = window(options, specific_surface_m2_per_g=10.0, oil_absorption_g_per_100g=20.0)
    surface, oil = found.estimates[:2]

    assert (surface.low, surface.high, surface.mark) == (0.5, 1.0, "given by the user")
    assert (oil.low, oil.mark) == (4.0, "given by the user")


@pytest.mark.parametrize(
    ("name", "kind", "meant"),
    [
        ("red iron oxide", "inorganic", "red iron oxide"),
        ("Transparent red iron oxide", "inorganic", "transparent iron oxide"),
        ("rutile", "inorganic", "titanium dioxide"),
        ("ultramarine", "inorganic", "inorganic"),
        ("phthalo blue", "organic", "organic"),
        ("red iron oxide", "organic", "organic"),
        ("something", None, None),
    ],
)
def test_class_follows_name_and_kind(name: str, kind: str | None, meant: str | None) -> None:
    """The first class whose words the name holds, within the kind; else that of the kind."""
    study = {"study": {"title": "t"}, "pigment": {"name": name, "kind": kind}}

    assert dose_window(Study.model_validate(study)).pigment_class == meant


def test_range_spans_the_pigments_own_data() -> None:
    """The class stands beside it; it does not widen what surface and oil absorption say."""
    found = window(
        WindowOptions(family="polymeric"), kind="inorganic", specific_surface_m2_per_g=12.0,
        oil_absorption_g_per_100g=22.0,
    )  # fmt: skip

    assert (found.low, found.high) == pytest.approx((2.2, 3.0))
    assert "specific surface and oil absorption" in found.reason


def test_class_alone_gives_its_window_and_names_what_is_missing() -> None:
    """1 to 5 % for a red oxide and a polymeric dispersant."""
    found = window(WindowOptions(family="polymeric"), kind="inorganic")

    assert (found.low, found.high) == (1, 5)
    assert "no specific surface" in words(found)
    assert "no oil absorption" in words(found)


def test_estimates_that_disagree_are_named() -> None:
    """A tenth of oil absorption 22 is four times what a polyacrylate covers."""
    found = window(
        WindowOptions(family="polyacrylate"), kind="inorganic", specific_surface_m2_per_g=12.0,
        oil_absorption_g_per_100g=22.0,
    )  # fmt: skip

    assert "For a polyacrylate dispersant the estimates disagree" in words(found)


def test_effect_pigments_must_not_be_milled() -> None:
    """Flakes break."""
    assert "must not be milled" in words(window(kind="effect"))


def test_polyacrylate_on_an_organic_pigment_is_doubted() -> None:
    """It anchors poorly, and the table has no window for it."""
    found = window(WindowOptions(family="polyacrylate"), kind="organic")

    assert "anchor poorly" in words(found)


def test_pigment_without_data_is_told_where_to_write_it() -> None:
    """The fault names the section, the keys and the way without them."""
    with pytest.raises(StudyError, match=r"\[pigment\]") as caught:
        refuse_without_data(dose_window(Study.model_validate({"study": {"title": "t"}})), "s.toml")

    assert "specific_surface_m2_per_g" in caught.value.faults[0].allowed
    assert "--from" in caught.value.faults[0].do


def test_unknown_class_is_refused_with_the_known_ones() -> None:
    """A slip of the pen."""
    with pytest.raises(StudyError, match="no pigment class 'iron'"):
        window(WindowOptions(pigment_class="iron"))
