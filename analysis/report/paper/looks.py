"""The look of the printed report: one ink, one accent, room for a binder's holes."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any, Literal

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Paragraph

from doe.sheets.fonts import BOLD, PLAIN, marked_up, register_fonts

Voice = Literal[
    "lead", "title", "question", "section", "part", "small head", "text", "list", "table title",
    "text in cell", "note", "note bold", "faint", "small list", "contents", "contents part",
]  # fmt: skip

WIDTH, HEIGHT = A4
# The left margin has room for the holes of a binder.
LEFT, RIGHT, TOP, BOTTOM = 25 * mm, 18 * mm, 20 * mm, 21 * mm
INNER, DEEP = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

# The colours of the page on screen; what is printed pale there is white here.
INK, FAINT, MARK = HexColor("#1f2328"), HexColor("#565c63"), HexColor("#8f2d1b")
RULE, STRONG_RULE = HexColor("#d3ccbc"), HexColor("#8b8577")
SAND = Color(0.984, 0.976, 0.953)

TEXT_SIZE, NOTE_SIZE, FOOT_SIZE = 8.4, 7.2, 6.6


def said(text: str, voice: Voice = "text", *, size: float | None = None) -> Paragraph:
    """Make a paragraph of a plain text."""
    return of_markup(marked_up(text), voice, size=size)


def of_markup(markup: str, voice: Voice = "text", *, size: float | None = None) -> Paragraph:
    """Make a paragraph of a text that is escaped already."""
    style = voices()[voice]
    if size is not None:
        style = ParagraphStyle(f"{voice} {size}", parent=style, fontSize=size, leading=1.3 * size)
    return Paragraph(markup, style)


def bold(text: str, colour: Color | None = None) -> str:
    """Escape a text and print it bold, in a colour if one is given."""
    marked = f"<b>{marked_up(text)}</b>"
    return f'<font color="{colour.hexval()}">{marked}</font>' if colour else marked


@cache
def voices() -> Mapping[Voice, ParagraphStyle]:
    """Give the style of every voice."""
    register_fonts()
    text = ParagraphStyle(
        "text", fontName=PLAIN, fontSize=TEXT_SIZE, leading=12.2, textColor=INK, spaceAfter=5,
        allowWidows=0, allowOrphans=0, splitLongWords=1,
    )  # fmt: skip

    def style(name: str, size: float, leading: float, **more: Any) -> ParagraphStyle:
        return ParagraphStyle(name, parent=text, fontSize=size, leading=leading, **more)

    return {
        "text": text,
        "lead": style("lead", 8.4, 11, textColor=FAINT, spaceAfter=3),
        "title": style("title", 18, 22.5, fontName=BOLD, spaceAfter=6),
        "question": style("question", 10.5, 15, spaceAfter=8),
        "section": style("section", 15, 19, fontName=BOLD, spaceAfter=4),
        "part": style("part", 10.5, 14, fontName=BOLD, spaceBefore=13, spaceAfter=4),
        "small head": style("small head", 8.8, 12, fontName=BOLD, spaceBefore=8, spaceAfter=3),
        "list": style("list", TEXT_SIZE, 12.2, leftIndent=11, bulletIndent=1, spaceAfter=3),
        "table title": style("table title", NOTE_SIZE, 9.8, textColor=FAINT, spaceAfter=3),
        "note": style("note", NOTE_SIZE, 9.8, textColor=FAINT, spaceAfter=0),
        "text in cell": style("text in cell", NOTE_SIZE, 9.8, spaceAfter=0),
        "note bold": style("note bold", NOTE_SIZE, 9.8, fontName=BOLD, spaceAfter=0),
        "faint": style("faint", TEXT_SIZE, 11.4, textColor=FAINT, spaceAfter=0),
        "small list": style("small list", 7.4, 10, leftIndent=10, bulletIndent=1, spaceAfter=2),
        "contents": style("contents", 8.6, 11.4, fontName=BOLD, spaceAfter=0),
        "contents part": style("contents part", 8.2, 10.6, spaceAfter=0),
    }
