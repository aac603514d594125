"""Arguments and options that several commands share, so that they read alike everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from doe.errors import PlanError

StudyArgument = Annotated[Path, typer.Argument(help="The study folder.", show_default=False)]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print one JSON object (contract 1) instead of tables.")
]
SeedOption = Annotated[
    int | None,
    typer.Option("--seed", help="Seed of every random choice; beats the brief's.", min=0),
]
ReplaceOption = Annotated[
    bool, typer.Option("--replace", help="Replace what is there; the old file is kept beside it.")
]
BecauseOption = Annotated[
    str, typer.Option("--because", help="Why, in a few words; kept with the decision.")
]
RoleOption = Annotated[
    str, typer.Option("--role", help="Who decides, as the brief's roles name it.")
]
AtOption = Annotated[
    list[str] | None,
    typer.Option(
        "--at",
        help="One setting, NAME=VALUE; once for each. Without: the kept settings, else the "
        "compromise.",
    ),
]
CompromiseOption = Annotated[
    bool, typer.Option("--compromise", help="Search the compromise, whatever was kept.")
]
KeepOption = Annotated[
    bool,
    typer.Option("--keep", help="Write the decision to choices.toml; else it is only tried out."),
]
LevelOption = Annotated[
    float,
    typer.Option("--level", help="Confidence of the intervals, 0.5 to 0.999.", min=0.5, max=0.999),
]


def ratios_in(text: str | None) -> tuple[float, ...] | None:
    """Read one or several variance ratios, set apart by commas.

    Raises:
        PlanError: Something else stands there.

    Example:
        >>> ratios_in("0.5, 2")
        (0.5, 2.0)
    """
    if text is None:
        return None
    try:
        ratios = tuple(float(part) for part in text.split(","))
    except ValueError:
        ratios = ()
    if not ratios or not all(0.0 <= ratio < float("inf") for ratio in ratios):
        raise PlanError(
            f"'{text}' is no variance ratio",
            where="--variance-ratio",
            allowed="a number from 0 up, such as 1, or several: 0.3,1,3",
        )
    return ratios
