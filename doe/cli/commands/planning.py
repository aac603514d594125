"""Commands before the bench: new, check, plan, sheet.

Steps are imported inside the commands: numpy, scipy and the table readers take longer to load than
`--help` may last.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from doe.cli.answer import finish
from doe.cli.options import JsonOption, ReplaceOption, SeedOption, StudyArgument, ratios_in
from doe.cli.screen import progress_bar, tell
from doe.study.templates import LIKES


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command(epilog=_starting_briefs())(new)
    app.command(epilog="Example: millbase check brick-red")(check)
    app.command(epilog="Example: millbase plan brick-red --runs 30 --for optimising")(plan)
    app.command(epilog="Example: millbase sheet brick-red")(sheet)


def new(
    study: Annotated[Path, typer.Argument(help="The folder to make.", show_default=False)],
    like: Annotated[
        str, typer.Option(help="Which starting brief, of those below.")
    ] = "package-and-process",
    json: JsonOption = False,
) -> None:
    """Start a study from a commented brief."""
    tell(f"Starting a study in {study} …")
    from doe.cli.show_planning import show_new
    from doe.steps.new import new_study

    finish(new_study(study, like=like), json, show_new)


def _starting_briefs() -> str:
    """List the starting briefs as they are: the mark at the front keeps the lines apart."""
    width = max(map(len, LIKES))
    lines = [f"  {name:<{width}}  {meaning}" for name, meaning in LIKES.items()]
    listed = "\n".join(["\b", "Starting briefs:", *lines])
    return f"{listed}\n\nExample: millbase new brick-red --like dose-and-time"


def check(
    study: StudyArgument,
    unlock: Annotated[
        bool, typer.Option("--unlock", help="Remove a lock that was left behind.")
    ] = False,
    json: JsonOption = False,
) -> None:
    """Say where the study stands, then what is wrong."""
    tell(f"Checking {study} …")
    from doe.cli.show_planning import show_check
    from doe.steps.check import check_study

    finish(check_study(study, unlock=unlock), json, show_check)


def plan(
    study: StudyArgument,
    layout: Annotated[
        str | None,
        typer.Option(help="A layout by name, such as 'central composite', or 'optimal'."),
    ] = None,
    criterion: Annotated[
        str | None,
        typer.Option(
            help="What an optimal plan is judged by: D, I, A, or weighted together "
            "('0.7 I + 0.3 D'); 'Bayesian D' for fewer runs than the model has terms: they tell "
            "the largest smaller model that they can, and guard against the rest."
        ),
    ] = None,
    runs: Annotated[
        int | None, typer.Option(help="Runs to make, controls not counted.", min=1)
    ] = None,
    batches: Annotated[
        int | None, typer.Option(help="Mill batches, where samples share them.", min=1)
    ] = None,
    days: Annotated[int | None, typer.Option(help="Days to spread the runs over.", min=1)] = None,
    purpose: Annotated[
        Literal["screening", "optimising"], typer.Option("--for", help="What the plan is for.")
    ] = "optimising",
    model: Annotated[
        str | None,
        typer.Option(help="linear, interactions, quadratic, 'special cubic', cubic, crossed."),
    ] = None,
    replicates: Annotated[
        int | None, typer.Option(help="Runs that repeat another, for pure error.", min=0)
    ] = None,
    lack_of_fit: Annotated[
        int | None, typer.Option(help="Distinct runs beyond the terms, for lack of fit.", min=0)
    ] = None,
    include: Annotated[
        Path | None,
        typer.Option(help="A table of settings that must be among the runs.", show_default=False),
    ] = None,
    centre: Annotated[
        int | None, typer.Option(help="Centre runs of a classic layout.", min=0)
    ] = None,
    axial_beyond: Annotated[
        bool, typer.Option("--axial-beyond", help="Let axial runs leave the ranges.")
    ] = False,
    from_batch: Annotated[
        bool,
        typer.Option("--from-batch", help="Draw all levels of a sample factor from each batch."),
    ] = False,
    variance_ratio: Annotated[
        str | None,
        typer.Option(
            "--variance-ratio",
            help="Variance of batches over residual; several with commas are averaged over.",
        ),
    ] = None,
    starts: Annotated[
        int | None,
        typer.Option(
            help="Random starts of an optimal plan: 48 without it; fewer than 12 count as 12.",
            min=1,
        ),
    ] = None,
    seed: SeedOption = None,
    replace: ReplaceOption = False,
    json: JsonOption = False,
) -> None:
    """Choose the runs of a study and say why."""
    tell(f"Planning the runs of {study} …")
    from doe.cli.show_planning import show_plan
    from doe.steps.plan import PlanOptions, plan_study

    options = PlanOptions(
        layout=layout, criterion=criterion, runs=runs, batches=batches, days=days,
        purpose=purpose, model=model, replicates=replicates, lack_of_fit=lack_of_fit,
        include=include, centre=centre, axial_beyond=axial_beyond, from_batch=from_batch,
        variance_ratio=ratios_in(variance_ratio), starts=starts, seed=seed, replace=replace,
    )  # fmt: skip
    finish(plan_study(study, options, progress_bar("Searching")), json, show_plan)


def sheet(
    study: StudyArgument,
    wanted: Annotated[
        list[str] | None,
        typer.Option(
            "--for",
            help="Only a workbook for whoever reads this response, without recipes; once each.",
            show_default=False,
        ),
    ] = None,
    replace: ReplaceOption = False,
    json: JsonOption = False,
) -> None:
    """Make the bench workbook, the batch cards and the labels."""
    tell(f"Making the bench sheets of {study} …")
    from doe.cli.show_planning import show_sheet
    from doe.steps.sheet import make_sheets

    finish(make_sheets(study, wanted=wanted or (), replace=replace), json, show_sheet)
