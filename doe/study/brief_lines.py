"""Lines: where in the text of a TOML file each key stands.

The standard parser gives values without places. This locator walks the same text once more and
notes the line of every table, key and list item. It is meant for text that the parser accepted;
on other text it gives what it finds and never fails.

Source:
    TOML v1.0.0, sections Keys, Table, Inline Table, Array of Tables.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

Path = tuple[str | int, ...]

# No brief nests deeper than a handful; deeper text is not walked.
DEEPEST = 30

_BLANK = re.compile(r"(?:[ \t]|\r?\n|#[^\n]*)*")
_REST = re.compile(r"[^\n]*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^\s,\]}#][^,\]}#\n]*")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)
_ESCAPE = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))", re.DOTALL)
_ESCAPED = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}


def find_lines(text: str) -> Mapping[Path, int]:
    r"""Give the line of every table, key and list item of a TOML text.

    Args:
        text: The whole file.

    Returns:
        Line numbers from 1 by path, such as `("factor", 1, "low")` for the second `[[factor]]`.

    Example:
        >>> find_lines('[[factor]]\nname = "pH"\nlow = 8.0')[("factor", 0, "low")]
        3
    """
    walk = _Walk(text=text)
    walk.run()
    return walk.lines


def line_of(lines: Mapping[Path, int], path: Path) -> int | None:
    """Give the line of a path, or of the nearest thing around it that has one."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


@dataclass(slots=True)
class _Walk:
    """One walk through a text; the only value here that changes, and it never leaves."""

    text: str
    at: int = 0
    lines: dict[Path, int] = field(default_factory=dict)
    counts: dict[Path, int] = field(default_factory=dict)
    _line: int = 1
    _line_at: int = 0

    def run(self) -> None:
        table: Path = ()
        while self._skip(_BLANK) < len(self.text):
            started = self.at
            if self._peek("["):
                table = self._header()
            else:
                self._pair(table)
            if self.at == started:  # not TOML: leave the line alone
                self._skip(_REST)

    def _header(self) -> Path:
        several = self._peek("[[")
        line = self._line_here()
        self.at += 2 if several else 1
        keys = self._key()
        self._skip(_REST)
        if not keys:
            return ()
        path = self._resolve(keys[:-1]) + keys[-1:]
        if several:
            number = self.counts.get(path, 0)
            self.counts[path] = number + 1
            path = (*path, number)
        elif path in self.counts:
            path = (*path, self.counts[path] - 1)
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)
        return path

    def _resolve(self, keys: Path) -> Path:
        """Let keys of a header go on from the latest item of each list of tables on the way."""
        path: Path = ()
        for key in keys:
            path = (*path, key)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return path

    def _pair(self, table: Path) -> None:
        line = self._line_here()
        keys = self._key()
        self._skip(_SPACE)
        if not keys or not self._peek("="):
            self._skip(_REST)
            return
        self.at += 1
        for length in range(1, len(keys) + 1):
            self.lines.setdefault(table + keys[:length], line)
        self._skip(_SPACE)
        self._value(table + keys)

    def _value(self, path: Path) -> None:
        self.lines.setdefault(path, self._line_here())
        if len(path) >= DEEPEST:
            self._skip(_REST)
        elif self._peek("["):
            self._items(path)
        elif self._peek("{"):
            self._inline(path)
        elif self._string() is None:
            self._skip(_SCALAR)

    def _items(self, path: Path) -> None:
        for number in self._members("]"):
            self._value((*path, number))
            self.counts[path] = number + 1

    def _inline(self, path: Path) -> None:
        for _ in self._members("}"):
            self._pair(path)

    def _members(self, end: str) -> Iterator[int]:
        """Stop at each member of a list or an inline table, and step over its end."""
        self.at += 1
        number = 0
        while self._skip(_BLANK) < len(self.text) and not self._peek(end):
            started = self.at
            yield number
            number += 1
            self._skip(_BLANK)
            if self._peek(","):
                self.at += 1
            elif self.at == started:
                return
        self.at += len(end)

    def _key(self) -> Path:
        keys: list[str] = []
        while True:
            self._skip(_SPACE)
            quoted = self._string()
            bare = None if quoted is not None else _BARE.match(self.text, self.at)
            if bare:
                self.at = bare.end()
            elif quoted is None:
                return tuple(keys)
            keys.append(bare.group() if bare else quoted or "")
            self._skip(_SPACE)
            if not self._peek("."):
                return tuple(keys)
            self.at += 1

    def _string(self) -> str | None:
        for kind in _STRINGS:
            found = kind.match(self.text, self.at)
            if found:
                self.at = found.end()
                body = found.group()[1:-1]
                return _ESCAPE.sub(_unescape, body) if found.group()[0] == '"' else body
        return None

    def _peek(self, sign: str) -> bool:
        return self.text.startswith(sign, self.at)

    def _skip(self, what: re.Pattern[str]) -> int:
        found = what.match(self.text, self.at)
        if found:
            self.at = found.end()
        return self.at

    def _line_here(self) -> int:
        self._line += self.text.count("\n", self._line_at, self.at)
        self._line_at = self.at
        return self._line


def _unescape(found: re.Match[str]) -> str:
    digits = found.group(1) or found.group(2)
    if digits:
        code = int(digits, 16)
        return chr(code) if code < 0x110000 else ""
    letter = found.group(3)
    return _ESCAPED.get(letter, letter)
