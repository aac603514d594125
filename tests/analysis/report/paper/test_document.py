"""The report on paper: every word of the page, right page numbers, the same bytes twice."""

from __future__ import annotations

import re
import shutil
import subprocess
import zlib
from base64 import a85decode
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from analysis.report.content import ReportContent
from analysis.report.page import Page, make_page
from analysis.report.paper.document import READERS_LETTERS, lacking_signs, report_pdf
from analysis.report.paper.story import places_of
from doe.sheets.wording import FOLLOW
from tests.analysis.report.masonry import (
    HARD_NAMES,
    PROVENANCE,
    first_figures,
    full_content,
    masonry,
)

NEEDS_READER = pytest.mark.skipif(
    shutil.which("pdftotext") is None,
    reason="2026-11-28: no independent reader of PDF on this machine",
)


@cache
def hard_page() -> Page:
    """Give the page of the study with names of every kind, and a few of its figures."""
    content = full_content(masonry(HARD_NAMES), first_figures(HARD_NAMES, 4))
    return make_page(content)


@cache
def hard_pdf() -> bytes:
    """Print it."""
    return report_pdf(hard_page())


@pytest.fixture(scope="module")
def read_pages(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What an independent reader finds on each page."""
    return _read(hard_pdf(), tmp_path_factory.mktemp("paper"))


def _read(pdf: bytes, folder: Path, *only: str) -> list[str]:
    place = folder / "report.pdf"
    place.write_bytes(pdf)
    told = subprocess.run(
        ["pdftotext", "-enc", "UTF-8", "-layout", *only, str(place), "-"],
        capture_output=True, check=True,
    )  # fmt: skip
    return told.stdout.decode("utf-8").split("\f")[:-1]


def _bare(text: str) -> str:
    """Leave out what wrapping adds or takes."""
    return re.sub(r"\s+", "", text)


def _streams(pdf: bytes) -> list[bytes]:
    found = re.findall(rb"/ASCII85Decode.*?stream\r?\n(.*?)endstream", pdf, re.DOTALL)
    return [zlib.decompress(a85decode(one.strip().removesuffix(b"~>"))) for one in found]


def test_the_same_page_gives_the_same_bytes() -> None:
    """DESIGN.md: the same inputs give the same results; no clock, no random name."""
    assert report_pdf(hard_page()) == hard_pdf()


def test_it_has_a_title_a_language_and_an_outline() -> None:
    """Readers aloud say the title and choose their voice by the language."""
    pdf = hard_pdf()
    assert b"(en-GB)" in pdf
    assert b"/DisplayDocTitle true" in pdf
    assert pdf.count(b"/Dest [") >= len(places_of(hard_page()))


def test_every_figure_has_words_for_who_cannot_see_it() -> None:
    """One span a figure, with title and caption."""
    page = hard_page()
    drawn = [d for s in page.sections for p in s.parts for b in p.blocks if b.kind == "figures"
             for d in b.drawn]  # fmt: skip
    told = b"".join(_streams(hard_pdf()))
    assert drawn
    for one in drawn:
        words = f"{one.title}. {one.caption}".encode("utf-16-be").hex().upper()
        assert f"/Span <</Alt <FEFF{words}>>> BDC".encode() in told


@NEEDS_READER
def test_the_pages_are_numbered_through(read_pages: list[str]) -> None:
    """Whoever holds the paper sees whether a page is missing."""
    for i, text in enumerate(read_pages, start=1):
        assert f"page {i} of {len(read_pages)}" in text


@NEEDS_READER
def test_every_page_names_the_inputs_and_that_they_are_invented(read_pages: list[str]) -> None:
    """A single sheet must be traceable, and never be taken for knowledge."""
    for text in read_pages:
        assert f"inputs {hard_page().inputs_mark}" in text
        assert "Invented data" in text


@NEEDS_READER
def test_the_contents_lead_to_the_right_pages(read_pages: list[str], tmp_path: Path) -> None:
    """Each title stands where the contents say, and nowhere before."""
    # Their two columns, read one after the other; points of a sheet of A4.
    half, whole = 297, 842
    columns = [
        _read(hard_pdf(), tmp_path, "-l", "1", "-r", "72", "-x", str(x), "-y", "0",
              "-W", str(half), "-H", str(whole))[0]
        for x in (0, half)
    ]  # fmt: skip
    contents = "\n".join(columns)
    for place in places_of(hard_page()):
        if not place.number or len(place.title) > 60:
            continue
        own = rf"^ *{re.escape(place.number)} +\S.*?(\d+) *$"
        line = re.search(own, contents, re.MULTILINE | re.DOTALL)
        assert line is not None, place
        words = _bare(f"{place.number}{place.title}")
        assert words in _bare(read_pages[int(line[1]) - 1])


@NEEDS_READER
@pytest.mark.parametrize("lines", [0, 12, 18, 24])
def test_a_decision_that_runs_over_leaves_no_page_nearly_empty(lines: int, tmp_path: Path) -> None:
    """The first part goes on below its last lines, and begins a page of its own otherwise."""
    page = hard_page()
    longer = (*page.decision.next_steps, *(f"Step {n}." for n in range(lines)))
    page = replace(
        page, decision=replace(page.decision, next_steps=longer), sections=page.sections[:1]
    )
    read = _read(report_pdf(page), tmp_path)
    head = _bare(f"{page.sections[0].number} {page.sections[0].title}")
    begins = next(i for i, text in enumerate(read) if i > 0 and head in _bare(text))

    for text in read[1:begins]:
        assert len([line for line in text.splitlines() if line.strip()]) > 20


@NEEDS_READER
def test_every_cell_of_every_table_is_on_the_paper(read_pages: list[str]) -> None:
    """Nothing is cut at the edge of a cell; wrapped words are compared word by word."""
    page, words = hard_page(), set(" ".join(read_pages).split())
    whole = _bare(" ".join(read_pages))
    tables = [
        b.table for s in page.sections for p in s.parts for b in p.blocks if b.kind == "table"
    ]
    cells = [
        cell.text for table in (*tables, page.decision.gives) for row in table.rows for cell in row
    ]
    numbers = [text for text in cells if re.fullmatch(r"[−\d.]+", text)]

    assert len(tables) > 10
    assert len(numbers) > 500
    assert all(text in words for text in numbers)
    assert all(_bare(text) in whole for text in cells if len(text) < 12)


@NEEDS_READER
def test_work_safety_has_its_box(read_pages: list[str]) -> None:
    """The cautions of the bench cards, on the first page."""
    assert "Work safety" in read_pages[0]
    assert _bare(FOLLOW) in _bare(read_pages[0])


@NEEDS_READER
def test_signs_without_a_letter_stand_as_numbers(tmp_path: Path) -> None:
    """A name must not vanish as boxes; Thai is in no font that the paper has."""
    page = replace(make_page(full_content(masonry())), title="สี red")
    text = " ".join(_read(report_pdf(page), tmp_path))

    assert lacking_signs(page) == ("ส", "ี")
    assert "[U+0E2A U+0E35] red" in text
    assert "U+0E2A (thai character so sua)" in text


@NEEDS_READER
def test_letters_that_the_reader_must_bring_are_told(read_pages: list[str]) -> None:
    """Fonts of Chinese letters are not in the file; an archive must know."""
    assert "润湿剂的混合物" in _bare(" ".join(read_pages))
    assert _bare(READERS_LETTERS) in _bare(" ".join(read_pages))


@NEEDS_READER
def test_a_study_without_readings_has_a_paper(tmp_path: Path) -> None:
    """A record may be wanted before all is known."""
    study = masonry()
    content = ReportContent(study=study.study, provenance=PROVENANCE, plan=study.plan)
    text = " ".join(_read(report_pdf(make_page(content)), tmp_path))

    assert "No recipe to recommend yet" in text
