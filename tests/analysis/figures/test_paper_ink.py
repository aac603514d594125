"""Figures for paper: paths, text and hatching as PDF operators."""

from __future__ import annotations

import re

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from analysis.figures.paper_ink import InkPath, InkText, PaperPicture, paper_pictures


def _drawn(*patches: Rectangle | Circle, line: list[float] | None = None) -> PaperPicture:
    """Draw on bare axes of two inches square that fill the figure, 0 to 1 each way."""
    figure = Figure(figsize=(2, 2))
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    for patch in patches:
        axes.add_patch(patch)
    if line is not None:
        axes.plot(np.linspace(0, 1, len(line)), line)
    axes.text(0.5, 0.25, "pH × dose", rotation=90)
    return next(iter(paper_pictures([figure])))


def _code(picture: PaperPicture) -> str:
    return "\n".join(mark.code for mark in picture.marks if isinstance(mark, InkPath))


def test_a_rectangle_lies_where_it_was_drawn() -> None:
    """Points from the lower left: a quarter of 144 points is 36."""
    picture = _drawn(Rectangle((0.25, 0.5), 0.5, 0.25, facecolor=(1, 0, 0), linewidth=0))

    assert (picture.width, picture.height) == (144, 144)
    assert "1 0 0 rg\n36.00 72.00 m\n108.00 72.00 l\n108.00 108.00 l" in _code(picture)


def test_text_stays_text() -> None:
    """Searchable, and read aloud."""
    texts = [mark for mark in _drawn().marks if isinstance(mark, InkText)]

    assert [text.text for text in texts] == ["pH × dose"]
    assert texts[0].angle == 90


def test_opacity_is_kept() -> None:
    """Bands of uncertainty let lines be seen through them."""
    picture = _drawn(Rectangle((0, 0), 1, 1, facecolor="red", alpha=0.25, linewidth=0))

    assert 0.25 in [mark.fill_alpha for mark in picture.marks if isinstance(mark, InkPath)]


def test_hatching_is_held_inside_its_shape() -> None:
    """What is refused is hatched; the hatching must not run over what is allowed."""
    code = _code(_drawn(Rectangle((0.1, 0.1), 0.3, 0.3, fill=False, hatch="///")))

    assert re.search(r"W n\n[\d. ]+ RG\n[\d.]+ w\n(?:[-\d.]+ [-\d.]+ [ml]\n)+S", code)


def test_gaps_in_a_line_are_gaps() -> None:
    """A reading that is missing is no number of a PDF."""
    code = _code(_drawn(line=[0.1, 0.2, float("nan"), 0.4, 0.5]))

    assert "nan" not in code
    assert "36.00 28.80 l\n108.00 57.60 m" in code


def test_what_is_saved_is_restored() -> None:
    """A state left behind would colour the rest of the page."""
    code = _code(_drawn(Circle((0.5, 0.5), 0.2, hatch="xx"), line=[0, 1]))
    words = code.split()

    assert words.count("q") == words.count("Q") > 0


@pytest.mark.parametrize("dpi", [50, 300])
def test_the_figure_is_left_as_it_was(dpi: int) -> None:
    """The same figure is written as SVG and PNG too."""
    figure = Figure(figsize=(2, 2), dpi=dpi)
    first = next(iter(paper_pictures([figure])))

    assert figure.dpi == dpi
    assert next(iter(paper_pictures([figure]))) == first
