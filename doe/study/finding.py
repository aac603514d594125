"""A finding: what the reader ought to know, kept in the result and never printed on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Level = Literal["note", "caution", "stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that the reader ought to know.

    Attributes:
        level: `note` to read, `caution` to think about, `stop` not to go on without a change.
        what: The finding, a sentence in the words of the trade.
        evidence: The numbers it rests on, by name.
        advice: What to do next, a sentence; empty if nothing follows.
        source: Citation of the rule behind it; empty for arithmetic.
    """

    level: Level
    what: str
    evidence: Mapping[str, float | int | str] = field(default_factory=dict)
    advice: str = ""
    source: str = ""
