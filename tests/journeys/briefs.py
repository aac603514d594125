"""Small invented briefs for journeys, put together from pieces of TOML."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

HEAD = 'format = 1\n[study]\ntitle = "invented"\nseed = 11\n'
RESPONSE = '[[response]]\nname = "y"\nper = "batch"\n'


def factors(n: int, low: float = -1.0, high: float = 1.0) -> str:
    """Write n factors z1, z2, ... of one range."""
    ranges = [(f"z{i}", low, high) for i in range(1, n + 1)]
    return "".join(f'[[factor]]\nname = "{z}"\nlow = {a}\nhigh = {b}\n' for z, a, b in ranges)


def package(limits: Sequence[tuple[float, float]]) -> str:
    """Write a package of additives x1, x2, ... with their limits."""
    entries = [
        f'[[package.additive]]\nname = "x{i}"\nlow = {low}\nhigh = {high}\n'
        for i, (low, high) in enumerate(limits, start=1)
    ]
    return "[package]\n" + "".join(entries)


def study_of(folder: Path, *parts: str) -> Path:
    """Make a study folder with a brief of these parts."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(HEAD + "".join(parts), encoding="utf-8")
    return folder


def every_file(folder: Path) -> Mapping[str, bytes]:
    """Take a snapshot of a folder: content by place."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def changed_brief(study: Path, old: str, new: str) -> None:
    """Change the brief as an editor would."""
    brief = study / "study.toml"
    text = brief.read_text(encoding="utf-8")
    assert old in text
    brief.write_text(text.replace(old, new), encoding="utf-8")
