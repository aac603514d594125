"""The step `sheet`: everything for the bench, or one laboratory's workbook."""

from __future__ import annotations

from pathlib import Path

import pytest

from doe.errors import StudyError
from doe.layouts.extending.joining import without_runs
from doe.sheets.cards import cards_pdf
from doe.sheets.labels import labels_pdf
from doe.sheets.workbook_in import read_workbook
from doe.steps.adopt import adopt_table
from doe.steps.enter import enter_files
from doe.steps.session import open_study
from doe.steps.sheet import make_sheets
from doe.study.folder import StudyFolder

BRIEF = """
format = 1
[study]
title = "Water and price"
seed = 7
[[factor]]
name = "dose"
low = 0.8
high = 2.4
[[response]]
name = "water uptake"
from = "water uptake"
age_d = 7
[[response]]
name = "gloss / 60°"
unit = "GU"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Give a study with three runs."""
    (tmp_path / "study.toml").write_text(BRIEF, encoding="utf-8")
    table = tmp_path / "runs.csv"
    table.write_text("run,batch,dose\n1,1,0.8\n2,2,1.6\n3,3,2.4\n", encoding="utf-8")
    adopt_table(table, tmp_path)
    return tmp_path


def test_workbook_of_one_laboratory_is_named_after_its_responses(folder: Path) -> None:
    """It lies beside the full one, and either can be entered."""
    outcome = make_sheets(folder, wanted=["Water Uptake", "gloss / 60°"])
    study = StudyFolder(folder)
    data = outcome.files[0].read_bytes()
    plan = study.read_plan()

    assert [file.name for file in outcome.files] == ["bench-water-uptake-gloss-60.xlsx"]
    assert plan is not None
    assert read_workbook(data, study.read_study(), plan).raw == {}


def test_unknown_response_is_refused_with_those_there_are(folder: Path) -> None:
    """Nothing is written."""
    with pytest.raises(StudyError, match="no response 'uptake'; allowed: 'water uptake'"):
        make_sheets(folder, wanted=["uptake"])
    assert not (folder / "sheets").exists()


def test_cards_and_labels_of_a_later_round_are_those_of_the_batches_that_wait(
    folder: Path,
) -> None:
    """Nobody weighs an old batch again by mistake; the workbook keeps all runs."""
    session = open_study(folder)
    plan = session.needed_plan()
    file = folder / "read.csv"
    file.write_text("run,gloss / 60°\n1,71\n3,68\n", encoding="utf-8")
    enter_files(folder, [file])
    _, cards, labels = make_sheets(folder).files

    waiting = without_runs(plan, [1, 3])
    assert waiting.run == (2,)
    assert cards.read_bytes() == cards_pdf(session.study, waiting)
    assert labels.read_bytes() == labels_pdf(session.study, waiting)


def test_all_cards_are_there_again_where_no_batch_waits(folder: Path) -> None:
    """A lost card can be printed anew."""
    session = open_study(folder)
    file = folder / "read.csv"
    file.write_text("run,gloss / 60°\n1,71\n2,70\n3,68\n", encoding="utf-8")
    enter_files(folder, [file])
    _, cards, _ = make_sheets(folder).files

    assert cards.read_bytes() == cards_pdf(session.study, session.needed_plan())
