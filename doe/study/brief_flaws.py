"""Flaws: faults of a brief while it is read, with the path of the key they stand at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from doe.errors import Fault
from doe.study.brief_lines import Path, line_of

# Stands for "all names are known": what is called an unknown name rests on it.
NAMES: Path = ("names",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Flaw:
    """One fault of a brief.

    Attributes:
        path: The key it stands at; empty for the whole file.
        what: What is wrong, with names and values.
        allowed: What would be accepted, as a phrase.
        do: The mend, as a sentence.
        rests_on: The keys it was concluded from, if not from `path` alone. A flaw that rests on
            a key with a flaw of its own is only an echo of that one.
        line: Line number where the path is not known, as in text that is not TOML.
    """

    path: Path = ()
    what: str
    allowed: str = ""
    do: str = ""
    rests_on: tuple[Path, ...] = ()
    line: int | None = None


def without_echoes(flaws: Iterable[Flaw], doubtful: Iterable[Path]) -> list[Flaw]:
    """Leave out the flaws that only follow from keys which had to be guessed or passed over."""
    doubts = tuple(doubtful)
    return [flaw for flaw in flaws if not _is_echo(flaw, doubts)]


def to_faults(
    flaws: Iterable[Flaw], *, where: str, data: Mapping[str, Any], lines: Mapping[Path, int]
) -> list[Fault]:
    """Give flaws their places in words and bring them into the order of the file.

    Args:
        flaws: What was found, in any order.
        where: Name of the file.
        data: The file as read, for the names of its things.
        lines: Line of each path.
    """
    placed = [(_line(flaw, lines), flaw) for flaw in flaws]
    placed.sort(key=lambda one: one[0] or 0)
    faults = [
        Fault(
            what=flaw.what,
            where=", ".join([where, *([f"line {line}"] if line else []), *_words(flaw.path, data)]),
            allowed=flaw.allowed,
            do=flaw.do,
        )
        for line, flaw in placed
    ]
    return list(dict.fromkeys(faults))


def _line(flaw: Flaw, lines: Mapping[Path, int]) -> int | None:
    return flaw.line if flaw.line is not None else line_of(lines, flaw.path)


def _is_echo(flaw: Flaw, doubts: tuple[Path, ...]) -> bool:
    return any(
        doubt == rest if not (doubt and rest) else _one_within_other(doubt, rest)
        for rest in flaw.rests_on or (flaw.path,)
        for doubt in doubts
    )


def _one_within_other(left: Path, right: Path) -> bool:
    return all(one == other for one, other in zip(left, right, strict=False))


def _words(path: Path, data: Any) -> list[str]:
    """Say a path as people would: `factor 2 "pH"`, `high`."""
    words: list[str] = []
    for key in path:
        data = _within(data, key)
        if isinstance(key, str):
            words.append(key)
            continue
        name = data.get("name", data.get("role")) if isinstance(data, Mapping) else None
        quoted = f' "{name}"' if isinstance(name, str) and name.strip() else ""
        words[-1] = f"{words[-1]} {key + 1}{quoted}"
    return words


def _within(data: Any, key: str | int) -> Any:
    try:
        return data[key]
    except (KeyError, IndexError, TypeError):
        return None
