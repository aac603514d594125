"""A study at each stage for what is refused, and what a refusal looks like."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from tests.journeys.briefs import HEAD, package
from tests.journeys.conftest import Answer
from tests.journeys.invented_studies import PAINT
from tests.journeys.whole_way import WORKBOOK, done, fill, go_to_the_bench, runs_of

BLEND = (
    HEAD
    + package(((0.1, 0.9), (0.1, 0.9)))
    + '[[response]]\nname = "y"\nper = "batch"\nscale = "log"\n'
)
NEGATIVE = "x1,x2,y\n" + "".join(f"0.{i},0.{10 - i},{i - 3}\n" for i in range(1, 10))


def adopted(brief: str, table: str) -> Callable[[Path], None]:
    """Make a study of a brief and a table."""

    def change(study: Path) -> None:
        (study / "study.toml").write_text(brief, encoding="utf-8")
        (study / "t.csv").write_text(table, encoding="utf-8")
        done("adopt", study / "t.csv", study)

    return change


def studies_at_each_stage(base: Path) -> Mapping[str, Path]:
    """Make the paint study at each stage, by its name; tests work on copies."""
    places = {name: base / name for name in ("empty", "bare", "planned", "read")}
    places["empty"].mkdir()
    places["bare"].mkdir()
    (places["bare"] / "study.toml").write_text(PAINT.brief, encoding="utf-8")
    go_to_the_bench(places["planned"], PAINT)
    shutil.copytree(places["planned"], places["read"])
    fill(places["read"], PAINT, runs_of(places["read"]))
    done("enter", places["read"], places["read"] / WORKBOOK)
    return places


def assert_refused(answer: Answer) -> Any:
    """Hold a refusal to the contract, and give its error object."""
    lines = answer.err.splitlines()
    assert answer.status == 2, answer.err
    assert "Traceback" not in answer.err
    assert len(answer.out.splitlines()) == 1
    told = answer.json
    assert told["contract"] == 1
    assert set(told["error"]) == {"where", "what", "allowed", "do"}
    assert told["error"]["what"]
    faults = told["faults"]
    # One line a fault, beside the lines that say what the command is at.
    assert len([line for line in lines if not line.endswith("…")]) == len(faults) <= 4
    assert len(faults) == len({json.dumps(fault) for fault in faults}), "no fault is told twice"
    return told["error"]
