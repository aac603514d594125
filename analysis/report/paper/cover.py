"""The cover: what the study is, the contents, work safety, and what the report rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from reportlab.platypus import Flowable, KeepTogether, Spacer, Table, TableStyle

from analysis.report.page import Page
from analysis.report.paper.headings import Heading, Place, contents
from analysis.report.paper.later import Later
from analysis.report.paper.looks import (
    INNER,
    MARK,
    RULE,
    SAND,
    STRONG_RULE,
    bold,
    of_markup,
    said,
)
from doe.sheets.fonts import marked_up

CONTENTS = Place(anchor="contents", title="Contents")
INVENTED = (
    "Invented data. No pigment was ground for this study; its readings show how the report works."
)
MOST_NAMED = 12
_SLIP_COLUMNS = 3


def cover_story(
    page: Page,
    places: Sequence[Place],
    pages: dict[str, int],
    later: Later,
    lacking: Sequence[str],
) -> Iterator[Flowable]:
    """Set the cover.

    Args:
        page: What the report says.
        places: What the contents list.
        pages: Page by anchor; filled as headings are drawn.
        later: Draws the numbers of pages.
        lacking: What to say about signs that the fonts do not have.
    """
    yield said("Report on a study of a wetting and dispersing package", "lead")
    yield said(page.title, "title")
    if page.decision.question:
        yield said(page.decision.question, "question")
    if page.invented:
        yield _box([of_markup(bold(INVENTED))], STRONG_RULE)
        yield Spacer(0, 8)
    yield _slip(page.slip)
    yield Spacer(0, 6)
    yield Heading(CONTENTS, pages, unseen=True)
    yield said("Contents", "small head")
    yield from contents(places, pages, later)
    yield Spacer(0, 10)
    yield KeepTogether([safety_box(page.safety)])
    yield Spacer(0, 4)
    yield KeepTogether(list(_rests_on(page, lacking)))


def safety_box(cautions: Sequence[str]) -> Table:
    """Set the cautions of work safety in a box of their own."""
    lines: list[Flowable] = [of_markup(bold("Work safety", MARK))]
    lines += [of_markup(f"<bullet>–</bullet>{marked_up(line)}", "small list") for line in cautions]
    return _box(lines, MARK)


def _box(lines: list[Flowable], colour: object) -> Table:
    look = TableStyle(
        [
            ("BOX", (0, 0), (-1, -1), 0.9, colour),
            ("BACKGROUND", (0, 0), (-1, -1), SAND),
            ("LEFTPADDING", (0, 0), (-1, -1), 9),
            ("RIGHTPADDING", (0, 0), (-1, -1), 9),
            ("TOPPADDING", (0, 0), (-1, -1), 6),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
        ]
    )
    return Table([[lines]], colWidths=[INNER], style=look)


def _slip(entries: Sequence[tuple[str, str]]) -> Table:
    """Set the slip of the page's head, three entries a line."""
    cells: list[list[object]] = []
    for start in range(0, len(entries), _SLIP_COLUMNS):
        row: list[object] = [
            [said(name, "note"), said(value)]
            for name, value in entries[start : start + _SLIP_COLUMNS]
        ]
        cells.append(row + [""] * (_SLIP_COLUMNS - len(row)))
    look = TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LINEABOVE", (0, 0), (-1, 0), 0.8, STRONG_RULE),
            ("LINEBELOW", (0, 0), (-1, -2), 0.4, RULE),
            ("LINEBELOW", (0, -1), (-1, -1), 0.8, STRONG_RULE),
            ("LEFTPADDING", (0, 0), (0, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 4),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ]
    )
    return Table(cells, colWidths=[INNER / _SLIP_COLUMNS] * _SLIP_COLUMNS, style=look)


def _rests_on(page: Page, lacking: Sequence[str]) -> Iterator[Flowable]:
    yield said("What this report rests on", "small head")
    seed = f" Seed {page.seed}." if page.seed is not None else ""
    yield said(
        f"Made with millbase {page.version}.{seed} The same inputs give the same file. All inputs "
        f"together: {page.inputs_mark}, as at the foot of every page.",
        "note",
    )
    hashes = "; ".join(f"{name} {mark}" for name, mark in page.hashes)
    if hashes:
        yield said(f"By input: {hashes}.", "note")
    for line in lacking:
        yield said(line, "note")
