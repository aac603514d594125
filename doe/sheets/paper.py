"""The look of the printed sheets: plain, black on white, made to be written on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from typing import Literal

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from doe import __version__
from doe.sheets.fonts import BOLD, PLAIN, is_wide, marked_up, register_fonts
from doe.study.brief import Study
from doe.study.hashes import region_hash
from doe.study.plan import Plan

Voice = Literal["big", "head", "text", "bold", "right", "small", "small right"]

INK, RULE, SHADE = Color(0, 0, 0), Color(0.55, 0.55, 0.52), Color(0.91, 0.91, 0.89)
ELLIPSIS = "…"


def said(text: str, voice: Voice = "text") -> Paragraph:
    """Make a paragraph of a plain text; line feeds begin new lines."""
    lines = (marked_up(line) for line in text.split("\n"))
    return Paragraph("<br/>".join(lines), _voices()[voice])


def shortened(text: str, width: float, size: float, font: str = PLAIN) -> str:
    """Cut a text to a width in points, marked where it was cut."""
    if text_points(text, size, font) <= width:
        return text
    kept = text
    while kept and text_points(kept + ELLIPSIS, size, font) > width:
        kept = kept[:-1]
    return kept.rstrip() + ELLIPSIS


def text_points(text: str, size: float, font: str = PLAIN) -> float:
    """Measure the width of a text on one line, in points."""
    register_fonts()
    wide = sum(is_wide(sign) for sign in text)
    rest = "".join(sign for sign in text if not is_wide(sign))
    return float(pdfmetrics.stringWidth(rest, font, size)) + wide * size


def draw_said(canvas: Canvas, text: str, voice: Voice, x: float, top: float, width: float) -> float:
    """Draw a paragraph below a line and give the height that it takes, in points."""
    paragraph = said(text, voice)
    _, height = paragraph.wrap(width, 1000)
    paragraph.drawOn(canvas, x, top - height)
    return float(height)


def provenance(study: Study, plan: Plan) -> str:
    """Say what a sheet was made from."""
    seeds = dict.fromkeys(str(one.seed) for one in plan.rounds if one.seed is not None)
    return (
        f"millbase {__version__} · seed {', '.join(seeds) or 'none'} · region {region_hash(study)}"
    )


def with_page_total(build: Callable[[int], tuple[bytes, int]]) -> bytes:
    """Build a document twice: once to count its pages, once to print their number."""
    _, total = build(0)
    return build(total)[0]


@cache
def _voices() -> Mapping[Voice, ParagraphStyle]:
    register_fonts()
    text = ParagraphStyle("text", fontName=PLAIN, fontSize=8, leading=10, textColor=INK)
    return {
        "big": ParagraphStyle("big", parent=text, fontName=BOLD, fontSize=15, leading=18),
        "head": ParagraphStyle("head", parent=text, fontName=BOLD, fontSize=9, leading=11),
        "text": text,
        "bold": ParagraphStyle("bold", parent=text, fontName=BOLD),
        "right": ParagraphStyle("right", parent=text, alignment=2),
        "small": ParagraphStyle("small", parent=text, fontSize=6.3, leading=7.8),
        "small right": ParagraphStyle(
            "small right", parent=text, fontSize=6.3, leading=7.8, alignment=2
        ),
    }
