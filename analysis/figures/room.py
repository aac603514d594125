"""Room strips: how far each setting may move before a limit is reached."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from analysis.figures.drawn import Drawn
from analysis.figures.looks import (
    FAINT_INK,
    INK,
    LABEL_SIZE,
    OXIDE,
    PAPER,
    ROOM,
    TICK_SIZE,
    as_axes,
    in_house_look,
    new_figure,
    number_text,
    settle,
    text_width,
    wrap,
)
from analysis.surface.lines import RANGE_END
from analysis.surface.room import ChoiceRoom, Room
from doe.model.coding import Axis, ChoiceAxis, Coding, ShareAxis

WIDTH = 7.6
# Inches: height of a strip, of a line of words, of the label above a strip, of the gap to words.
STRIP, LINE, ABOVE, GAP = 0.15, 0.125, 0.24, 0.06
NAME_CHARACTERS = 22
REASON_CHARACTERS = 44
STRIP_CHARACTERS = 88
# A level counts as reached to this part of the range: rounding only.
ON_MARK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class _Range:
    """One numeric strip: places as parts of the range, and every word on it.

    A factor that the bench can only set to some levels has marks in place of a range.
    """

    name: str
    ends: tuple[str, str]
    at: float
    room: tuple[float, float]
    at_text: str
    reasons: tuple[str, str]
    marks: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Levels:
    """One strip of a named choice: each level with what it breaks, both wrapped."""

    name: str
    at: int
    cells: tuple[tuple[str, str, bool], ...]


@in_house_look
def draw_room(rooms: Sequence[Room | ChoiceRoom], coding: Coding) -> Drawn:
    """Draw one strip a setting, in the order given.

    Args:
        rooms: How far each setting may move.
        coding: The axes, for the whole range and the steps of each setting.
    """
    strips = [_strip(room, coding.axes[coding.index(room.setting)]) for room in rooms]
    title = "How far each setting may move before a limit is reached"
    # Inches from the top of the picture down to the lower edge of each strip.
    tops, depth = [], 0.0
    for strip in strips:
        tops.append(depth + _above(strip) + STRIP)
        depth += _row_height(strip)
    figure = new_figure(WIDTH, 0.45 + depth, title)
    axes = as_axes(figure.subplots())
    axes.set_axis_off()
    axes.set_xlim(-0.42, 1.1)
    axes.set_ylim(-depth, 0.0)
    for top, strip in zip(tops, strips, strict=True):
        if isinstance(strip, _Range):
            _draw_range(axes, -top, strip)
        else:
            _draw_levels(axes, -top, strip)
        axes.text(
            -0.41, STRIP / 2 - top, strip.name, fontsize=LABEL_SIZE, color=INK, va="center",
            linespacing=1.15,
        )  # fmt: skip
    return Drawn(
        name="room",
        kind="room",
        subject="",
        title=title,
        caption=(
            "Each strip is the whole range of a setting; the dark part is how far it may move, the "
            "others as recommended, before it breaks a limit that it keeps now. Limits are kept "
            "on average only, by predicted values: at an end that a limit sets half the batches "
            "fail. The upright mark is the recommended setting. A share moves at the cost of "
            "the others in their own proportions. Points are the levels that the bench can set, "
            "open ones those that break a limit. At another level of a choice a factor keeps its "
            "real value, and its range may end before that."
        ),
        figure=settle(figure),
    )


def _strip(room: Room | ChoiceRoom, axis: Axis) -> _Range | _Levels:
    """Work out what a strip says."""
    if isinstance(room, ChoiceRoom):
        assert isinstance(axis, ChoiceAxis)
        return _levels(room, axis)
    assert not isinstance(axis, ChoiceAxis)
    low, high = min(room.ends[0], room.at), max(room.ends[1], room.at)
    span = high - low or 1.0
    at, left, right = ((v - low) / span for v in (room.at, room.lowest, room.highest))
    unit = "share" if isinstance(axis, ShareAxis) else room.unit
    texts = [
        number_text(v) if room.levels else setting_number(v, span, axis.step)
        for v in (room.at, room.lowest, room.highest)
    ]
    # A setting that reaches the end of its own range needs no more words than that.
    reasons = [
        RANGE_END if abs(reached - end) <= 1e-9 * span else stop.words
        for reached, end, stop in (
            (room.lowest, room.ends[0], room.stopped_low),
            (room.highest, room.ends[1], room.stopped_high),
        )
    ]
    return _Range(
        name=_name(room.setting, unit),
        ends=(number_text(low), number_text(high)),
        at=at,
        room=(max(left, 0.0), min(right, 1.0)),
        at_text=texts[0],
        reasons=(
            wrap(f"◂\N{NO-BREAK SPACE}{texts[1]}: {reasons[0]}", REASON_CHARACTERS),
            wrap(f"{texts[2]}: {reasons[1]}\N{NO-BREAK SPACE}▸", REASON_CHARACTERS),
        ),
        marks=tuple((level - low) / span for level in room.levels),
    )


def _levels(room: ChoiceRoom, axis: ChoiceAxis) -> _Levels:
    width = max(STRIP_CHARACTERS // len(axis.levels) - 2, 5)
    cells = []
    for level in axis.levels:
        stops = room.broken.get(level, ())
        words = "; ".join(stop.words for stop in stops) or "every limit holds"
        if level in room.without:
            words = f"without {' and '.join(room.without[level])}: {words}"
        cells.append((wrap(level, width), wrap(words, width), not stops))
    return _Levels(name=_name(room.setting, ""), at=axis.levels.index(room.at), cells=tuple(cells))


def setting_number(value: float, span: float, step: float | None) -> str:
    """Print a setting: to its step, else to a hundredth of its range.

    Example:
        >>> setting_number(1.2345678, 1.6, None), setting_number(8.6999999, 1.5, 0.05)
        ('1.23', '8.70')
    """
    finest = step if step is not None else span / 100
    places = max(-math.floor(math.log10(finest) + 1e-9), 0)
    return number_text(0.0) if value == 0 else f"{value:.{places}f}".replace("-", "−")


def _name(setting: str, unit: str) -> str:
    lines = [setting, f"({unit})"] if unit else [setting]
    return "\n".join(wrap(line, NAME_CHARACTERS) for line in lines)


def _above(strip: _Range | _Levels) -> float:
    """Give the inches above a strip: more where the names of levels take several lines."""
    if isinstance(strip, _Range):
        return ABOVE
    return ABOVE + LINE * max(level.count("\n") for level, _, _ in strip.cells)


def _row_height(strip: _Range | _Levels) -> float:
    """Give a strip the inches that its words need."""
    if isinstance(strip, _Range):
        lines = max(words.count("\n") for words in strip.reasons) + 1
    else:
        lines = max(words.count("\n") for _, words, _ in strip.cells) + 1
    beside = LINE * (strip.name.count("\n") + 1) / 2 - STRIP / 2
    return max(_above(strip), beside) + STRIP + max(LINE * lines, beside) + 0.16


def _draw_range(axes: Axes, y: float, strip: _Range) -> None:
    if strip.marks:
        _draw_marks(axes, y, strip)
    else:
        _box(axes, 0.0, 1.0, y, is_open=False)
        _box(axes, *strip.room, y, is_open=True)
    _stand(axes, strip.at, y)
    aside = 0.022 if strip.marks else 0.012
    for x, words, side in ((-aside, strip.ends[0], "right"), (1 + aside, strip.ends[1], "left")):
        axes.text(
            x, y + STRIP / 2, words, fontsize=TICK_SIZE, color=FAINT_INK, va="center", ha=side
        )
    axes.text(
        _kept_inside(strip.at, strip.at_text), y + STRIP + GAP, strip.at_text, fontsize=LABEL_SIZE,
        color=OXIDE, ha="center", va="bottom",
    )  # fmt: skip
    for x, words, side in zip((0.0, 1.0), strip.reasons, ("left", "right"), strict=True):
        axes.text(
            x, y - GAP, words, fontsize=TICK_SIZE, color=INK, va="top", ha=side, linespacing=1.1
        )


def _draw_marks(axes: Axes, y: float, strip: _Range) -> None:
    """Draw the levels of a numeric factor: full where one may go, open where not."""
    middle, (low, high) = y + STRIP / 2, strip.room
    axes.plot([0.0, 1.0], [middle, middle], color=FAINT_INK, linewidth=0.8, zorder=1)
    for mark in strip.marks:
        is_open = low - ON_MARK <= mark <= high + ON_MARK
        axes.plot(
            [mark], [middle], marker="o", markersize=8, zorder=2, clip_on=False,
            markerfacecolor=ROOM if is_open else PAPER,
            markeredgecolor=INK if is_open else FAINT_INK,
        )  # fmt: skip


def _draw_levels(axes: Axes, y: float, strip: _Levels) -> None:
    width = 1.0 / len(strip.cells)
    for i, (level, words, holds) in enumerate(strip.cells):
        middle = (i + 0.5) * width
        _box(axes, i * width, (i + 1) * width, y, is_open=holds)
        if i == strip.at:
            _stand(axes, middle, y)
        axes.text(
            middle, y + STRIP + GAP, level, fontsize=LABEL_SIZE, ha="center", va="bottom",
            color=OXIDE if i == strip.at else INK, linespacing=1.1,
        )  # fmt: skip
        axes.text(
            middle, y - GAP, words, fontsize=TICK_SIZE, color=INK, ha="center", va="top",
            linespacing=1.1,
        )  # fmt: skip


def _box(axes: Axes, left: float, right: float, y: float, *, is_open: bool) -> None:
    """Draw a part of a strip: dark where one may go, hatched where not."""
    axes.add_patch(
        Rectangle(
            (left, y), max(right - left, 0.0), STRIP, linewidth=0.8,
            edgecolor=INK if is_open else FAINT_INK, facecolor=ROOM if is_open else PAPER,
            hatch=None if is_open else "////",
        )
    )  # fmt: skip


def _stand(axes: Axes, x: float, y: float) -> None:
    """Mark where the recommended recipe stands."""
    ends = [y - 0.04, y + STRIP + 0.04]
    axes.plot([x, x], ends, color=PAPER, linewidth=4.5, zorder=4)
    axes.plot([x, x], ends, color=OXIDE, linewidth=2.4, zorder=5)


def _kept_inside(at: float, text: str) -> float:
    """Move a label off the ends so that it stays over its strip."""
    half = 0.0075 * text_width(text)
    return min(max(at, half), 1 - half)
