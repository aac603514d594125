"""TOML as we write it: tables of strings, numbers and lists, always quoted the same way."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t"}

Scalar = str | float | int


def toml_table(
    name: Sequence[str], pairs: Mapping[str, Scalar | Sequence[str]], *, repeated: bool = False
) -> list[str]:
    """Write one table, one line a key.

    Args:
        name: Parts of the table's name.
        pairs: What it holds.
        repeated: Write it as one of several (`[[…]]`).

    Example:
        >>> toml_table(("response", "rub-out"), {"scale": "log"})
        ['[response.rub-out]', 'scale = "log"']
    """
    title = ".".join(toml_key(part) for part in name)
    head = f"[[{title}]]" if repeated else f"[{title}]"
    return [head, *(f"{toml_key(key)} = {toml_value(value)}" for key, value in pairs.items())]


def toml_key(key: str) -> str:
    """Write a key, in quotes where its letters need them."""
    return key if _BARE.fullmatch(key) else toml_value(key)


def toml_value(value: Scalar | Sequence[str]) -> str:
    """Write a value; numbers in the fewest digits that read back the same."""
    if isinstance(value, str):
        return '"' + "".join(_escaped(letter) for letter in value) + '"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(int(value))
    if isinstance(value, float):
        return repr(float(value))
    return "[" + ", ".join(toml_value(one) for one in value) + "]"


def _escaped(letter: str) -> str:
    if letter in _ESCAPES:
        return _ESCAPES[letter]
    return f"\\u{ord(letter):04x}" if ord(letter) < 32 or ord(letter) == 127 else letter
