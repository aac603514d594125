"""Where a study stands: one line a thing that is done, missing, waiting or doubtful."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

State = Literal["done", "missing", "waiting", "doubtful"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusLine:
    """One line on where the study stands."""

    state: State
    text: str
