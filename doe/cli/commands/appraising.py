"""The command `appraise`: what a plan can and cannot tell.

The step is imported inside the command: numpy and scipy take longer to load than `--help` may last.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from doe.cli.answer import finish
from doe.cli.options import JsonOption, SeedOption, StudyArgument
from doe.cli.screen import tell


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(epilog="Example: millbase appraise brick-red --against last-year.csv")(appraise)


def appraise(
    study: StudyArgument,
    model: Annotated[
        str | None, typer.Option(help="The model to hold the plan against; else the plan's own.")
    ] = None,
    effect: Annotated[
        float | None,
        typer.Option(help="Change of a response over a range that must not be missed."),
    ] = None,
    sd: Annotated[
        float | None, typer.Option(help="Standard deviation of a run, on the same scale.")
    ] = None,
    alpha: Annotated[float, typer.Option(help="Chance of a false alarm.")] = 0.05,
    variance_ratio: Annotated[
        float | None,
        typer.Option("--variance-ratio", help="Variance of batches over residual.", min=0.0),
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(help="A second plan: another study folder, or a table of settings."),
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option(help="A table of settings to appraise in place of the study's plan."),
    ] = None,
    no_sizes: Annotated[
        bool, typer.Option("--no-sizes", help="Leave out what more or fewer runs would tell.")
    ] = False,
    no_figures: Annotated[
        bool, typer.Option("--no-figures", help="Draw nothing; the answer comes sooner.")
    ] = False,
    seed: SeedOption = None,
    json: JsonOption = False,
) -> None:
    """Say what the plan can and cannot tell, before any lab work."""
    tell(f"Appraising the plan of {study} …")
    from doe.cli.show_appraise import show_appraise
    from doe.steps.appraise import AppraiseOptions, appraise_study

    options = AppraiseOptions(
        model=model, effect=effect, sd=sd, alpha=alpha, variance_ratio=variance_ratio,
        against=against, table=table, sizes=not no_sizes, figures=not no_figures, seed=seed,
    )  # fmt: skip
    finish(appraise_study(study, options), json, show_appraise)
