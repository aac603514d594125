"""Names are compared as people read them, not as computers store them."""

from __future__ import annotations

import pytest

from doe.study.names import RESERVED, fold, match_name, nearest_name, other_name, tidy


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("pH", "PH"),
        ("  grind   time ", "Grind time"),
        ("grind\u00a0time", "grind time"),
        ("Größe", "GRÖSSE"),
        ("né", "ne\u0301"),
        ("Диспергатор", "ДИСПЕРГАТОР"),
        ("ｐＨ", "pH"),
        ("m²", "m2"),
    ],
)
def test_spellings_of_one_name_fold_alike(one: str, other: str) -> None:
    """DESIGN.md, section 2: after NFKC, trimmed, case-blind."""
    assert fold(one) == fold(other)


@pytest.mark.parametrize(("one", "other"), [("dose", "doses"), ("粘度", "粘性"), ("a b", "ab")])
def test_different_names_stay_apart(one: str, other: str) -> None:
    """Folding must not join what people tell apart."""
    assert fold(one) != fold(other)


def test_a_name_is_found_in_the_spelling_of_the_brief() -> None:
    """Results are printed as the brief spells a name, however it was typed."""
    assert match_name(" GRIND  time", ["dose", "grind time"]) == "grind time"
    assert match_name("grind", ["dose", "grind time"]) is None


def test_a_slip_of_the_pen_suggests_the_name_meant() -> None:
    """A suggestion far off would mislead, so that there is none then."""
    assert nearest_name("visocsity", ["gloss", "viscosity"]) == "viscosity"
    assert nearest_name("foam", ["gloss", "viscosity"]) is None


@pytest.mark.parametrize("name", sorted(RESERVED))
def test_every_reserved_name_has_a_free_one_beside_it(name: str) -> None:
    """A suggestion that is refused in turn would be a bad joke."""
    assert fold(name) == name
    assert fold(other_name(name)) not in RESERVED


def test_tidying_keeps_the_letters() -> None:
    """Names print as written; only white space is made plain."""
    assert tidy("  Größe   in µm\n") == "Größe in µm"
