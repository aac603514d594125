"""Who has spoken, what stands in the way, and whether an agreement still matches."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from analysis.agreement.matching import match_version
from analysis.agreement.standing import (
    missing_roles,
    objecting_roles,
    role_standings,
    why_not_final,
)
from doe.study.agreement import (
    AgreedConfirmation,
    AgreedReading,
    AgreedSetting,
    RoleLine,
    Version,
)

DAY = date(2026, 3, 2)
ROLES = ("formulator", "colourist", "production")
GLOSS = AgreedReading(
    response="gloss", unit="units", value=60.0, value_is="mean", true_low=58.0, true_high=62.0
)
INPUTS = {name: "ab" for name in ("region", "goals", "plan", "readings", "actuals", "choices")}
VERSION = Version(
    number=1, date=DAY, settings=(AgreedSetting(name="dose", value=1.3),), inputs=INPUTS, seed=1,
    level=0.95, batch_kg=100.0, readings=(GLOSS,),
)  # fmt: skip


def line(role: str, says: str, because: str = "") -> RoleLine:
    """Write a line of a role."""
    return RoleLine(role=role, says="agrees" if says == "agrees" else "objects", date=DAY,
                    because=because)  # fmt: skip


def test_the_later_word_of_a_role_counts_and_the_earlier_stays() -> None:
    """Names compare as everywhere: capitals and blanks do not count."""
    said = (line("colourist", "objects", "too weak"), line(" Colourist ", "agrees"))
    standings = role_standings(replace(VERSION, lines=said), ROLES)

    (own,) = [one for one in standings if one.role == "colourist"]
    assert (own.says, own.earlier) == ("agrees", 1)
    assert missing_roles(standings) == ("formulator", "production")
    assert objecting_roles(standings) == ()


def test_a_role_that_left_the_brief_is_shown_and_does_not_count() -> None:
    """Its word stays on record; nobody waits for it."""
    said = (line("sales", "objects"), *(line(role, "agrees") for role in ROLES))
    standings = role_standings(replace(VERSION, lines=said), ROLES)

    assert [one.role for one in standings if not one.in_brief] == ["sales"]
    assert why_not_final(standings, ()) == ()


def test_a_final_version_needs_every_role_or_names_who_is_missing() -> None:
    """A team can go on without someone, never against someone."""
    said = (line("formulator", "agrees"), line("colourist", "objects", "too weak"))
    standings = role_standings(replace(VERSION, lines=said), ROLES)

    bare = why_not_final(standings, ())
    assert any("production has not spoken" in words for words in bare)
    assert any("colourist objects" in words and "too weak" in words for words in bare)
    assert len(why_not_final(standings, ("Production",))) == 1
    assert why_not_final(standings, ("production", "colourist")) == why_not_final(
        standings, ("production",)
    )
    assert any("formulator has spoken" in words for words in why_not_final(standings, ROLES))


@pytest.mark.parametrize("name", ["region", "goals", "readings", "actuals", "choices"])
def test_any_changed_input_breaks_the_match_and_is_named(name: str) -> None:
    """The hashes of the brief, the readings and the decisions each count by themselves."""
    changed = {**INPUTS, name: "cd"}
    match = match_version(VERSION, changed, changed, (GLOSS,))

    assert match.changed == (name,)
    assert not match.holds
    assert match_version(VERSION, dict(INPUTS), dict(INPUTS), (GLOSS,)).holds


def test_later_runs_that_no_model_rests_on_break_no_agreement() -> None:
    """A plan that grew, and what the new batches told, change nothing; a moved forecast does."""
    grown = {**INPUTS, "plan": "cd", "readings": "ef"}

    assert match_version(VERSION, grown, INPUTS, (GLOSS,)).holds
    assert not match_version(VERSION, grown, INPUTS, (replace(GLOSS, value=60.5),)).holds
    assert not match_version(VERSION, grown, INPUTS, None).holds
    assert not match_version(VERSION, grown, {**INPUTS, "readings": "gh"}, (GLOSS,)).holds, (
        "an earlier reading was corrected"
    )


def test_a_confirmation_that_failed_since_breaks_the_agreement() -> None:
    """One that the team knew of when it agreed does not, and one that passed is told."""
    grown = {**INPUTS, "plan": "cd", "readings": "ef"}
    passed = AgreedConfirmation(number=1, where="laboratory", verdict="confirmed", words="It held.")
    failed = replace(passed, number=2, verdict="not confirmed", words="It did not.")
    knowing = replace(VERSION, confirmations=(failed,))

    good = match_version(VERSION, grown, INPUTS, (GLOSS,), (passed,))
    assert good.holds
    assert good.findings(1)[0].what.endswith("It held.")
    assert not match_version(VERSION, grown, INPUTS, (GLOSS,), (passed, failed)).holds
    assert match_version(knowing, grown, INPUTS, (GLOSS,), (passed, failed)).holds


def test_what_moved_beyond_its_interval_is_told_with_its_numbers() -> None:
    """Inside the interval that was agreed on is one thing, beyond it another."""
    changed = {**INPUTS, "readings": "cd"}
    near = match_version(VERSION, changed, changed, (replace(GLOSS, value=61.5),))
    far = match_version(VERSION, changed, changed, (replace(GLOSS, value=63.1),))
    gone = match_version(VERSION, changed, changed, ())
    unset = match_version(VERSION, changed, changed, (replace(GLOSS, value=float("nan")),))

    assert near.beyond == ()
    assert "inside the intervals" in near.findings(1)[0].what
    assert "60 (58 to 62) units then, 63.1 units now" in far.findings(1)[0].what
    for one in (gone, unset):
        assert "foretold no more" in one.findings(1)[0].what


def test_a_limit_that_moved_is_told_although_nothing_is_foretold_otherwise() -> None:
    """A goal that changed may break a verdict while every number stays."""
    before = replace(VERSION, readings=(replace(GLOSS, limits=("at least 55",), verdict="met"),))
    stricter = replace(GLOSS, limits=("at least 61",), verdict="not met")
    changed = {**INPUTS, "goals": "cd"}
    (finding,) = match_version(before, changed, changed, (stricter,)).findings(1)

    assert "at least 55 (met) then, at least 61 (not met) now" in finding.what
