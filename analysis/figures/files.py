"""Figures to bytes: the same picture gives the same bytes on the same machine and versions."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Mapping

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from analysis.figures.looks import FONT_STACK, GENERIC_FACE, house_look, leave_glyphs_to_the_viewer

PNG_DPI = 160
# Of 9: a third of the time of the usual 6, files a few per cent larger.
QUICK = 3


def save_figures(figures: Mapping[str, Figure], *, made: str = "") -> Mapping[str, bytes]:
    """Write every figure as SVG and PNG.

    Args:
        figures: By the stem of the file names.
        made: What made them (version, seed, hashes); goes into the files' own description.

    Returns:
        Bytes by file name, `NAME.svg` and `NAME.png`.
    """
    files: dict[str, bytes] = {}
    for name, figure in figures.items():
        files[f"{name}.svg"] = svg_bytes(figure, made)
        files[f"{name}.png"] = png_bytes(figure, made)
    return files


def svg_bytes(figure: Figure, made: str = "") -> bytes:
    """Write one figure as SVG with its text as text, no date and no program in it."""
    buffer = io.BytesIO()
    with house_look(), warnings.catch_warnings():
        leave_glyphs_to_the_viewer()
        FigureCanvasSVG(figure)
        about = {"Date": None, "Creator": None, "Description": made or None}
        figure.savefig(buffer, format="svg", metadata=about)
    return _lighter(buffer.getvalue().decode("utf-8")).encode("utf-8")


def png_bytes(figure: Figure, made: str = "") -> bytes:
    """Write one figure as PNG at 160 dots per inch."""
    buffer = io.BytesIO()
    with house_look(), warnings.catch_warnings():
        leave_glyphs_to_the_viewer()
        FigureCanvasAgg(figure)
        about = {"Software": None, "Description": made or None}
        figure.savefig(
            buffer, format="png", dpi=PNG_DPI, metadata=about, pil_kwargs={"compress_level": QUICK}
        )
    return buffer.getvalue()


def _lighter(svg: str) -> str:
    """Name the faces once, on the root element, and give paths hundredths of a point."""
    if "font-family: " not in svg:
        return svg
    bare = re.sub(r"font-family: [^;\"]*;? ?", "", svg)
    bare = re.sub(r'(?<= d=")[^"]*', _two_places, bare)
    # All of the stack, not only what this machine has: the reader's may have others.
    faces = ", ".join([*(f"'{name}'" for name in FONT_STACK), GENERIC_FACE])
    return bare.replace("<svg ", f'<svg style="font-family: {faces}" ', 1)


def _two_places(path: re.Match[str]) -> str:
    return re.sub(r"-?\d+\.\d{3,}", lambda number: f"{float(number[0]):.2f}", path[0])
