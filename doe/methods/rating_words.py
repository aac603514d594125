"""The words of ratings as benches write them: case, blanks and common spellings aside."""

from __future__ import annotations

from collections.abc import Mapping

from doe.study.names import fold


def rating_of(
    text: str, ratings: Mapping[str, float], spellings: Mapping[str, float] | None = None
) -> float | None:
    """Find the number that a word of a rating stands for; None where it is no such word.

    Args:
        text: As the bench wrote it.
        ratings: The words of the rating with their numbers.
        spellings: Other words that mean the same.

    Example:
        >>> rating_of("ri 2", {"Ri1": 1.0, "Ri2": 2.0})
        2.0
        >>> rating_of("Slight", {"2": 2.0}, {"slightly": 2.0, "slight": 2.0})
        2.0
    """
    wanted = _bare(text)
    every = {**(spellings or {}), **ratings}
    return next((float(number) for word, number in every.items() if _bare(word) == wanted), None)


def _bare(word: str) -> str:
    return "".join(fold(word).replace("-", " ").split())
