"""Names are free text: whole words in several spellings count, parts of words never."""

from __future__ import annotations

import pytest

from doe.recipe.name_reading import Meaning, names_reading_as, reads_as


@pytest.mark.parametrize(
    ("name", "meaning"),
    [
        ("Ammonia, 25 % in water", "ammonia"),
        ("ammonium polyacrylate", "ammonia"),
        ("NH₃ solution", "ammonia"),
        ("NaOH", "sodium or potassium"),
        ("caustic soda", "sodium or potassium"),
        ("Potassium hydroxide", "sodium or potassium"),
        ("CaCO3 filler", "calcium"),
        ("zinc-phosphate", "zinc"),
        ("Water Hardness", "hard water"),
        ("poly-acrylic acid", "polyacrylate"),
        ("grind pH", "pH"),
        ("pH of the let-down", "paint stage"),
        ("multi-anchor dispersant", "steric polymer"),
    ],
)
def test_usual_spellings_are_read(name: str, meaning: Meaning) -> None:
    """Hyphens, capitals, subscripts and formulas, as people type them."""
    assert reads_as(name, meaning)


@pytest.mark.parametrize(
    ("name", "meaning"),
    [
        ("ammonia-free base", "ammonia"),
        ("amine, free of ammonia", "ammonia"),
        ("no sodium", "sodium or potassium"),
        ("non-sodium salt", "sodium or potassium"),
        ("polystyrene acrylic", "polyacrylate"),
        ("phase", "pH"),
        ("phthalocyanine", "pH"),
        ("chalky white", "calcium"),
        ("windmill", "grind"),
        ("waterborne hard resin", "hard water"),
        ("milliequivalents", "grind"),
        ("stirring time", "grind"),
        ("oven temperature", "mill temperature"),
    ],
)
def test_parts_of_words_and_denials_are_not_read(name: str, meaning: Meaning) -> None:
    """A false reading teaches distrust of all of them."""
    assert not reads_as(name, meaning)


def test_each_name_is_kept_once_in_its_order() -> None:
    """Findings list names as the brief does."""
    names = ["sodium salt", "amine", "NaOH", "sodium salt"]

    assert names_reading_as(names, "sodium or potassium") == ("sodium salt", "NaOH")
