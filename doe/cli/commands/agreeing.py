"""The command for the agreement: agree.

The step is imported inside the command, so that `--help` stays quick.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated

import typer

from doe.cli.answer import finish
from doe.cli.options import (
    BecauseOption,
    CompromiseOption,
    JsonOption,
    LevelOption,
    SeedOption,
    StudyArgument,
)
from doe.cli.screen import tell
from doe.errors import StudyError


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command(
        epilog='Example: millbase agree brick-red --role colourist --agrees --because "strength '
        'holds"'
    )(agree)


def agree(
    study: StudyArgument,
    propose: Annotated[bool, typer.Option("--propose", help="Put a new version forward.")] = False,
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at",
            help="One setting of a new version, NAME=VALUE; once for each. Without: the kept "
            "settings, else the compromise.",
        ),
    ] = None,
    compromise: CompromiseOption = False,
    role: Annotated[
        str, typer.Option("--role", help="Who speaks, as the brief's roles name it.")
    ] = "",
    agrees: Annotated[bool, typer.Option("--agrees", help="The role agrees.")] = False,
    objects: Annotated[bool, typer.Option("--objects", help="The role objects.")] = False,
    final: Annotated[
        bool,
        typer.Option("--final", help="Make it final; needs every role of the brief, else 1."),
    ] = False,
    without: Annotated[
        list[str] | None,
        typer.Option(
            "--without",
            help="With --final: a role that has not spoken and is gone on without; stays on "
            "record with --because.",
        ),
    ] = None,
    because: BecauseOption = "",
    batch_kg: Annotated[
        float | None,
        typer.Option("--batch-kg", help="Size of the production batch on the card, kg."),
    ] = None,
    level: LevelOption = 0.95,
    seed: SeedOption = None,
    json: JsonOption = False,
) -> None:
    """Show, propose and settle what the team agrees on; writes the formula card."""
    if agrees and objects:
        raise StudyError(
            "a role cannot do both", where="millbase agree", allowed="--agrees or --objects"
        )
    tell(f"Gathering the agreement of {study} …")
    from doe.cli.show_agree import show_agree
    from doe.steps.agree import AgreeOptions, agree_study

    options = AgreeOptions(
        propose=propose, at=tuple(at or ()), compromise=compromise, role=role,
        says="agrees" if agrees else "objects" if objects else "", final=final,
        without=tuple(without or ()), because=because, batch_kg=batch_kg, level=level, seed=seed,
    )  # fmt: skip
    finish(agree_study(study, options, today=dt.date.today()), json, show_agree)
