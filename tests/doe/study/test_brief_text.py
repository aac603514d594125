"""A brief is text, whatever program saved it."""

from __future__ import annotations

import codecs

import pytest

from doe.errors import StudyError
from doe.study.brief_file import parse_brief
from doe.study.brief_text import read_text

BRIEF = """[study]
title = "Größe und Höhe"
[[factor]]
name = "pH"
low = 8
high = 9
[[response]]
name = "Viskosität"
"""


@pytest.mark.parametrize(
    "data",
    [
        BRIEF.encode(),
        codecs.BOM_UTF8 + BRIEF.encode(),
        BRIEF.replace("\n", "\r\n").encode(),
        BRIEF.replace("\n", "\r").encode(),
        codecs.BOM_UTF8 + BRIEF.replace("\n", "\r\n").encode(),
    ],
)
def test_utf8_is_read_with_any_line_ends_and_mark(data: bytes) -> None:
    """A byte order mark does no harm."""
    assert parse_brief(data).about.title == "Größe und Höhe"


@pytest.mark.parametrize(
    ("data", "fragments"),
    [
        (BRIEF.encode("latin-1"), ("line 2", "not in the encoding UTF-8", "“ö”", "UTF-8")),
        (BRIEF.encode("cp1252"), ("line 2", "Windows-1252")),
        (BRIEF.encode("utf-16"), ("line 1", "UTF-16", "Save the file again")),
        (BRIEF.encode("utf-16-le"), ("UTF-16",)),
        (codecs.BOM_UTF16_BE + BRIEF.encode("utf-16-be"), ("UTF-16",)),
        (b"PK\x03\x04rest", ("office document", "text editor")),
        (b"%PDF-1.7", ("PDF",)),
        (b"", ("empty", "millbase new")),
        (b" \n\n", ("empty",)),
        (codecs.BOM_UTF8, ("empty",)),
    ],
)
def test_other_bytes_have_sentences_of_their_own(data: bytes, fragments: tuple[str, ...]) -> None:
    """DESIGN.md, section 2: other encodings in a sentence of their own."""
    with pytest.raises(StudyError) as caught:
        parse_brief(data, "red.toml")

    assert len(caught.value.faults) == 1
    assert str(caught.value).startswith("red.toml")
    for fragment in fragments:
        assert fragment in str(caught.value)


def test_a_wrong_encoding_hides_no_other_fault() -> None:
    """The text is read on as what it seems to be."""
    with pytest.raises(StudyError) as caught:
        parse_brief(BRIEF.replace("low = 8", "low = 10").encode("latin-1"))

    assert len(caught.value.faults) == 2


def test_a_wide_text_keeps_its_letters() -> None:
    """Names of a mis-encoded file still print as written in the messages."""
    text, flaws = read_text(BRIEF.encode("utf-16"))

    assert text == BRIEF
    assert len(flaws) == 1
