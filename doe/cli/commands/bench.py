"""Commands at the bench: enter, note, adopt.

Steps are imported inside the commands, so that `--help` stays quick.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from doe.cli.answer import finish
from doe.cli.options import BecauseOption, JsonOption, ReplaceOption, RoleOption, StudyArgument
from doe.cli.screen import tell


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command(epilog="Example: millbase enter brick-red sheets/bench.xlsx")(enter)
    app.command(
        epilog="Example: millbase note brick-red --run 17 --says excluded --because 'grams swapped'"
    )(note)
    app.command(epilog="Example: millbase adopt old-results.csv brick-red")(adopt)


def enter(
    study: StudyArgument,
    files: Annotated[
        list[Path], typer.Argument(help="Filled workbooks or tables.", show_default=False)
    ],
    correct: Annotated[
        bool, typer.Option("--correct", help="Take values that differ from those entered before.")
    ] = False,
    because: BecauseOption = "",
    json: JsonOption = False,
) -> None:
    """Take in readings and actuals from the bench."""
    tell(f"Reading {', '.join(str(file) for file in files)} …")
    from doe.cli.show_bench import show_enter
    from doe.steps.enter import enter_files

    finish(enter_files(study, files, correct=correct, because=because), json, show_enter)


def note(
    study: StudyArgument,
    says: Annotated[
        Literal["lost", "excluded", "back", "stands"],
        typer.Option(
            help="What to say of it; 'stands' settles a doubt: checked, and right as it is.",
            show_default=False,
        ),
    ],
    because: BecauseOption = "",
    run: Annotated[int | None, typer.Option(help="The run it is about.")] = None,
    batch: Annotated[int | None, typer.Option(help="The batch it is about.")] = None,
    day: Annotated[int | None, typer.Option(help="The day it is about.")] = None,
    response: Annotated[
        str | None, typer.Option(help="Only this response; else every one.")
    ] = None,
    reading: Annotated[
        int | None, typer.Option(help="One reading, by its id in readings.csv.")
    ] = None,
    role: RoleOption = "",
    json: JsonOption = False,
) -> None:
    """Say of a run, batch, day or reading that it is lost, excluded, back or right, and why."""
    tell(f"Noting it in {study} …")
    from doe.cli.show_bench import show_note
    from doe.steps.note import NoteOptions, note_study

    options = NoteOptions(
        says=says,
        because=because,
        run=run,
        batch=batch,
        day=day,
        response=response,
        reading=reading,
        role=role,
    )
    finish(note_study(study, options), json, show_note)


def adopt(
    table: Annotated[
        Path, typer.Argument(help="Settings and results in one table.", show_default=False)
    ],
    study: StudyArgument,
    replace: ReplaceOption = False,
    json: JsonOption = False,
) -> None:
    """Take in an existing table of settings and results."""
    tell(f"Reading {table} …")
    from doe.cli.show_bench import show_adopt
    from doe.steps.adopt import adopt_table

    finish(adopt_table(table, study, replace_plan=replace), json, show_adopt)
