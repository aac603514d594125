"""Headings that the contents, the outline and links lead to, and the contents themselves."""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Table, TableStyle

from analysis.report.paper.later import Later
from analysis.report.paper.looks import (
    FAINT,
    INNER,
    MARK,
    RULE,
    STRONG_RULE,
    Voice,
    bold,
    of_markup,
    said,
    voices,
)
from doe.sheets.fonts import PLAIN, marked_up
from doe.sheets.paper import text_points

# Room for a number as long as 10.10, and for that of a page.
NUMBER_ROOM, PAGE_ROOM = 30.0, 26.0

# Points: a list of contents longer than the first is set in two columns, each at most the second.
MOST_IN_ONE, MOST_IN_COLUMN, COLUMN_GAP = 200.0, 420.0, 22.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What a heading and its line in the contents share.

    Attributes:
        anchor: Where links lead.
        title: Its words.
        number: Such as `2.3`; empty for what is not numbered.
        level: 0 for a section, 1 for a part.
    """

    anchor: str
    title: str
    number: str = ""
    level: int = 0


class Heading(Flowable):
    """A heading that notes its page and stands in the outline.

    Args:
        place: What it says and where it stands in the order of things.
        pages: Takes the page by anchor when the heading is drawn.
        unseen: Only in the outline, with nothing on the paper.
    """

    def __init__(
        self, place: Place, pages: MutableMapping[str, int], *, unseen: bool = False
    ) -> None:
        super().__init__()
        self._place, self._pages, self._unseen = place, pages, unseen
        voice: Voice = "part" if place.level else "section"
        number = f"{bold(place.number, MARK)}&nbsp;&nbsp;" if place.number else ""
        self._words = of_markup(number + marked_up(place.title), voice)
        style = voices()[voice]
        self.spaceBefore = 0 if unseen else style.spaceBefore
        self.spaceAfter = 0 if unseen else style.spaceAfter

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take the whole width."""
        if self._unseen:
            return 0, 0
        rule = 0 if self._place.level else 7
        self.width, self.height = width, self._words.wrap(width, height)[1] + rule
        return self.width, self.height

    def draw(self) -> None:
        """Draw the words, and leave a mark for links and outline."""
        place = self._place
        self._pages[place.anchor] = self.canv.getPageNumber()
        self.canv.bookmarkHorizontal(place.anchor, 0, 0 if self._unseen else self.height + 4)
        title = f"{place.number} {place.title}".strip()
        self.canv.addOutlineEntry(title, place.anchor, level=place.level, closed=place.level == 0)
        if self._unseen:
            return
        self._words.drawOn(self.canv, 0, 0)
        if not place.level:
            self.canv.setStrokeColor(STRONG_RULE)
            self.canv.setLineWidth(0.8)
            self.canv.line(0, self.height, self.width, self.height)


class ContentsLine(Flowable):
    """One line of the contents: number, title, page; a link."""

    def __init__(self, place: Place, pages: Mapping[str, int], later: Later) -> None:
        super().__init__()
        self._place, self._pages, self._later = place, pages, later
        self._title = said(place.title, "contents part" if place.level else "contents")
        self._indent = NUMBER_ROOM if place.level else 0.0
        self.spaceBefore = 0 if place.level else 5

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take the whole width."""
        room = width - self._indent - NUMBER_ROOM - PAGE_ROOM
        self.width, self.height = width, self._title.wrap(room, height)[1] + 3
        return self.width, self.height

    def draw(self) -> None:
        """Draw it over a dotted rule."""
        canvas, place = self.canv, self._place
        style = self._title.style
        x = self._indent + (NUMBER_ROOM if place.number else 0.0)
        self._title.drawOn(canvas, x, 3)
        canvas.setFont(style.fontName, style.fontSize)
        canvas.setFillColor(MARK)
        canvas.drawString(self._indent, self.height - style.leading + 1.2, place.number)
        self._later.place(canvas, self.width, self.height, self._draw_page)
        box = (0, 0, self.width, self.height)
        canvas.linkRect(place.title, place.anchor, box, thickness=0, relative=1)

    def _draw_page(self, canvas: Canvas) -> None:
        """Draw the page and the rule that leads to it, which is the shorter the more digits."""
        size = self._title.style.fontSize
        page = str(self._pages[self._place.anchor])
        canvas.setFillColor(FAINT)
        canvas.setFont(PLAIN, size)
        canvas.drawRightString(self.width, 4.2, page)
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.5)
        canvas.setDash(0.5, 2)
        canvas.line(self._indent, 1.5, self.width - text_points(page, size) - 3, 1.5)


def contents(places: Sequence[Place], pages: Mapping[str, int], later: Later) -> list[Flowable]:
    """Set the contents: two columns where one would take much of a page, lines in one else."""
    lines: list[Flowable] = [ContentsLine(place, pages, later) for place in places]
    width = (INNER - COLUMN_GAP) / 2
    heights = [line.wrap(width, 1e4)[1] + line.getSpaceBefore() for line in lines]
    whole = sum(heights)
    if not MOST_IN_ONE < whole < 2 * MOST_IN_COLUMN:
        return lines
    left = next(i for i in range(len(lines)) if sum(heights[: i + 1]) >= whole / 2) + 1
    look = TableStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (0, 0), COLUMN_GAP),
            ("RIGHTPADDING", (1, 0), (1, 0), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 0),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
        ]
    )
    cells = [[lines[:left], lines[left:]]]
    return [Table(cells, colWidths=[width + COLUMN_GAP, width], style=look)]
