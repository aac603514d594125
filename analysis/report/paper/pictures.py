"""Figures on paper: drawn sharp, two beside each other where they stay readable."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Table, TableStyle

from analysis.figures.paper_ink import InkPath, InkText, PaperPicture
from analysis.report.blocks import Picture
from analysis.report.paper.looks import DEEP, INNER, RULE, bold, of_markup
from doe.sheets.fonts import BOLD, PLAIN, faced, marked_up
from doe.sheets.paper import text_points

# Ticks of 7.5 points read well down to this scale.
SCALE = 0.82
GAP = 14.0
# Beside a figure there must be room for a caption, else it goes below.
CAPTION_ROOM = 120.0
# Points that caption and heading take of a page that a figure must fit on.
BESIDE_FIGURE = 110.0

_BARE = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
    ]
)

_BELOW = TableStyle([("TOPPADDING", (0, 1), (-1, 1), 4), ("RIGHTPADDING", (0, 0), (-1, -1), GAP)])


class PictureFlowable(Flowable):
    """One figure at a scale, with words for readers who cannot see it."""

    def __init__(self, picture: PaperPicture, scale: float, alternative: str) -> None:
        super().__init__()
        self._picture, self._scale, self._alternative = picture, scale, alternative
        self.width, self.height = picture.width * scale, picture.height * scale

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Take its own size."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw every mark, marked as one span that carries the words."""
        canvas = self.canv
        words = self._alternative.encode("utf-16-be").hex().upper()
        canvas.addLiteral(f"/Span <</Alt <FEFF{words}>>> BDC")
        canvas.saveState()
        canvas.scale(self._scale, self._scale)
        for mark in self._picture.marks:
            if isinstance(mark, InkPath):
                _draw_path(canvas, mark)
            else:
                _draw_text(canvas, mark)
        canvas.restoreState()
        canvas.addLiteral("EMC")
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.5)
        canvas.rect(0, 0, self.width, self.height)


def picture_rows(
    pictures: Sequence[tuple[Picture, PaperPicture, str]],
) -> Iterator[Table]:
    """Set figures in rows of one or two, each row to be kept together.

    Args:
        pictures: Number and caption, marks, and the words for who cannot see it, of each.
    """
    rows: list[list[tuple[Picture, PaperPicture, str]]] = []
    used = INNER
    for entry in pictures:
        width = entry[1].width * _scale(entry[1])
        if used + GAP + width <= INNER:
            rows[-1].append(entry)
            used += GAP + width
        else:
            rows.append([entry])
            used = width
    for row in rows:
        yield _row(row)


def _row(row: Sequence[tuple[Picture, PaperPicture, str]]) -> Table:
    shown = [PictureFlowable(marks, _scale(marks), words) for _, marks, words in row]
    captions = [_caption(picture) for picture, _, _ in row]
    if len(row) == 1 and INNER - shown[0].width - GAP >= CAPTION_ROOM:
        widths = [shown[0].width + GAP, INNER - shown[0].width - GAP]
        table = Table([[shown[0], captions[0]]], colWidths=widths, style=_BARE, hAlign="LEFT")
    else:
        widths = [one.width + GAP for one in shown]
        table = Table([list(shown), captions], colWidths=widths, style=_BARE, hAlign="LEFT")
        table.setStyle(_BELOW)
    table.spaceBefore, table.spaceAfter = 6, 10
    return table


def _caption(picture: Picture) -> Flowable:
    return of_markup(f"{bold(f'Figure {picture.number}.')} {marked_up(picture.caption)}", "note")


def _scale(picture: PaperPicture) -> float:
    return min(SCALE, INNER / picture.width, (DEEP - BESIDE_FIGURE) / picture.height)


def _draw_path(canvas: Canvas, mark: InkPath) -> None:
    canvas.saveState()
    canvas.setFillAlpha(mark.fill_alpha)
    canvas.setStrokeAlpha(mark.line_alpha)
    canvas.addLiteral(mark.code)
    canvas.restoreState()


def _draw_text(canvas: Canvas, mark: InkText) -> None:
    canvas.saveState()
    canvas.translate(mark.x, mark.y)
    canvas.rotate(mark.angle)
    canvas.setFillColorRGB(*mark.colour)
    face, x = BOLD if mark.is_bold else PLAIN, 0.0
    for font, run in faced(mark.text):
        canvas.setFont(face if font == PLAIN else font, mark.size)
        canvas.drawString(x, 0, run)
        x += text_points(run, mark.size, face)
    canvas.restoreState()
