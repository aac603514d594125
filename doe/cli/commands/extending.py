"""The command for the next round: extend.

Steps are imported inside the command, so that `--help` stays quick.
"""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from doe.cli.answer import finish
from doe.cli.options import JsonOption, SeedOption, StudyArgument
from doe.cli.screen import tell


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command(epilog="Example: millbase extend brick-red --for repair")(extend)


def extend(
    study: StudyArgument,
    purpose: Annotated[
        Literal["repair", "model", "axial", "foldover", "replicates", "check", "compromise"],
        typer.Option(
            "--for",
            help="What the next round is for; repair makes up for runs that were lost, excluded "
            "or gelled, and for nothing else.",
            show_default=False,
        ),
    ],
    runs: Annotated[
        int | None, typer.Option(help="New runs, link runs among them, controls not.", min=1)
    ] = None,
    batches: Annotated[
        int | None, typer.Option(help="New mill batches, controls not counted.", min=1)
    ] = None,
    model: Annotated[
        str | None, typer.Option(help="Model to plan for; of --for model the next larger one.")
    ] = None,
    factor: Annotated[
        str | None, typer.Option(help="The one factor whose signs a fold-over changes.")
    ] = None,
    axial_beyond: Annotated[
        bool, typer.Option("--axial-beyond", help="Let axial runs leave the ranges.")
    ] = False,
    drop_unrun: Annotated[
        bool, typer.Option("--drop-unrun", help="Take out runs that were never made first.")
    ] = False,
    variance_ratio: Annotated[
        float | None,
        typer.Option("--variance-ratio", help="Variance of batches over residual.", min=0.0),
    ] = None,
    starts: Annotated[int | None, typer.Option(help="Random starts of a search.", min=1)] = None,
    seed: SeedOption = None,
    json: JsonOption = False,
) -> None:
    """Choose the next round, given what was done, and say what it buys."""
    tell(f"Extending the plan of {study} …")
    from doe.cli.show_extend import show_extend
    from doe.steps.extend import ExtendOptions, extend_study

    options = ExtendOptions(
        purpose=purpose, runs=runs, batches=batches, model=model, factor=factor,
        axial_beyond=axial_beyond, drop_unrun=drop_unrun, variance_ratio=variance_ratio,
        starts=starts, seed=seed,
    )  # fmt: skip
    finish(extend_study(study, options), json, show_extend)
