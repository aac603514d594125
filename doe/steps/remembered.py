"""What one step found, remembered for the next step of the same process by all that it rests on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

T = TypeVar("T")


class LastFound(Generic[T]):
    """The last answer to one question, and what it was an answer to.

    A whole way in one process (the demo, a notebook) asks the same of the same inputs again and
    again. The key must hold everything that the answer depends on, hashes of inputs included.
    """

    def __init__(self) -> None:
        self._key: object = None
        self._answer: T | None = None

    def or_find(self, key: object, find: Callable[[], T]) -> T:
        """Give the answer to an equal key again, else find it and remember it."""
        if self._answer is None or self._key != key:
            self._answer, self._key = find(), key
        return self._answer
