"""The command for confirmation batches: confirm.

Steps are imported inside the command, so that `--help` stays quick.
"""

from __future__ import annotations

from typing import Annotated

import typer

from doe.cli.answer import finish
from doe.cli.options import (
    AtOption,
    BecauseOption,
    JsonOption,
    LevelOption,
    RoleOption,
    SeedOption,
    StudyArgument,
)
from doe.cli.screen import tell


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command(epilog="Example: millbase confirm brick-red --batches 3 --days 2")(confirm)


def confirm(
    study: StudyArgument,
    batches: Annotated[
        int | None,
        typer.Option(help="Mill batches; else as many as are recommended.", min=1, max=50),
    ] = None,
    days: Annotated[
        int | None, typer.Option(help="Days they are spread over; else two.", min=1)
    ] = None,
    per_batch: Annotated[
        int, typer.Option("--per-batch", help="Samples or panels of each batch.", min=1, max=20)
    ] = 1,
    at: AtOption = None,
    plant: Annotated[
        bool, typer.Option("--plant", help="Batches of the plant, told apart from the laboratory.")
    ] = False,
    batch_kg: Annotated[
        float | None, typer.Option("--batch-kg", help="Size of a plant batch, kg.")
    ] = None,
    how_many: Annotated[
        bool,
        typer.Option("--how-many", help="Say what one to eight batches would tell; plan nothing."),
    ] = False,
    judge: Annotated[bool, typer.Option("--judge", help="Judge; plan nothing.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Plan one more round.")] = False,
    take_in: Annotated[
        bool,
        typer.Option("--take-in", help="Build the models on the judged batches, too; --because."),
    ] = False,
    because: BecauseOption = "",
    role: RoleOption = "",
    level: LevelOption = 0.95,
    seed: SeedOption = None,
    json: JsonOption = False,
) -> None:
    """Plan confirmation batches; once they are read, judge them by what was foretold."""
    tell(f"Looking at the confirmation batches of {study} …")
    from doe.cli.show_confirm import show_confirm
    from doe.steps.confirm import ConfirmOptions, confirm_study

    options = ConfirmOptions(
        batches=batches, days=days, per_batch=per_batch, at=tuple(at or ()), plant=plant,
        batch_kg=batch_kg, how_many=how_many, judge=judge, again=again, take_in=take_in,
        because=because, role=role, level=level, seed=seed,
    )  # fmt: skip
    finish(confirm_study(study, options), json, show_confirm)
