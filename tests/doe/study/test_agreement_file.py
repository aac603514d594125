"""`agreement.toml` only grows at its end: versions, roles' lines, the final word."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from doe.errors import StudyError
from doe.study.agreement import (
    AgreedReading,
    AgreedSetting,
    Agreement,
    FinalWord,
    FormulaLine,
    RoleLine,
    Version,
)
from doe.study.agreement_file import decode_agreement, with_final, with_line, with_version
from doe.study.folder import StudyFolder

DAY = date(2026, 3, 2)
FIRST = Version(
    number=1, date=DAY, because='the "thin" one,\nas tried', settings_are="kept settings",
    settings=(
        AgreedSetting(name="dose", value=1.3, unit="% on pigment", tolerance=0.06),
        AgreedSetting(name="neutraliser", value="ammonia"),
    ),
    inputs={"region": "ab", "goals": "cd"}, seed=3, level=0.95, batch_kg=100.0,
    formula=(FormulaLine(name="water", kind="balance", percent=40.0),),
    readings=(AgreedReading(response="gloss", value=60.5, value_is="mean", verdict="met"),),
    not_tested=("Storage: nothing.",),
)  # fmt: skip
AGREES = RoleLine(role="colourist", says="agrees", date=DAY, because="the strength holds")
OBJECTS = replace(AGREES, says="objects", because="")


def test_what_is_written_reads_back_the_same() -> None:
    """Two versions, lines before and after a final word, texts with quotes and line feeds."""
    data = with_version(None, FIRST)
    for line in (OBJECTS, AGREES):
        data = with_line(data, line)
    final = FinalWord(date=DAY, without=("production",), because="on leave")
    data = with_line(with_final(data, final), OBJECTS)
    data = with_version(data, replace(FIRST, number=2))

    read = decode_agreement(data)
    one = replace(FIRST, lines=(OBJECTS, AGREES, OBJECTS), final=final)
    assert read == Agreement(versions=(one, replace(FIRST, number=2)))
    assert [read.state(version) for version in read.versions] == ["superseded", "draft"]


def test_comments_and_all_that_was_said_stay_where_they_are() -> None:
    """People write into the file; what stands there is never touched, not even a lost line end."""
    data = with_version(None, FIRST) + b"# ask the plant about the pH probe"
    grown = with_line(data, AGREES)

    assert grown.startswith(data)
    assert decode_agreement(grown).versions[0].lines == (AGREES,)


def test_the_folder_lets_it_grow_and_nothing_else(tmp_path: Path) -> None:
    """A shorter or altered agreement is refused, and the file stays."""
    (tmp_path / "study.toml").write_text("", encoding="utf-8")
    folder = StudyFolder(tmp_path)
    first = with_version(None, FIRST)
    folder.write({"agreement.toml": first}, command="agree")
    folder.write({"agreement.toml": with_line(first, AGREES)}, command="agree")

    with pytest.raises(StudyError, match="would be lost"):
        folder.write({"agreement.toml": first}, command="agree")
    assert folder.read_agreement().versions[0].lines == (AGREES,)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (b"number = 1", b"number = 2", "stands in place 1"),
        (b'says = "agrees"', b'says = "nods"', "version.1.line.1.says"),
        (b"format = 1", b"format = 7", "does not know"),
        (b"seed = 3", b"seeed = 3", "seeed"),
        (b"[[version]]", b"[[version", "is not the TOML"),
    ],
)
def test_a_file_that_was_spoilt_is_refused_by_place(old: bytes, new: bytes, said: str) -> None:
    """Whoever edits by hand is told where it went wrong."""
    data = with_line(with_version(None, FIRST), AGREES).replace(old, new, 1)

    with pytest.raises(StudyError, match=said):
        decode_agreement(data)
