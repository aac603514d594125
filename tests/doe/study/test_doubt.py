"""Doubts: settled by notes, and told with run and cell."""

from __future__ import annotations

from typing import Any

import pytest

from doe.study.choices import Choices, Note
from doe.study.doubt import Doubt, open_doubts, tell
from doe.study.finding import Finding

FINDING = Finding(level="caution", what="odd.", advice="Look.", evidence={"values": "1, 2"})
DOUBT = Doubt(
    finding=FINDING, responses=("viscosity",), runs=(7,), batches=(3,), days=(2,), readings=(40,),
    sources=("a.csv, B2", "a.csv, B3"),
)  # fmt: skip


def is_open(**note: Any) -> bool:
    """Tell whether the doubt is open behind a note."""
    given = {"subject": "run", "number": 7, "says": "stands", **note}
    return bool(open_doubts([DOUBT], Choices(notes=(Note(**given),))))


@pytest.mark.parametrize(
    "note",
    [
        {}, {"response": "Viscosity"}, {"subject": "batch", "number": 3},
        {"subject": "day", "number": 2}, {"subject": "reading", "number": 40}, {"says": "lost"},
        {"says": "excluded"},
    ],
)  # fmt: skip
def test_a_note_on_any_of_its_units_settles_it(note: dict[str, Any]) -> None:
    """Whether it is right or left out: somebody has decided."""
    assert not is_open(**note)


@pytest.mark.parametrize(
    "note", [{"number": 8}, {"response": "gloss"}, {"subject": "batch"}, {"says": "back"}]
)
def test_a_note_on_something_else_does_not(note: dict[str, Any]) -> None:
    """Nor one that is taken back."""
    assert is_open(**note)


def test_it_is_told_with_run_and_cells() -> None:
    """Before the evidence of the finding itself."""
    (told,) = tell([DOUBT])

    assert dict(told.evidence) == {"run": 7, "source": "a.csv, B2; a.csv, B3", "values": "1, 2"}


def test_those_alike_are_told_once_with_their_units() -> None:
    """Twenty films with one fault are one sentence."""
    alike = [
        Doubt(finding=FINDING, about="uptake", label=f"run {run}", runs=(run,)) for run in (3, 5)
    ]
    (told,) = tell(alike)

    assert told.what == "'uptake', run 3; run 5: odd."
    assert told.evidence["runs"] == "3, 5"
