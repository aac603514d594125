"""Commands for the decision: choose, risk, report, demo.

Steps are imported inside the commands, so that `--help` stays quick.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from doe.cli.answer import finish
from doe.cli.options import (
    AtOption,
    BecauseOption,
    CompromiseOption,
    JsonOption,
    KeepOption,
    LevelOption,
    RoleOption,
    SeedOption,
    StudyArgument,
)
from doe.cli.screen import tell


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command(epilog="Example: millbase choose brick-red --within-limits")(choose)
    app.command(epilog="Example: millbase risk brick-red --at-least 0.9")(risk)
    app.command(epilog="Example: millbase report brick-red")(report)
    app.command(epilog="Example: millbase demo brick-red-demo")(demo)


def choose(
    study: StudyArgument,
    within_limits: Annotated[
        bool, typer.Option("--within-limits", help="Let every acceptance limit bind.")
    ] = False,
    influence: Annotated[
        bool,
        typer.Option("--influence", help="Choose again without each run, batch and day."),
    ] = False,
    view: Annotated[str, typer.Option(help="Weigh the responses as this role does.")] = "",
    trade_offs: Annotated[
        bool,
        typer.Option(
            "--trade-offs",
            help="Also: frontier, pull of the weights and views, prices of limits, lowest dose.",
        ),
    ] = False,
    give_away: Annotated[
        float,
        typer.Option(min=0.0, max=1.0, help="Desirability that the lowest dose may cost."),
    ] = 0.02,
    keep: KeepOption = False,
    because: BecauseOption = "",
    role: RoleOption = "",
    level: LevelOption = 0.95,
    seed: SeedOption = None,
    json: JsonOption = False,
) -> None:
    """Find the settings that serve all aims best."""
    tell(f"Searching the region of {study} for the compromise …")
    from doe.cli.show_deciding import show_choose
    from doe.steps.choose import ChooseOptions, choose_study

    options = ChooseOptions(
        within_limits=within_limits, influence=influence, view=view,
        keep=keep, because=because, role=role,
        level=level, seed=seed, trade_offs=trade_offs, give_away=give_away,
    )  # fmt: skip
    finish(choose_study(study, options), json, show_choose)


def risk(
    study: StudyArgument,
    at: AtOption = None,
    compromise: CompromiseOption = False,
    at_least: Annotated[
        float | None,
        typer.Option("--at-least", help="Probability that must be reached, such as 0.9; else 1."),
    ] = None,
    probability: Annotated[
        float,
        typer.Option(
            "--probability", help="What the robust choice and the tolerance box must reach."
        ),
    ] = 0.9,
    window: Annotated[
        tuple[str, str] | None,
        typer.Option(
            "--window",
            metavar="SETTING SETTING",
            show_default=False,
            help="Two settings to look at the probability over; else those that move it most.",
        ),
    ] = None,
    only_here: Annotated[
        bool, typer.Option("--only-here", help="Judge these settings alone, search for no others.")
    ] = False,
    draws: Annotated[
        int, typer.Option("--draws", help="Production batches to draw.", min=1)
    ] = 65_536,
    level: LevelOption = 0.95,
    seed: SeedOption = None,
    json: JsonOption = False,
) -> None:
    """Tell the chance that a production batch meets every limit, and what costs most of it."""
    tell(f"Drawing production batches of {study} …")
    from doe.cli.show_risk import show_risk
    from doe.steps.risk import RiskOptions, assess_study_risk

    options = RiskOptions(
        at=tuple(at or ()), compromise=compromise, at_least=at_least, draws=draws, level=level,
        seed=seed, probability=probability, window=window or (), only_here=only_here,
    )  # fmt: skip
    finish(assess_study_risk(study, options), json, show_risk)


def report(study: StudyArgument, seed: SeedOption = None, json: JsonOption = False) -> None:
    """Write the report: one page to read offline, all figures, all tables."""
    tell(f"Writing the report of {study}: fits, compromise, figures …")
    from doe.cli.show_deciding import show_report
    from doe.steps.report import report_study

    finish(report_study(study, seed=seed), json, show_report)


def demo(
    folder: Annotated[Path, typer.Argument(help="The folder to make.", show_default=False)],
    json: JsonOption = False,
) -> None:
    """Go the whole way on an invented study, from the brief to the report."""
    tell(f"Going the whole way in {folder}, on invented readings …")
    from doe.cli.show_deciding import show_demo
    from doe.steps.demo import run_demo

    finish(run_demo(folder, tell=tell), json, show_demo)
