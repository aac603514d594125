"""The page of all test methods."""

from __future__ import annotations

from pathlib import Path

from doe.methods.page import methods_page
from doe.methods.registry import METHODS

PAGE = Path(__file__).parents[3] / "docs" / "methods.md"


def test_the_page_is_up_to_date() -> None:
    """Write it anew with `python -m doe.methods.page > docs/methods.md`."""
    assert PAGE.read_text(encoding="utf-8") == methods_page()


def test_the_page_lists_every_method_once() -> None:
    """One that is missing cannot be found."""
    page = methods_page()

    assert all(page.count(f"| `{name}` |") == 1 for name in METHODS)
