"""Small studies that a bench really hands in and no textbook shows: invented, one batch a row."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from doe.cli.app import run
from doe.steps.adopt import adopt_table

Cells = Mapping[str, float | str]
# Acid number and bead size set a mill batch, grind times are drawn from it.
BATCHES = (
    (0, 1), (10, 1), (0, 3), (10, 3), (0, 2), (10, 2), (5, 1), (5, 3), (5, 2), (5, 2), (5, 2),
)  # fmt: skip
TIMES = (15, 30, 45)
AT = ("--at", "acid=3", "--at", "beads=1.5", "--at", "time=40")
# Scatter of batches and of samples, drawn once from normal curves and kept.
OF_BATCH = (1.3, -0.9, 0.2, 1.8, -1.5, 0.4, -0.3, 0.9, -2.1, 0.6, -0.7)
OF_SAMPLE = (
    0.3, -0.8, 0.5, 1.1, -0.2, -0.6, 0.9, 0.1, -1.2, 0.4, 0.7, -0.3, -0.9, 0.2, 1.0, -0.4, 0.6,
    -1.1, 0.8, -0.1, 0.0, -0.7, 1.2, -0.5, 0.3, 0.5, -0.2, -1.0, 0.9, 0.1, 0.4, -0.6, -0.3,
)  # fmt: skip
_BRIEF = """\
format = 1
[study]
title = "invented"
seed = 1
[[factor]]
name = "acid"
low = 0
high = 10
[[factor]]
name = "beads"
unit = "mm"
low = 1
high = 3
[[factor]]
name = "time"
unit = "min"
low = 15
high = 45
set_per = "sample"
"""


def response(name: str = "gloss", more: str = 'aim = "low"\nbest = 0\nworst = 100\n') -> str:
    """Write one response of the brief."""
    return f'[[response]]\nname = "{name}"\n{more}'


def design(of: Callable[[float, int], Any] = lambda y, _: y) -> list[dict[str, Any]]:
    """Give the 33 samples of eleven batches: settings and `gloss`, as `of` makes it of level, i."""
    rows: list[dict[str, Any]] = []
    for number, (acid, beads) in enumerate(BATCHES, start=1):
        for time in TIMES:
            i = len(rows)
            level = 50 + 0.6 * (acid - 5) - 2 * (beads - 2) + 4 * (time - 30) / 15
            y = round(level + OF_BATCH[number - 1] + 0.8 * OF_SAMPLE[i], 3)
            rows.append(
                {"run": i + 1, "batch": number, "acid": acid, "beads": beads, "time": time}
                | {"gloss": of(y, i)}
            )
    return rows


def alone(rows: Sequence[Cells]) -> list[dict[str, Any]]:
    """Make every run a batch of its own."""
    return [{**row, "batch": row["run"]} for row in rows]


def make(folder: Path, rows: Sequence[Cells], *responses: str) -> Path:
    """Adopt a table as a study."""
    folder.mkdir(parents=True, exist_ok=True)
    brief = _BRIEF + "".join(responses or (response(),))
    (folder / "study.toml").write_text(brief, encoding="utf-8")
    heads = list(rows[0])
    lines = [",".join(heads), *(",".join(str(row[head]) for head in heads) for row in rows)]
    table = folder / "table.csv"
    table.write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(table, folder)
    return folder


class Bench:
    """Runs commands on a study and gives what they print."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def screen(self, command: str, study: Path, *words: str, code: int = 0) -> str:
        """Give the screen in one line, so that a sentence is found where it is folded."""
        status = run([command, str(study), *words])
        printed = self._capsys.readouterr()
        assert status == code, printed
        return " ".join((printed.out or printed.err).split())

    def contract(self, command: str, study: Path, *words: str) -> dict[str, Any]:
        """Give the object that `--json` prints."""
        assert run([command, str(study), *words, "--json"]) == 0
        found: dict[str, Any] = json.loads(self._capsys.readouterr().out)
        return found


def said(findings: Sequence[Mapping[str, Any]], level: str = "") -> str:
    """Join the sentences of findings, of one level where one is named."""
    return " ".join(
        f"{one['what']} {one['advice']}" for one in findings if level in ("", one["level"])
    )
