"""One invented study from the brief to the report, as a bench and a desk would take it."""

from __future__ import annotations

import csv
from collections.abc import Callable, Container, Mapping
from dataclasses import dataclass
from pathlib import Path

import openpyxl

from tests.journeys.conftest import Answer, run_millbase

WORKBOOK = "sheets/bench.xlsx"


@dataclass(frozen=True, slots=True, kw_only=True)
class Invented:
    """An invented study: its brief, the names it uses, and the truth behind its readings.

    Attributes:
        brief: Text of `study.toml`.
        truths: Reading by response, given run number and settings as `plan.csv` has them; in the
            order of the workbook's columns.
        at: Options of `predict`, one setting each.
        drop: A term to drop, as a user may type it.
        role: The role that decides.
        weighed: An ingredient whose actual grams of the first batch are filled in.
        options: Options of `plan`.
    """

    brief: str
    truths: Mapping[str, Callable[[int, Mapping[str, str]], float]]
    at: tuple[str, ...]
    drop: str
    role: str
    weighed: str
    options: tuple[str, ...] = ()


def runs_of(study: Path) -> dict[int, dict[str, str]]:
    """Read the settings of a plan by run, with our guard before formulas taken off."""
    with (study / "plan.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {
        int(row["run"]): {name.removeprefix("'"): value for name, value in row.items()}
        for row in rows
    }


def fill(study: Path, invented: Invented, runs: Container[int], *, weighed: bool = False) -> None:
    """Fill the bench workbook in for these runs, as somebody at the bench would."""
    book = openpyxl.load_workbook(study / WORKBOOK)
    settings = runs_of(study)
    heads = [str(cell.value) for cell in book["Readings"][3]]
    for row in book["Readings"].iter_rows(min_row=4):
        run = row[0].value
        if isinstance(run, int) and run in runs:
            for name, truth in invented.truths.items():
                place = next(i for i, head in enumerate(heads) if head.startswith(name))
                row[place].value = round(truth(run, settings[run]), 2)
    for row in book["Weigh-out"].iter_rows(min_row=4):
        if weighed and row[0].value == "batch 1" and row[1].value == invented.weighed:
            row[5].value = round(row[3].value * 1.01, 3)
    book.save(study / WORKBOOK)


def done(*arguments: object) -> Answer:
    """Run a command that must succeed."""
    answer = run_millbase(*arguments)
    assert answer.status == 0, f"{arguments}: {answer.err}"
    return answer


def go_to_the_bench(study: Path, invented: Invented) -> None:
    """Brief, plan and sheets."""
    study.mkdir()
    (study / "study.toml").write_text(invented.brief, encoding="utf-8")
    done("check", study)
    done("plan", study, *invented.options)
    done("sheet", study)


def go_on_to_the_decisions(study: Path, invented: Invented) -> None:
    """Readings in two stages, a note, models and a compromise that are kept."""
    every = sorted(runs_of(study))
    half = len(every) // 2
    fill(study, invented, every[:half], weighed=True)
    done("enter", study, study / WORKBOOK)
    fill(study, invented, every)
    done("enter", study, study / WORKBOOK)
    done("note", study, "--run", every[1], "--says", "excluded", "--because", "it was spilt")
    done("fit", study, "--keep", "--because", "as planned", "--role", invented.role)
    done("choose", study, "--keep", "--because", "agreed", "--role", invented.role)


def make_results(study: Path) -> None:
    """Models, compromise, report."""
    for command in ("fit", "choose", "report"):
        done(command, study)
