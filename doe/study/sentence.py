"""Words put together as a sentence has them."""

from __future__ import annotations

from collections.abc import Sequence


def listed(words: Sequence[str]) -> str:
    """Join words as a sentence does.

    Example:
        >>> listed(["dose", "pH", "grind time"])
        'dose, pH and grind time'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def in_quotes(names: Sequence[str]) -> str:
    """Join names of the study, each between quotes.

    Example:
        >>> in_quotes(["dose", "pH"])
        "'dose' and 'pH'"
    """
    return listed([f"'{name}'" for name in names])


def begun(text: str) -> str:
    """Give a text as it begins a sentence.

    Example:
        >>> begun("run 7")
        'Run 7'
    """
    return text[:1].upper() + text[1:]
