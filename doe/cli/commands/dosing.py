"""The command `dose`: from the pigment's data to a ladder, its curve and the range for the study.

The step is imported inside the command: numpy and scipy take longer to load than `--help` may last.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from doe.cli.answer import finish
from doe.cli.options import (
    BecauseOption,
    JsonOption,
    LevelOption,
    ReplaceOption,
    SeedOption,
    StudyArgument,
)
from doe.cli.screen import tell
from doe.errors import PlanError


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command(
        epilog="Example: millbase dose brick-red --ladder; fill in sheets/ladder.xlsx; then "
        "millbase dose brick-red --enter brick-red/sheets/ladder.xlsx --write"
    )(dose)


def dose(
    study: StudyArgument,
    coverage: Annotated[
        str | None, typer.Option(help="Coverage in mg/m², LOW:HIGH; 2:2.5 for polymeric.")
    ] = None,
    oil_factor: Annotated[
        float | None,
        typer.Option("--oil-factor", help="Dose a g/100 g of oil absorption, %.", min=0.001),
    ] = None,
    family: Annotated[
        Literal["polyacrylate", "polymeric"] | None,
        typer.Option(help="Chemistry of the main dispersant; else both."),
    ] = None,
    pigment_class: Annotated[
        str | None, typer.Option("--class", help="Class of the pigment; else by the brief.")
    ] = None,
    ladder: Annotated[bool, typer.Option("--ladder", help="Plan a ladder of doses.")] = False,
    steps: Annotated[int, typer.Option(help="Doses of the ladder, 6 to 10.")] = 8,
    low: Annotated[float | None, typer.Option("--from", help="Lowest dose of the ladder.")] = None,
    high: Annotated[float | None, typer.Option("--to", help="Highest dose of the ladder.")] = None,
    shares: Annotated[
        list[str] | None,
        typer.Option("--shares", help="A share of the package, NAME=VALUE; once a share."),
    ] = None,
    at: Annotated[
        list[str] | None, typer.Option("--at", help="Another factor, NAME=VALUE; once a factor.")
    ] = None,
    ascending: Annotated[
        str, typer.Option(help="Make the pots in rising order, because …; else in random order.")
    ] = "",
    enter: Annotated[
        Path | None,
        typer.Option(help="Take in readings: the filled ladder.xlsx, or a table dose, viscosity."),
    ] = None,
    correct: Annotated[
        bool, typer.Option("--correct", help="Take values that differ from those entered before.")
    ] = False,
    because: BecauseOption = "",
    within: Annotated[
        float,
        typer.Option(
            help="% above the minimum that still counts as on the plateau.", min=0.1, max=100.0
        ),
    ] = 5.0,
    curve: Annotated[
        str | None, typer.Option(help="Model of the curve; else the one of least AICc.")
    ] = None,
    level: LevelOption = 0.95,
    write: Annotated[
        bool, typer.Option("--write", help="Write the range into the brief, if it has none.")
    ] = False,
    no_figure: Annotated[bool, typer.Option("--no-figure", help="Draw nothing.")] = False,
    replace: ReplaceOption = False,
    seed: SeedOption = None,
    json: JsonOption = False,
) -> None:
    """Find the dose: from the pigment's data, or from a ladder that it plans and fits."""
    tell(f"Looking at the dose of {study} …")
    from doe.cli.show_dose import show_dose
    from doe.recipe.dose_window import WindowOptions
    from doe.steps.dose import DoseOptions, dose_study
    from doe.steps.dose_curve import CurveOptions
    from doe.steps.dose_entry import EntryOptions
    from doe.steps.dose_ladder import LadderOptions

    _refuse_idle(ladder, {"--from": low, "--to": high, "--shares": shares, "--at": at})
    options = DoseOptions(
        window=WindowOptions(
            coverage=ends_in(coverage), oil_factor=oil_factor, family=family,
            pigment_class=pigment_class,
        ),
        ladder=LadderOptions(
            steps=steps, low=low, high=high, shares=assignments(shares, "--shares"),
            at=assignments(at, "--at"), ascending_because=ascending.strip(), seed=seed,
            replace=replace,
        ) if ladder else None,
        entry=EntryOptions(file=enter, correct=correct, because=because) if enter else None,
        curve=CurveOptions(within_percent=within, model=curve, level=level, figure=not no_figure),
        write=write,
    )  # fmt: skip
    finish(dose_study(study, options), json, show_dose)


def ends_in(text: str | None) -> tuple[float, float] | None:
    """Read two ends, LOW:HIGH.

    Raises:
        PlanError: Something else stands there.

    Example:
        >>> ends_in("2:2.5")
        (2.0, 2.5)
    """
    if text is None:
        return None
    try:
        low, high = (float(part) for part in text.split(":"))
    except ValueError:
        low, high = 1.0, 0.0
    if not 0 < low <= high < float("inf"):
        raise PlanError(
            f"'{text}' is no coverage", where="--coverage", allowed="LOW:HIGH in mg/m², as 2:2.5"
        )
    return low, high


def assignments(texts: list[str] | None, where: str) -> tuple[tuple[str, str], ...]:
    """Split each NAME=VALUE at its last equals sign.

    Raises:
        PlanError: One has none.

    Example:
        >>> assignments(["grind time=35"], "--at")
        (('grind time', '35'),)
    """
    pairs = []
    for text in texts or ():
        name, sign, value = text.rpartition("=")
        if not sign:
            raise PlanError(f"'{text}' names no value", where=where, allowed="NAME=VALUE")
        pairs.append((name.strip(), value.strip()))
    return tuple(pairs)


def _refuse_idle(ladder: bool, given: dict[str, object]) -> None:
    idle = [name for name, value in given.items() if value]
    if idle and not ladder:
        raise PlanError(
            f"{', '.join(idle)} is of no use without --ladder",
            where="command line",
            do="Add --ladder, or leave it out.",
        )
