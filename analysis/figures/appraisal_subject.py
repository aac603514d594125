"""A plan as the figures of an appraisal take it, and how two of them are told apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.figures.looks import OXIDE, ROOM
from doe.appraisal.appraise import Appraisal
from doe.appraisal.sizes import SizePoint

# Colour and dash of the first and the second plan: told apart in grey as well.
LOOKS = ((ROOM, "-"), (OXIDE, (0, (4, 2))))
MARKS = ("o", "D")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pictured:
    """One plan to draw.

    Attributes:
        name: What it is called.
        appraisal: What it can tell.
        sizes: Plans of other sizes.
    """

    name: str
    appraisal: Appraisal
    sizes: Sequence[SizePoint] = ()


def model_words(plans: Sequence[Pictured]) -> str:
    """Name the model that all plans are held against."""
    return f"{plans[0].appraisal.model.name} model"


def whose(which: str) -> str:
    """Say at the end of a title whose figure it is, where there are two."""
    return f" ({which})" if which else ""
