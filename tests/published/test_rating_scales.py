"""Rating scales of film defects against printed tables, with the mark of each."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.lab.ratings import (
    blister_code,
    cross_cut_areas,
    cross_cut_class,
    cross_cut_rating,
    frequency_blister_code,
    read_blister_code,
    rust_grade,
    rust_rating,
    rust_rating_areas,
)

D610 = {
    10: 0.01, 9: 0.03, 8: 0.1, 7: 0.3, 6: 1.0, 5: 3.0, 4: 10.0, 3: 16.0, 2: 33.0, 1: 50.0,
}  # fmt: skip


@pytest.mark.parametrize(("rating", "most"), D610.items())
def test_rust_rating_reaches_up_to_its_limit(rating: int, most: float) -> None:
    """ASTM D610-08 (read, whole table): each rating holds up to its area, more is the next."""
    assert rust_rating(np.array(most)) == rating
    assert rust_rating(np.array(most * 1.001)) == rating - 1
    assert rust_rating_areas(rating)[1] == most


@pytest.mark.parametrize(("area", "rating"), [(0.02, 9), (0.5, 6), (12.0, 3), (100.0, 0)])
def test_rust_rating_of_worked_areas(area: float, rating: int) -> None:
    """ASTM D610-08 (read)."""
    assert rust_rating(np.array(area)) == rating


@pytest.mark.parametrize(
    ("area", "grade"), [(0, 0), (0.05, 1), (0.5, 2), (1, 3), (8, 4), (40, 5), (50, 5)]
)
def test_rust_grade_of_the_pictures(area: float, grade: int) -> None:
    """ISO 4628-3 (areas of the pictures from memory)."""
    assert rust_grade(np.array(float(area))) == grade


@pytest.mark.parametrize(
    ("area", "class_", "rating"),
    [(0, 0, 5), (5, 1, 4), (15, 2, 3), (20, 3, 2), (35, 3, 2), (65, 4, 1), (66, 5, 0)],
)
def test_cross_cut_scales_run_in_opposite_directions(area: int, class_: int, rating: int) -> None:
    """ISO 2409 and ASTM D3359-B (read, three pages): 20 % flaked is 3 and 2B."""
    assert cross_cut_class(np.array(float(area))) == class_
    assert cross_cut_rating(np.array(float(area))) == rating


def test_cross_cut_areas_of_a_class() -> None:
    """ISO 2409 (read): class 3 is 15 to 35 %, class 5 above 65."""
    assert cross_cut_areas(3) == (15.0, 35.0)
    assert cross_cut_areas(5) == (65.0, 100.0)


@pytest.mark.parametrize(
    ("density", "size", "code"), [(0, 0, "0(S0)"), (2, 3, "2(S3)"), (2.5, 4, "2.5(S4)")]
)
def test_blister_code_is_written_and_read(density: float, size: float, code: str) -> None:
    """ISO 4628-2:2016 (form of the code and half steps read)."""
    assert blister_code(density, size) == code
    assert read_blister_code(code) == (density, size)


@pytest.mark.parametrize("code", ["6(S2)", "2(S6)", "2S3", "", "2.3(S1)"])
def test_blister_code_off_the_scale_is_refused(code: str) -> None:
    """ISO 4628-1 (from memory): 0 to 5, whole and half steps."""
    with pytest.raises(ValueError, match="no code"):
        read_blister_code(code)


def test_blisters_by_letters() -> None:
    """ASTM D714 (from memory): size 6, medium dense; 10 is none and has no letter."""
    assert frequency_blister_code(6, 3) == "6MD"
    assert frequency_blister_code(10, 0) == "10"
