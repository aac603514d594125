"""Words of ratings as benches write them."""

from __future__ import annotations

import re

import pytest

from doe.methods.film_ratings import METHODS
from doe.methods.method import RawColumn
from doe.methods.rating_words import rating_of

_COLUMNS = {
    column.name: column
    for method in METHODS
    for column in (method.table.columns if method.table else ())
    if column.ratings
}


def _rated(column: str, text: str) -> float | None:
    one = _COLUMNS[column]
    return rating_of(text, one.ratings or {}, one.spellings)


@pytest.mark.parametrize(
    ("column", "text", "number"),
    [
        ("early water rating", "slightly", 2), ("early water rating", " Slight ", 2),
        ("rust grade", "ri 2", 2), ("rust grade", "RI2", 2), ("blister size", "s 3.5", 3.5),
        ("cross-cut rating", "4 b", 4), ("frequency", "Medium-Dense", 3), ("frequency", "md", 3),
        ("rust grade", "ri 7", None), ("early water rating", "sightly", None),
    ],
)  # fmt: skip
def test_common_spellings_are_taken(column: str, text: str, number: float | None) -> None:
    """The head explains 'slightly'; who writes it must not be refused."""
    assert _rated(column, text) == number


@pytest.mark.parametrize("column", [one for one in _COLUMNS.values() if one.spellings])
def test_every_word_that_a_head_explains_is_taken_as_explained(column: RawColumn) -> None:
    """Head and list of words are written apart."""
    for number, words in re.findall(r"(\d) ([a-z][a-z ]+)", column.hint):
        assert _rated(column.name, words.strip()) == float(number)
