"""Starting briefs are ready to plan, and so are all that they offer as options."""

from __future__ import annotations

import re

import pytest

from doe.errors import StudyError
from doe.study.brief_file import parse_brief
from doe.study.templates import LIKES, brief_text


@pytest.mark.parametrize("like", LIKES)
def test_a_starting_brief_has_no_fault(like: str) -> None:
    """It is what a newcomer plans with first."""
    study = parse_brief(brief_text(like).encode(), like)

    assert study.setting_names
    assert study.responses


@pytest.mark.parametrize("like", LIKES)
def test_what_is_offered_in_remarks_parses_when_taken(like: str) -> None:
    """An option that fails once its # is gone would teach distrust."""
    text = re.sub(r'(?m)^# (?=\[|"?[a-z_ ]+"? = )', "", brief_text(like))

    study = parse_brief(text.encode(), like)

    assert text != brief_text(like)
    assert study.about.title


@pytest.mark.parametrize("like", LIKES)
def test_a_starting_brief_names_its_dangers_and_fits_a_screen(like: str) -> None:
    """TRADE practice: cautions go with every plan; editors cut long lines."""
    text = brief_text(like)

    assert "safety data sheets" in text
    assert all(word in text.casefold() for word in ("dust", "ammonia", "guards"))
    assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize("like", LIKES)
def test_every_key_of_a_longer_brief_stands_beside_its_meaning(like: str) -> None:
    """Numbers without a unit or a word are riddles; names and texts speak for themselves."""
    lines = brief_text(like).splitlines()
    bare = {line.split(" = ")[0] for line in lines if re.match(r"[a-z_]+ = [\d.]+$", line)}
    explained = {
        line.removeprefix("# ").split(" = ")[0]
        for line in lines
        if re.match(r"(# )?[a-z_]+ = .*#", line)
    }
    self_explaining = {
        "low", "high", "best", "worst", "worst_low", "worst_high", "value", "percent", "step",
        "active_percent", "grams", "millbase_g", "density_g_per_ml", "oil_absorption_g_per_100g",
        "white_g",
    }  # fmt: skip

    assert bare <= explained | self_explaining


def test_the_first_is_given_when_none_is_named() -> None:
    """`millbase new` works without options."""
    assert brief_text() == brief_text(next(iter(LIKES)))
    assert brief_text("Dose and time") == brief_text("dose-and-time")


def test_an_unknown_one_is_refused_with_what_there_is() -> None:
    """The registry is the list of what can be chosen."""
    with pytest.raises(StudyError, match=r"no starting brief.*blend.*Probably"):
        brief_text("blnd")
