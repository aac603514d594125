"""Figures inside a page: one SVG each, named for readers who cannot see it, with ids of its own."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from analysis.figures.drawn import Drawn
from analysis.figures.looks import POINTS_PER_INCH

# The root of the picture alone is 576 points wide at 8 inches.
WIDE_POINTS = 5.6 * POINTS_PER_INCH


def inline_svg(drawn: Drawn, picture: bytes, number: int) -> Markup:
    """Turn a figure into markup that stands safely beside other figures.

    Args:
        drawn: The figure.
        picture: The same as SVG.
        number: Its number on the page, which keeps its ids apart from those of others.
    """
    svg = picture.decode("utf-8")
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r'(\bid=")', rf"\g<1>f{number}-", svg)
    svg = re.sub(r"(url\(#|href=\"#)", rf"\g<1>f{number}-", svg)
    label = escape(f"{drawn.title}. {drawn.caption}")
    head, rest = svg.split(">", 1)
    head = re.sub(r' (width|height)="[^"]*pt"', "", head)
    head = head.replace("<svg ", f'<svg role="img" aria-label="{label}" ', 1)
    # Safe: matplotlib escapes every text that it writes.
    return Markup(f"{head}>{rest.strip()}")


def is_wide(drawn: Drawn) -> bool:
    """Tell whether a figure needs the whole width of the page."""
    return float(drawn.figure.get_figwidth()) * POINTS_PER_INCH > WIDE_POINTS
