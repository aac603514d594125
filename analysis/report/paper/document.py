"""The report as one PDF: pages of A4, with every page number drawn when all of them are known."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageBreak, PageTemplate

from analysis.figures.drawn import Drawn
from analysis.figures.paper_ink import PaperPicture, paper_pictures
from analysis.report.blocks import FiguresBlock, Picture
from analysis.report.page import Page
from analysis.report.paper.cover import cover_story
from analysis.report.paper.later import Later
from analysis.report.paper.looks import (
    BOTTOM,
    DEEP,
    FAINT,
    FOOT_SIZE,
    HEIGHT,
    INNER,
    LEFT,
    RIGHT,
    RULE,
    TOP,
    WIDTH,
)
from analysis.report.paper.story import decision_story, places_of, sections_story
from doe.sheets.fonts import PLAIN, faced, is_wide, not_shown, register_fonts, spelled
from doe.sheets.paper import shortened, text_points

LANGUAGE = "en-GB"
MOST_SIGNS_NAMED = 12
READERS_LETTERS = (
    "Chinese, Japanese and Korean letters are not in this file: the program that opens it draws "
    "them, with boxes where it has no such letters. Read them on the page for the screen then."
)


def report_pdf(page: Page) -> bytes:
    """Print the report for the record.

    Args:
        page: What the page on screen prints, numbers and all.

    Returns:
        A PDF of A4 pages; the same bytes for the same page. There is no clock in it.
    """
    register_fonts()
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=(WIDTH, HEIGHT), invariant=1, lang=LANGUAGE, author="millbase",
        title=f"{page.title}: study report", subject=page.decision.question, creator="millbase",
        pageCompression=1,
    )  # fmt: skip
    frame = Frame(
        LEFT, BOTTOM, INNER, DEEP, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0
    )
    later = Later()

    def draw_page(canvas: Canvas, document: BaseDocTemplate) -> None:
        number = document.page
        if number == 1:
            canvas.setViewerPreference("DisplayDocTitle", "true")
            canvas.showOutline()

        def draw_rim(canvas: Canvas) -> None:
            _draw_rim(canvas, page, f"page {number} of {document.page}")

        later.place(canvas, WIDTH, HEIGHT, draw_rim)

    class LateCanvas(Canvas):
        def save(self) -> None:
            later.draw(self)
            super().save()

    document.addPageTemplates(PageTemplate(id="page", frames=[frame], onPage=draw_page))
    document.build(list(_story(page, later)), canvasmaker=LateCanvas)
    return out.getvalue()


def lacking_signs(page: Page) -> tuple[str, ...]:
    """Give the signs of a report that the fonts of the paper do not have."""
    return not_shown("".join(_texts(page)))


def lacking_words(signs: tuple[str, ...]) -> str:
    """Name signs that stand as their numbers.

    Example:
        >>> lacking_words(("💧",))
        'Signs that this paper cannot show stand as their number: U+1F4A7 (droplet).'
    """
    named = [
        f"U+{ord(sign):04X} ({unicodedata.name(sign, 'no name').lower()})"
        for sign in signs[:MOST_SIGNS_NAMED]
    ]
    more = len(signs) - len(named)
    rest = f" and {more} more" if more else ""
    return f"Signs that this paper cannot show stand as their number: {', '.join(named)}{rest}."


def _about_letters(page: Page) -> Iterator[str]:
    """Say of which letters the paper alone is no sure record."""
    lacking = lacking_signs(page)
    if lacking:
        yield lacking_words(lacking)
    if any(is_wide(sign) for text in _texts(page) for sign in text):
        yield READERS_LETTERS


def _texts(value: object) -> Iterator[str]:
    """Give every text of a page, however deep it lies; pictures are drawn and hold more."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Picture):
        yield value.caption
    elif isinstance(value, Drawn):
        yield value.title
    elif isinstance(value, Mapping):
        yield from _texts(tuple(value))
    elif isinstance(value, tuple):
        for one in value:
            yield from _texts(one)
    elif is_dataclass(value):
        for one in fields(value):
            yield from _texts(getattr(value, one.name))


def _pictures(page: Page) -> dict[int, PaperPicture]:
    """Turn every figure into marks, by its number."""
    blocks = [
        block
        for section in page.sections
        for part in section.parts
        for block in part.blocks
        if isinstance(block, FiguresBlock)
    ]
    numbers = [picture.number for block in blocks for picture in block.pictures]
    figures = [drawn.figure for block in blocks for drawn in block.drawn]
    return dict(zip(numbers, paper_pictures(figures), strict=True))


def _story(page: Page, later: Later) -> Iterator[Flowable]:
    pages: dict[str, int] = {}
    told = tuple(_about_letters(page))
    yield from cover_story(page, places_of(page), pages, later, told)
    yield PageBreak()
    yield from decision_story(page.decision, pages)
    yield from sections_story(page, _pictures(page), pages)


def _draw_rim(canvas: Canvas, page: Page, number: str) -> None:
    """Draw what stands on every page: title, mark of the inputs, page of pages."""
    line = BOTTOM - 14
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.6)
    canvas.line(LEFT, line, WIDTH - RIGHT, line)
    canvas.setFillColor(FAINT)
    inputs = f"inputs {page.inputs_mark}"
    right = f"{inputs} · {number}"
    room = INNER - text_points(right, FOOT_SIZE) - 18
    left = shortened(spelled(page.title), room, FOOT_SIZE)
    _draw_line(canvas, left, LEFT, line - 10)
    canvas.setFont(PLAIN, FOOT_SIZE)
    canvas.drawRightString(WIDTH - RIGHT, line - 10, right)
    if page.invented:
        canvas.drawRightString(WIDTH - RIGHT, HEIGHT - TOP + 10, "Invented data")


def _draw_line(canvas: Canvas, text: str, x: float, y: float) -> None:
    for font, run in faced(text):
        canvas.setFont(font, FOOT_SIZE)
        canvas.drawString(x, y, run)
        x += text_points(run, FOOT_SIZE)
