"""What can be said of a run, batch, day or reading, and what follows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from analysis.lab.said import reasons_to_leave_out
from doe.errors import ResultsError
from doe.steps.adopt import adopt_table
from doe.steps.note import NoteOptions, note_study
from doe.steps.session import open_study
from doe.study.choices import Says

BRIEF = """
format = 1
[study]
title = "an invented study"
[[factor]]
name = "dose"
low = 1
high = 3
[[response]]
name = "viscosity"
scale = "log"
repeatability_sd = 0.04
"""


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Five runs, each read once."""
    folder = tmp_path / "study"
    folder.mkdir()
    (folder / "study.toml").write_text(BRIEF, encoding="utf-8")
    table = tmp_path / "table.csv"
    rows = "".join(
        f"{run},{dose},{400 + 37 * run}\n" for run, dose in enumerate((1, 2, 3, 1, 3), 1)
    )
    table.write_text("run,dose,viscosity\n" + rows, encoding="utf-8")
    adopt_table(table, folder)
    return folder


def says(study: Path, word: Says, **about: Any) -> str:
    """Note it, with a reason."""
    return note_study(study, NoteOptions(says=word, because="measured again", **about)).sentence


def left_out(study: Path) -> set[int]:
    """Give the runs that notes leave out."""
    session = open_study(study)
    plan = session.needed_plan()
    return set(reasons_to_leave_out(session.choices, plan, plan.day, "viscosity"))


def test_what_stands_is_on_record_and_left_in(study: Path) -> None:
    """A decision that changes no number."""
    sentence = says(study, "stands", run=3)
    (note,) = open_study(study).choices.standing_notes()

    assert sentence == "run 3 was checked and stands, because measured again."
    assert (note.subject, note.number, note.says) == ("run", 3, "stands")
    assert left_out(study) == set()


def test_back_takes_it_back(study: Path) -> None:
    """As it does for the rest."""
    says(study, "stands", run=3)
    says(study, "back", run=3)

    assert open_study(study).choices.standing_notes() == ()


def test_a_reading_that_stands_keeps_its_line(study: Path) -> None:
    """No new line is written to the readings, and back takes only the word back."""
    before = open_study(study).readings
    says(study, "stands", reading=2)
    noted = open_study(study)
    says(study, "back", reading=2)
    after = open_study(study)

    assert [(one.subject, one.number) for one in noted.choices.standing_notes()] == [("reading", 2)]
    assert noted.readings == after.readings == before
    assert after.choices.standing_notes() == ()


def test_what_is_left_out_cannot_stand(study: Path) -> None:
    """Nobody could tell whether it counts: it is taken back first."""
    says(study, "excluded", run=3)
    with pytest.raises(ResultsError, match="run 3 is left out of 'viscosity'"):
        says(study, "stands", run=3)
    says(study, "excluded", reading=2)
    with pytest.raises(ResultsError, match="reading 6 is excluded"):
        says(study, "stands", reading=6)

    assert left_out(study) == {3}


def test_one_thing_is_named(study: Path) -> None:
    """Run, batch, day or reading."""
    with pytest.raises(ResultsError, match="a note is about one thing"):
        says(study, "stands", run=3, day=1)
    with pytest.raises(ResultsError, match="the plan has no day 9"):
        says(study, "stands", day=9)
