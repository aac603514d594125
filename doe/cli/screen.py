"""What the terminal shows: tables, findings, progress; nothing is computed here."""

from __future__ import annotations

import re
import sys
import textwrap
import time
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from contextvars import ContextVar
from pathlib import Path

from doe.study.finding import Finding

WIDTH = 100  # columns; the common width of a terminal that shows a table and a margin
_SIGNS = {"note": "·", "caution": "!", "stop": "✗"}

# How the study of the command in hand is typed.
study_typed: ContextVar[str] = ContextVar("study_typed", default="STUDY")


def text_width(text: str) -> int:
    """Count terminal columns: wide East Asian characters take two, combining marks none.

    Example:
        >>> text_width("pH"), text_width("粘度")
        (2, 4)
    """
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1
        for char in text
    )


def shortened(text: str, width: int) -> str:
    """Cut a text to so many terminal columns, with an ellipsis where something is left out.

    Example:
        >>> shortened("grind time", 6), shortened("研磨时间", 6)
        ('grind…', '研磨…')
    """
    if text_width(text) <= width:
        return text
    while text and text_width(text) >= width:
        text = text[:-1]
    return f"{text}…"


def text_table(heads: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "  ") -> str:
    """Lay out a table; columns of numbers are set to the right.

    Example:
        >>> print(text_table(["term", "estimate"], [["dose", "-1.20"]]))
          term  estimate
          dose     -1.20
    """
    body = [list(row) for row in rows]
    lines = [list(heads), *body]
    widths = [max(text_width(line[j]) for line in lines) for j in range(len(heads))]
    right = [bool(body) and all(_is_number(line[j]) for line in body) for j in range(len(heads))]
    return "\n".join(
        (
            indent + "  ".join(_cell(*trio) for trio in zip(line, widths, right, strict=True))
        ).rstrip()
        for line in lines
    )


def findings_text(findings: Iterable[Finding]) -> str:
    """Set findings as a list, the gravest first."""
    order = {"stop": 0, "caution": 1, "note": 2}
    return "\n".join(
        _hanging(_SIGNS[f.level], with_study(f"{f.what} {f.advice}".strip()))
        for f in sorted(findings, key=lambda finding: order[finding.level])
    )


def paragraph(text: str) -> str:
    """Fold a sentence or two to the width of the screen."""
    return textwrap.fill(text, WIDTH)


def with_study(text: str) -> str:
    """Write the study of the command in hand where advice has STUDY, ready to be typed."""
    return re.sub(r"\bSTUDY\b", lambda _: study_typed.get(), text)


def typed(path: Path) -> str:
    """Write a path as it is typed into a terminal: in quotes where it holds blanks.

    Example:
        >>> typed(Path("yellow ochre"))
        '"yellow ochre"'
    """
    text = str(path)
    return f'"{text}"' if re.search(r"[^\w./\\:-]", text) else text


def tell(text: str) -> None:
    """Say on standard error what is going on, so that standard output stays the answer."""
    print(text, file=sys.stderr, flush=True)


def progress_bar(label: str) -> Callable[[float], None]:
    """Make a bar on standard error that appears after a second and never goes back.

    On a stream that is no terminal it stays silent, so that logs hold no bars.
    """
    begun = time.monotonic()
    shown = 0.0

    def show(part: float) -> None:
        nonlocal shown
        shown = min(max(shown, part), 1.0)
        if time.monotonic() - begun < 1.0 or not sys.stderr.isatty():
            return
        full = round(shown * _BAR)
        end = "\n" if shown >= 1.0 else ""
        bar = "█" * full + "░" * (_BAR - full)
        print(f"\r  {label} {bar} {shown:4.0%}", end=end, file=sys.stderr, flush=True)

    return show


_BAR = 30


def _hanging(sign: str, text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=f"  {sign} ", subsequent_indent="    ")


def _cell(text: str, width: int, right: bool) -> str:
    gap = " " * (width - text_width(text))
    return gap + text if right else text + gap


def _is_number(text: str) -> bool:
    return text == "" or text[0].isdigit() or (text[0] in "-−+<–" and len(text) < 12)
