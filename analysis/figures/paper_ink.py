"""Figures for a printed page: paths as PDF operators and text as text, sharp at any size."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.backend_bases import FigureCanvasBase, GraphicsContextBase, RendererBase
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.transforms import Affine2D, Bbox, Transform

from analysis.figures.looks import POINTS_PER_INCH, drawing_at

_CAPS = {"butt": 0, "round": 1, "projecting": 2}
_JOINS = {"miter": 0, "round": 1, "bevel": 2}
# Weights from here on are printed bold; matplotlib's own scale, 400 regular and 700 bold.
_BOLD_FROM = 600

# Points that a piece of a path takes, and how PDF writes it.
_CURVE = " ".join(["%.2f"] * 6) + " c"
_FORMS: Mapping[int, tuple[int, str]] = {
    int(Path.MOVETO): (1, "%.2f %.2f m"),
    int(Path.LINETO): (1, "%.2f %.2f l"),
    int(Path.CURVE3): (2, _CURVE),
    int(Path.CURVE4): (3, _CURVE),
    int(Path.CLOSEPOLY): (1, "h"),
}

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class InkPath:
    """Lines and filled shapes.

    Attributes:
        code: PDF operators in points, the origin at the lower left; leaves no state behind.
        fill_alpha: Opacity of the fill.
        line_alpha: Opacity of the line.
    """

    code: str
    fill_alpha: float = 1.0
    line_alpha: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InkText:
    """One line of text that starts at a point; angle in degrees, against the clock."""

    text: str
    x: float
    y: float
    angle: float
    size: float
    colour: Colour
    is_bold: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperPicture:
    """A figure as marks in the order of drawing; sizes in points."""

    width: float
    height: float
    marks: tuple[InkPath | InkText, ...]


def paper_pictures(figures: Iterable[Figure]) -> Iterator[PaperPicture]:
    """Turn figures into marks for a printed page.

    Returns:
        One by one; the same marks for the same figure, and no picture made of dots.
    """
    # One for all: matplotlib remembers by it how wide a text is.
    recorder = _Recorder()
    for figure in figures:
        width, height = (POINTS_PER_INCH * float(inches) for inches in figure.get_size_inches())
        recorder.begin(width, height)
        _draw(figure, recorder)
        yield PaperPicture(width=width, height=height, marks=tuple(_joined(recorder.marks)))


def _draw(figure: Figure, recorder: _Recorder) -> None:
    with drawing_at(figure, POINTS_PER_INCH):
        FigureCanvasBase(figure)
        figure.draw(recorder)


def _joined(marks: Sequence[InkPath | InkText]) -> Iterator[InkPath | InkText]:
    """Join paths of equal opacity that follow one another."""
    waiting: list[InkPath] = []
    for mark in marks:
        if waiting and (isinstance(mark, InkText) or _alphas(mark) != _alphas(waiting[0])):
            yield _one_of(waiting)
            waiting = []
        if isinstance(mark, InkText):
            yield mark
        else:
            waiting.append(mark)
    if waiting:
        yield _one_of(waiting)


def _alphas(mark: InkPath) -> tuple[float, float]:
    return mark.fill_alpha, mark.line_alpha


def _one_of(marks: Sequence[InkPath]) -> InkPath:
    fill, line = _alphas(marks[0])
    code = "\n".join(mark.code for mark in marks)
    return InkPath(code=code, fill_alpha=fill, line_alpha=line)


class _Recorder(RendererBase):
    """Takes what matplotlib draws; a point is the unit."""

    def __init__(self) -> None:
        super().__init__()
        self.begin(1.0, 1.0)

    def begin(self, width: float, height: float) -> None:
        """Begin another figure."""
        self.size = (width, height)
        self.marks: list[InkPath | InkText] = []

    def get_canvas_width_height(self) -> tuple[float, float]:
        return self.size

    def points_to_pixels(self, points: Any) -> Any:
        return points

    def flipy(self) -> bool:
        return False

    def draw_path(
        self,
        gc: GraphicsContextBase,
        path: Path,
        transform: Transform,
        rgbFace: Any = None,
    ) -> None:
        line_alpha = float(gc.get_rgb()[3])
        is_stroked = gc.get_linewidth() > 0 and line_alpha > 0
        fill_alpha = _fill_alpha(gc, rgbFace)
        # What leaves the page by far is cut; a filled shape must stay whole.
        clip = None if rgbFace is not None or gc.get_hatch() else (-9, -9, *_beyond(self.size))
        shape = _operators(path, transform, clip)
        if not shape:
            return
        code = [_clip(gc)]
        if gc.get_hatch():
            paint = [shape, "f"] if fill_alpha > 0 else []
            code += [*_ink(gc, rgbFace if fill_alpha > 0 else None, False), *paint]
            code += _hatching(gc, path, transform)
            paint = [shape, "S"] if is_stroked else []
        else:
            how = {(True, True): "B", (True, False): "f", (False, True): "S"}
            mark = how.get((fill_alpha > 0, is_stroked))
            paint = [shape, mark] if mark else []
        code += [*_ink(gc, rgbFace if fill_alpha > 0 else None, is_stroked), *paint]
        lines = "\n".join(line for line in code if line)
        self.marks.append(
            InkPath(code=f"q\n{lines}\nQ", fill_alpha=fill_alpha or 1.0, line_alpha=line_alpha)
        )

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: FontProperties,
        angle: float,
        ismath: Any = False,
        mtext: Any = None,
    ) -> None:
        weight = prop.get_weight()
        is_bold = weight >= _BOLD_FROM if isinstance(weight, int) else weight in ("bold", "heavy")
        red, green, blue = gc.get_rgb()[:3]
        self.marks.append(
            InkText(
                text=s, x=float(x), y=float(y), angle=float(angle),
                size=float(prop.get_size_in_points()),
                colour=(float(red), float(green), float(blue)), is_bold=is_bold,
            )
        )  # fmt: skip


def _beyond(size: tuple[float, float]) -> tuple[float, float]:
    return size[0] + 9, size[1] + 9


def _fill_alpha(gc: GraphicsContextBase, face: Any) -> float:
    if face is None:
        return 0.0
    if gc.get_forced_alpha():
        return float(gc.get_alpha())
    return float(face[3]) if len(face) == 4 else float(gc.get_alpha())


def _ink(gc: GraphicsContextBase, face: Any, is_stroked: bool) -> list[str]:
    """Set colours, width and dashes."""
    code = [] if face is None else [f"{_numbers(face[:3], 3)} rg"]
    if is_stroked:
        offset, dashes = gc.get_dashes()
        code += [
            f"{_numbers(gc.get_rgb()[:3], 3)} RG",
            f"{_number(gc.get_linewidth())} w {_CAPS[str(gc.get_capstyle())]} J "
            f"{_JOINS[str(gc.get_joinstyle())]} j",
        ]
        if dashes is not None:
            code.append(f"[{_numbers(dashes)}] {_number(offset or 0.0)} d")
    return code


def _clip(gc: GraphicsContextBase) -> str:
    """Hold what follows inside the rectangle and the path that are asked for."""
    code = []
    rectangle = gc.get_clip_rectangle()
    if rectangle is not None:
        code.append(f"{_numbers(rectangle.bounds)} re W n")
    path, transform = gc.get_clip_path()
    if path is not None and transform is not None:
        code.append(f"{_operators(path, transform)}\nW n")
    return "\n".join(code)


def _hatching(gc: GraphicsContextBase, path: Path, transform: Transform) -> list[str]:
    """Lay square tiles of an inch under a shape, as a window onto them."""
    tile = gc.get_hatch_path()
    if tile is None:
        return []
    extent = path.get_extents(transform)
    rectangle = gc.get_clip_rectangle()
    if rectangle is not None:
        extent = Bbox.intersection(extent, rectangle) or extent
    colour: Any = gc.get_hatch_color()
    code = [
        "q", f"{_operators(path, transform)}\nW n", f"{_numbers(colour[:3], 3)} RG",
        f"{_number(gc.get_hatch_linewidth())} w",
    ]  # fmt: skip
    scaled = Affine2D().scale(POINTS_PER_INCH)
    for x, y in _tile_corners(extent):
        code.append(f"{_operators(tile, scaled + Affine2D().translate(x, y))}\nS")
    return [*code, "Q"]


def _tile_corners(extent: Bbox) -> Iterator[tuple[float, float]]:
    x0, y0, x1, y1 = (float(end) / POINTS_PER_INCH for end in extent.extents)
    for i in range(math.floor(x0), math.ceil(x1)):
        for j in range(math.floor(y0), math.ceil(y1)):
            yield POINTS_PER_INCH * i, POINTS_PER_INCH * j


def _operators(
    path: Any,
    transform: Transform,
    clip: tuple[float, float, float, float] | None = None,
) -> str:
    """Write a path as PDF operators; what is not finite is left out."""
    whole = path.cleaned(transform, remove_nans=True, clip=clip, simplify=None, curves=True)
    points, codes = whole.vertices.tolist(), whole.codes.tolist()
    forms: list[str] = []
    numbers: list[float] = []
    i = 0
    while codes[i] != Path.STOP:
        n, form = _FORMS[codes[i]]
        taken = points[i : i + n]
        if codes[i] == Path.CURVE3:
            taken = _raised(points[i - 1], taken)
        if codes[i] != Path.CLOSEPOLY:
            numbers += [place for point in taken for place in point]
        forms.append(form)
        i += n
    return "\n".join(forms) % tuple(numbers)


def _raised(start: Sequence[float], points: Sequence[Sequence[float]]) -> list[list[float]]:
    """Write a quadratic curve as the cubic that is the same."""
    middle, end = points
    return [
        [a + 2 / 3 * (m - a) for a, m in zip(start, middle, strict=True)],
        [b + 2 / 3 * (m - b) for b, m in zip(end, middle, strict=True)],
        list(end),
    ]


def _numbers(values: Any, places: int = 2) -> str:
    return " ".join(_number(float(value), places) for value in values)


def _number(value: float, places: int = 2) -> str:
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
