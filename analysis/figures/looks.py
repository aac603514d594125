"""The house look of every figure: ink, fonts, wrapping, units; no state is left behind."""

from __future__ import annotations

import re
import unicodedata
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, wraps
from typing import Any, ParamSpec, TypeVar, cast

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import FuncFormatter, MaxNLocator

INK = "#1f2328"
FAINT_INK = "#5d6369"
RULE = "#c4bfb2"
PAPER = "#ffffff"
BAND = "#d8d4ca"
FORBIDDEN = "#e6e3dc"
ROOM = "#3f6d8e"
OXIDE = "#9b2d16"
# cividis: perceptually uniform, rises steadily in lightness, made for colour-blind readers.
# Source: Nuñez, Anderton and Renslow (2018), PLoS ONE 13(7), e0199239.
SURFACE_MAP = "cividis"

# Wide faces first, so that a narrower substitute on another machine never overflows.
FONT_STACK = (
    "DejaVu Sans", "Verdana", "Segoe UI", "Arial Unicode MS", "Noto Sans CJK SC", "Noto Sans SC",
    "Droid Sans Fallback", "WenQuanYi Micro Hei", "WenQuanYi Zen Hei", "Microsoft YaHei",
    "Malgun Gothic", "Yu Gothic", "PingFang SC", "Hiragino Sans GB", "Apple SD Gothic Neo",
)  # fmt: skip

# What a browser takes where it has none of them.
GENERIC_FACE = "sans-serif"

TITLE_SIZE = 10.5
LABEL_SIZE = 8.5
TICK_SIZE = 7.5

POINTS_PER_INCH = 72.0

P = ParamSpec("P")
R = TypeVar("R")


@cache
def font_families() -> tuple[str, ...]:
    """Give the faces of the stack that this machine has; each more costs time for every text."""
    here = set(font_manager.get_font_names())
    return tuple(name for name in FONT_STACK if name in here) or (GENERIC_FACE,)


@contextmanager
def house_look() -> Iterator[None]:
    """Hold matplotlib's settings to the house look for a while, then give them back."""
    settings: dict[Any, Any] = {
        "font.family": list(font_families()),
        "font.sans-serif": list(FONT_STACK),
        "font.size": LABEL_SIZE,
        # A name is a name: `$` and `_` in it are no mathematics.
        "text.parse_math": False,
        "axes.unicode_minus": True,
        # Hinted letters change their width with the resolution, and room once made would not do.
        "text.hinting": "none",
        "svg.fonttype": "none",
        "svg.hashsalt": "millbase",
        "hatch.linewidth": 0.5,
    }
    with mpl.rc_context(settings):
        yield


def in_house_look(draw: Callable[P, R]) -> Callable[P, R]:
    """Make a drawing function work under the house look."""

    @wraps(draw)
    def drawn(*args: P.args, **kwargs: P.kwargs) -> R:
        with house_look():
            return draw(*args, **kwargs)

    return drawn


def new_figure(width: float, height: float, title: str) -> Figure:
    """Open an empty figure with its title sentence, wrapped and flush left.

    Args:
        width: Inches.
        height: Inches, the title's room included for one line; more lines add to it.
        title: A sentence that says what the figure shows.
    """
    lines = wrap(title, int(width * 11.0))
    extra = 0.17 * lines.count("\n")
    layout = ConstrainedLayoutEngine(w_pad=0.06, h_pad=0.06)
    figure = Figure(figsize=(width, height + extra), layout=layout, facecolor=PAPER)
    figure.suptitle(lines, x=0.01, ha="left", fontsize=TITLE_SIZE, color=INK, linespacing=1.25)
    return figure


def settle(figure: Figure) -> Figure:
    """Lay the figure out once and for all, so that every file of it has the same places."""
    with warnings.catch_warnings():
        leave_glyphs_to_the_viewer()
        # One run lays out twice: the first pass sizes the labels that the second makes room for.
        engine = figure.get_layout_engine()
        assert engine is not None
        engine.execute(figure)
    figure.set_layout_engine("none")
    return figure


def leave_glyphs_to_the_viewer() -> None:
    """Let a script that no face of this machine has pass: the SVG keeps it as text."""
    warnings.filterwarnings("ignore", message=r"Glyph .* missing from", category=UserWarning)


@contextmanager
def drawing_at(figure: Figure, dpi: float) -> Iterator[None]:
    """Hold a figure to the house look and to a number of dots per inch while it is drawn."""
    kept = figure.dpi
    with house_look(), warnings.catch_warnings():
        leave_glyphs_to_the_viewer()
        figure.dpi = dpi
        try:
            yield
        finally:
            figure.dpi = kept


def plain_axes(axes: Axes, *, ticks: int = 5) -> None:
    """Give axes the house's frame: two thin sides, faint ticks, plain numbers."""
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(FAINT_INK)
        axes.spines[side].set_linewidth(0.7)
    axes.tick_params(labelsize=TICK_SIZE, color=FAINT_INK, labelcolor=INK, width=0.7, length=3)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(nbins=ticks, steps=[1, 2, 2.5, 5, 10]))
        axis.set_major_formatter(FuncFormatter(lambda value, _: number_text(value)))


def label_axes(axes: Axes, x: str, y: str, *, x_width: int = 40, y_width: int = 30) -> None:
    """Name both axes, wrapped to the given numbers of characters."""
    axes.set_xlabel(wrap(x, x_width), fontsize=LABEL_SIZE, color=INK)
    axes.set_ylabel(wrap(y, y_width), fontsize=LABEL_SIZE, color=INK)


def with_unit(name: str, unit: str) -> str:
    """Join a name and its unit.

    Example:
        >>> with_unit("viscosity", "mPa·s"), with_unit("pH", "")
        ('viscosity (mPa·s)', 'pH')
    """
    return f"{name} ({unit})" if unit else name


def sentence_case(text: str) -> str:
    """Let a name begin a sentence; the rest of it stays as written (`pH` as well)."""
    first = text.split(" ", 1)[0]
    return text if first != first.lower() else text[:1].upper() + text[1:]


def number_text(value: float) -> str:
    """Write a number of an axis: six digits at most, a true minus, no negative zero.

    Example:
        >>> number_text(-0.25), number_text(-0.0), number_text(2500.0)
        ('−0.25', '0', '2500')
    """
    text = f"{value + 0.0:.6g}"
    return ("0" if text == "-0" else text).replace("-", "−")


def text_width(text: str) -> int:
    """Count columns: a full-width character takes two, a combining mark none."""
    return sum(_character_width(character) for character in text)


def wrap(text: str, width: int) -> str:
    r"""Break a text into lines of at most `width` columns, inside words only where it must.

    A no-break space holds its neighbours together.

    Example:
        >>> wrap("hydrophobic co-additive of the package", 20)
        'hydrophobic\nco-additive of the\npackage'
    """
    lines: list[str] = []
    line = ""
    for word in re.split(r"[ \t\r\n]+", text.strip(" \t\r\n")):
        trial = f"{line} {word}" if line else word
        if text_width(trial) <= width:
            line = trial
            continue
        if line:
            lines.append(line)
        *full, line = _cut(word, width)
        lines.extend(full)
    return "\n".join([*lines, line])


def _cut(word: str, width: int) -> list[str]:
    """Cut a word that is wider than a line."""
    pieces, piece = [], ""
    for character in word:
        if text_width(piece + character) > width:
            pieces.append(piece)
            piece = ""
        piece += character
    return [*pieces, piece]


def _character_width(character: str) -> int:
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def as_axes(value: object) -> Axes:
    """Tell the type checker that a subplot is plain axes."""
    return cast(Axes, value)
