"""What the head of the interactive page says of the agreement."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from analysis.agreement.formula_card import CardSubject, make_card
from analysis.report.decide.agreed import agreed_phrase
from analysis.report.decide.page import render_decide
from doe.study.agreement import Agreement, FinalWord, Version
from tests.analysis.report.decide.cases import ranged_case

DRAFT = Version(
    number=2, date=date(2026, 2, 16), settings=(), inputs={}, seed=1, level=0.95, batch_kg=100.0,
    formula=(),
)  # fmt: skip
FINAL = replace(DRAFT, final=FinalWord(date=date(2026, 2, 18)))


@pytest.mark.parametrize(
    ("version", "words"),
    [
        (DRAFT, "version 2 is a draft, to be decided over"),
        (FINAL, "version 2 is agreed, final since 2026-02-18"),
    ],
)
def test_the_page_says_which_version_is_agreed(version: Version, words: str) -> None:
    """A page that is still to be decided over is read as if nothing were settled."""
    agreement = Agreement(versions=(version,))
    card = make_card(CardSubject(title="t", pigment="", agreement=agreement, roles=()), version)
    page = render_decide(replace(ranged_case(), agreed=agreed_phrase(card)))

    assert agreed_phrase(card) == words
    assert f"Recipe card of a study: {words}</p>" in page


def test_without_a_version_the_page_is_to_be_decided_over() -> None:
    """Nothing was proposed."""
    assert agreed_phrase(None) == ""
    assert "Recipe card of a study, to be decided over" in render_decide(ranged_case())
