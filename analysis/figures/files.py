"""Figures to bytes: the same picture gives the same bytes on the same machine and versions."""

from __future__ import annotations

import io
import multiprocessing
import os
import re
import sys
from collections.abc import Mapping
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from analysis.figures.looks import FONT_STACK, GENERIC_FACE, POINTS_PER_INCH, drawing_at

PNG_DPI = 160
# Of 9: a third of the time of the usual 6, files a few per cent larger.
QUICK = 3
# Files below which branching off costs more than it saves.
FEW = 12


def save_figures(figures: Mapping[str, Figure], *, made: str = "") -> Mapping[str, bytes]:
    """Write every figure as SVG and PNG.

    Args:
        figures: By the stem of the file names.
        made: What made them (version, seed, hashes); goes into the files' own description.

    Returns:
        Bytes by file name, `NAME.svg` and `NAME.png`.
    """
    jobs = [(name, end) for name in figures for end in _WRITERS]
    return dict(zip(map(".".join, jobs), _written(figures, jobs, made), strict=True))


def _written(figures: Mapping[str, Figure], jobs: list[tuple[str, str]], made: str) -> list[bytes]:
    """Write every file, on all cores where processes can be branched off; the same bytes anyhow."""
    if not _may_branch() or len(jobs) < FEW:
        return [_WRITERS[end](figures[name], made) for name, end in jobs]
    # A branch holds the figures as they stand: nothing of them need be sent to it.
    _branch.update(figures=figures, made=made)
    try:
        with multiprocessing.get_context("fork").Pool() as pool:
            return pool.map(_write_one, jobs, chunksize=4)
    finally:
        _branch.clear()


def _may_branch() -> bool:
    """Tell whether a branch of this process is safe: on Linux, with no thread beside this one.

    The system counts the threads, as Python knows only of those that its own module began: a lock
    that another thread holds at the branch would never open again in the branch.
    """
    cores = os.cpu_count() or 1
    return cores > 1 and sys.platform == "linux" and len(os.listdir("/proc/self/task")) == 1


# Figures of the process that branches, for its branches alone.
_branch: dict[str, Any] = {}


def _write_one(job: tuple[str, str]) -> bytes:
    name, end = job
    return _WRITERS[end](_branch["figures"][name], _branch["made"])


def svg_bytes(figure: Figure, made: str = "") -> bytes:
    """Write one figure as SVG with its text as text, no date and no program in it."""
    buffer = io.BytesIO()
    with drawing_at(figure, POINTS_PER_INCH):
        about = {"Date": None, "Creator": None, "Description": made or None}
        # Not by `savefig`, which draws every figure once more than it writes.
        canvas: Any = FigureCanvasSVG(figure)
        canvas.print_svg(buffer, metadata=about)
    return _lighter(buffer.getvalue().decode("utf-8")).encode("utf-8")


def png_bytes(figure: Figure, made: str = "") -> bytes:
    """Write one figure as PNG at 160 dots per inch."""
    buffer = io.BytesIO()
    with drawing_at(figure, PNG_DPI):
        about = {"Software": None, "Description": made or None}
        canvas: Any = FigureCanvasAgg(figure)
        canvas.print_png(buffer, metadata=about, pil_kwargs={"compress_level": QUICK})
    return buffer.getvalue()


_WRITERS = {"svg": svg_bytes, "png": png_bytes}


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
