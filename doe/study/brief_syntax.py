"""The syntax of a brief: TOML read on past its slips, so that all of them are told at once.

The standard parser stops at the first slip. Here each slip is named, mended in a copy of the text
if the mend is plain (`doe.study.brief_slips`), else its line is passed over, and the copy is read
again. Mends never change the number of lines, and no mended brief is ever used: its flaws are.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from doe.study.brief_flaws import Flaw
from doe.study.brief_lines import DEEPEST, Path, find_lines
from doe.study.brief_slips import Slip, find_header_slip, find_slip, masked_line, open_brackets

# A file with more slips than this is no brief; the rest is told when these are mended.
_MOST_SLIPS = 60
# Slips in one line that are worth a sentence each.
_MOST_PER_LINE = 4
_PLACE = re.compile(r"\s*\((?:at line (\d+), column \d+|at end of document)\)$")
_TOO_DEEP = Flaw(
    what="tables or lists stand inside one another without end",
    do="Compare the file with one that `millbase new` writes.",
)
_HEADER = re.compile(r"^\s*\[")


@dataclass(frozen=True, slots=True, kw_only=True)
class BriefText:
    """A TOML text as far as it can be read.

    Attributes:
        data: The values of the text, slips mended.
        lines: Line of each path.
        flaws: The slips.
        doubtful: Tables with lines that had to be passed over; the empty path stands for whole
            tables that are missing.
    """

    data: dict[str, Any]
    lines: Mapping[Path, int]
    flaws: tuple[Flaw, ...]
    doubtful: frozenset[Path]


def read_toml(text: str) -> BriefText:
    """Read a TOML text and name every slip that keeps it from being TOML."""
    reader = _Reader(lines=text.split("\n"))
    data = reader.read()
    lines = find_lines("\n".join(reader.lines))
    if max(map(len, lines), default=0) >= DEEPEST:
        reader.flaws.append(_TOO_DEEP)
        data = None
    doubtful = {path for number in reader.passed_over for path in _paths_at(number, lines, data)}
    if data is None or reader.lost_table:
        doubtful.add(())
    flaws = tuple(
        replace(flaw, path=_path_of(flaw.line, lines, reader.lines)) for flaw in reader.flaws
    )
    return BriefText(data=data or {}, lines=lines, flaws=flaws, doubtful=frozenset(doubtful))


def _path_of(number: int | None, lines: Mapping[Path, int], text: list[str]) -> Path:
    """Find the key of a line, or the table that the line is the heading of."""
    here = [path for path, line in lines.items() if line == number]
    if not here or number is None:
        return ()
    is_heading = _HEADER.match(text[number - 1]) is not None
    return max(here, key=len) if is_heading else min(here, key=len)


def _paths_at(number: int, lines: Mapping[Path, int], data: Any) -> list[Path]:
    """Find the keys of a line, or the table it belongs to if no key is left of it."""
    return [path for path, line in lines.items() if line == number] or [
        _table_at(number, lines, data)
    ]


def _table_at(number: int, lines: Mapping[Path, int], data: Any) -> Path:
    best: Path = ()
    for path, line in lines.items():
        if line <= number and line >= lines.get(best, 0) and _is_table(data, path):
            best = path
    return best


def _is_table(data: Any, path: Path) -> bool:
    try:
        for key in path:
            data = data[key]
    except (KeyError, IndexError, TypeError):
        return False
    return isinstance(data, dict)


class _Reader:
    """Reads, mends and reads again; the only value here that changes."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines
        self.written = tuple(lines)
        self.flaws: list[Flaw] = []
        self.passed_over: set[int] = set()
        self.lost_table = False

    def read(self) -> dict[str, Any] | None:
        """Give the values, None if the text cannot be read to its end."""
        self._mend_headers()
        for _ in range(_MOST_SLIPS):
            try:
                return tomllib.loads("\n".join(self.lines))
            except RecursionError:
                self.flaws.append(_TOO_DEEP)
                return None
            except ValueError as error:  # TOMLDecodeError is one; endless digits raise another
                if not self._mend(str(error)):
                    return None
        return None

    def _mend_headers(self) -> None:
        for i, line in enumerate(self.lines):
            slip = find_header_slip(line)
            if slip and not self._inside_long_text(i):
                self._take(i, slip)

    def _inside_long_text(self, i: int) -> bool:
        before = "\n".join(self.lines[:i])
        return before.count('"""') % 2 == 1 or before.count("'''") % 2 == 1

    def _mend(self, message: str) -> bool:
        """Mend the slip behind a message of the parser; False if nothing more can be read."""
        i = self._line_of(message)
        said = _PLACE.sub("", message)
        if "Cannot declare" in said or ("Cannot overwrite" in said and self._is_header(i)):
            self._pass_table(i)
            return True
        twice = "Cannot overwrite" in said
        if self._is_sound(i) and not twice:
            above = self._opening_above(i)
            if above is None:
                return False
            if self._close(above, i):
                return True
            i = above
        slip = None if twice else find_slip(self.lines[i], said)
        if slip and self._slips_at(i) < _MOST_PER_LINE:
            self._take(i, slip)
            return True
        return self._pass_line(i, said)

    def _is_sound(self, i: int) -> bool:
        """Tell whether a line is good by itself, so that what is wrong stands above it."""
        try:
            tomllib.loads(self.lines[i])
        except (ValueError, RecursionError):
            return False
        return bool(self.lines[i].strip())

    def _opening_above(self, i: int) -> int | None:
        """Find the line above in which something was opened that the parser still reads."""
        for j in range(i - 1, -1, -1):
            line = self.lines[j]
            if open_brackets(line) or any(line.count(mark) % 2 for mark in ('"""', "'''")):
                return j
        self.flaws.append(
            Flaw(
                line=i + 1,
                what=f"something above is not closed before: {_shown(self.written[i])}",
                do="Look for a bracket or a quote without its partner.",
            )
        )
        return None

    def _line_of(self, message: str) -> int:
        found = _PLACE.search(message)
        if found and found.group(1):
            return min(int(found.group(1)), len(self.lines)) - 1
        filled = [i for i, line in enumerate(self.lines) if line.strip()]
        return filled[-1] if filled else 0

    def _close(self, start: int, end: int) -> bool:
        """Close a list that runs over several lines before the line at which it must end."""
        last = max((j for j in range(start, end) if masked_line(self.lines[j]).strip()), default=0)
        if last == start or self._slips_at(start) or not open_brackets(self.lines[start]):
            return False
        missing = open_brackets("\n".join(self.lines[start:end]))
        line = self.lines[last]
        code = line[: len(masked_line(line).rstrip())]
        self.flaws.append(
            Flaw(
                line=start + 1,
                what=f"a bracket that is not closed: {_shown(self.written[start])}",
                do=f"Write {missing} below, after: {_shown(code)}",
            )
        )
        self.lines[last] = code + missing
        return True

    def _take(self, i: int, slip: Slip) -> None:
        what = f"{slip.what} in: {_shown(self.written[i])}"
        self.flaws.append(Flaw(line=i + 1, what=what, do=slip.do))
        self.lines[i] = slip.mended
        if not slip.is_sure:
            self.passed_over.add(i + 1)

    def _is_header(self, i: int) -> bool:
        return _HEADER.match(self.lines[i]) is not None

    def _slips_at(self, i: int) -> int:
        return sum(flaw.line == i + 1 for flaw in self.flaws)

    def _pass_line(self, i: int, said: str) -> bool:
        if "Unterminated string" in said:
            start = self._long_text_start()
            i = start if start >= 0 else i
        if i < 0 or not self.lines[i].strip():
            return False
        if not self._slips_at(i):
            self.flaws.append(_unknown_slip(i, self.written[i], said))
        if _HEADER.match(self.lines[i]):
            self._clear_table(i)
        else:
            self.passed_over.add(i + 1)
            self.lines[i] = ""
        return True

    def _long_text_start(self) -> int:
        marks = ('"""', "'''")
        return max(
            (i for i, line in enumerate(self.lines) if any(m in line for m in marks)), default=-1
        )

    def _pass_table(self, i: int) -> None:
        self.flaws.append(
            Flaw(
                line=i + 1,
                what=f"this table stands twice: {_shown(self.written[i])}",
                do="Put its keys together under one heading.",
            )
        )
        self._clear_table(i)

    def _clear_table(self, i: int) -> None:
        self.lost_table = True
        self.lines[i] = ""
        for j in range(i + 1, len(self.lines)):
            if _HEADER.match(self.lines[j]):
                return
            self.lines[j] = ""


_MEANING = {
    "Cannot overwrite": ("this key stands twice in its table", "Keep one of the two."),
    "Unescaped": (
        "a backslash inside double quotes starts a special sign",
        "Put the text in single quotes, or double each backslash.",
    ),
    "Unterminated string": ("a text is not closed", "Close it with the quotes it began with."),
    "Unclosed array": ("a list is not closed", "Close it with ]."),
    "Unclosed inline table": ("a { is not closed", "Close it with } in the same line."),
}


def _unknown_slip(i: int, line: str, said: str) -> Flaw:
    what, do = next(
        (meaning for start, meaning in _MEANING.items() if start in said),
        (
            "this line cannot be read",
            'Write it as key = value: numbers with a decimal point, words in "quotes", lists in '
            "[brackets], remarks after #.",
        ),
    )
    return Flaw(line=i + 1, what=f"{what}: {_shown(line)}", do=do)


def _shown(line: str) -> str:
    """Show a line as written, cut to what fits on a screen."""
    visible = "".join(sign if sign.isprintable() else f"<U+{ord(sign):04X}>" for sign in line)
    stripped = visible.replace("<U+0009>", " ").strip()
    return stripped if len(stripped) <= 70 else f"{stripped[:67]}…"
