"""Tables and findings in the terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from doe.cli.app import run
from doe.cli.screen import (
    WIDTH,
    findings_text,
    paragraph,
    shortened,
    study_typed,
    tell,
    text_table,
    text_width,
    with_study,
)
from doe.study.finding import Finding


@pytest.mark.parametrize(
    ("text", "width"),
    [("", 0), ("pH", 2), ("粘度", 4), ("é", 1), ("e\u0301", 1), ("ｐＨ", 4), ("грунт ×²", 8)],
)
def test_width_is_counted_in_columns_of_the_terminal(text: str, width: int) -> None:
    """Wide signs take two, combining marks none."""
    assert text_width(text) == width


def test_columns_stay_aligned_under_wide_names() -> None:
    """Every second column starts at the same place of the screen."""
    rows = [["粘度", "mPa·s"], ["dose", "%"], ["e\u0301", "–"]]
    lines = text_table(["名", "unit"], rows).splitlines()
    starts = {
        text_width(line[: line.index(unit)])
        for line, unit in zip(lines, ["unit", "mPa·s", "%", "–"], strict=True)
    }

    assert len(starts) == 1


@pytest.mark.parametrize(
    "text", ["hydrophobic co-additive", "润湿剂与分散剂", "нейтрализатор", "e\u0301" * 9]
)
@pytest.mark.parametrize("width", [1, 2, 5, 8, 30])
def test_a_name_is_cut_by_columns_not_by_signs(text: str, width: int) -> None:
    """Wide signs never stand out of their column, and what fits is left alone."""
    cut = shortened(text, width)

    assert text_width(cut) <= width
    assert (cut == text) == (text_width(text) <= width)


def test_numbers_stand_to_the_right_and_words_to_the_left() -> None:
    """A column is one of numbers only if every cell is."""
    lines = text_table(["name", "value"], [["a", "−1.5"], ["b", "20"], ["c", ""]]).splitlines()
    words = text_table(["name", "value"], [["a", "1.5"], ["b", "none"]]).splitlines()

    assert lines == ["  name  value", "  a      −1.5", "  b        20", "  c"]
    assert words == ["  name  value", "  a     1.5", "  b     none"]


def test_a_table_without_rows_is_its_head() -> None:
    """No row, no fault."""
    assert text_table(["run", "kind"], []) == "  run  kind"


def test_no_line_of_a_table_ends_in_blanks() -> None:
    """So that what is copied from the screen is clean."""
    lines = text_table(["a", "b"], [["1", "x"], ["2", ""]]).splitlines()

    assert all(line == line.rstrip() for line in lines)


def test_the_gravest_findings_come_first() -> None:
    """Stops, cautions, notes; within a level in their order; advice behind what is so."""
    findings = [
        Finding(level="note", what="n."),
        Finding(level="caution", what="c1.", advice="Do it."),
        Finding(level="stop", what="s."),
        Finding(level="caution", what="c2."),
    ]

    assert findings_text(findings).splitlines() == [
        "  ✗ s.", "  ! c1. Do it.", "  ! c2.", "  · n.",
    ]  # fmt: skip
    assert findings_text([]) == ""


def test_long_sentences_are_folded_under_their_sign() -> None:
    """No line is wider than the screen, and further lines are set in."""
    lines = findings_text([Finding(level="note", what="word " * 60)]).splitlines()

    assert len(lines) > 1
    assert all(len(line) <= WIDTH for line in lines)
    assert all(line.startswith("    ") for line in lines[1:])
    assert all(len(line) <= WIDTH for line in paragraph("word " * 60).splitlines())


def test_progress_goes_to_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    """Standard output belongs to the answer."""
    tell("Reading …")

    assert capsys.readouterr() == ("", "Reading …\n")


def test_advice_names_the_study_of_the_command_in_hand(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is to be typed next can be typed as it stands."""
    (tmp_path / "study.toml").write_text(
        'format = 1\n[study]\ntitle = "x"\n[[factor]]\nname = "dose"\nlow = 1\nhigh = 2\n'
        '[[response]]\nname = "y"\n',
        encoding="utf-8",
    )
    assert run(["extend", str(tmp_path), "--for", "check"]) == 2
    said = capsys.readouterr().err
    assert "STUDY" not in said
    token = study_typed.set("brick")
    assert with_study("millbase confirm STUDY, STUDYING") == "millbase confirm brick, STUDYING"
    study_typed.reset(token)
