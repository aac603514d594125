"""Commands on the models: fit, predict.

Steps are imported inside the commands, so that `--help` stays quick.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from doe.cli.answer import finish
from doe.cli.options import (
    BecauseOption,
    JsonOption,
    KeepOption,
    LevelOption,
    RoleOption,
    StudyArgument,
)
from doe.cli.screen import tell


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command(epilog="Example: millbase fit brick-red --only viscosity --drop 'dose × pH'")(fit)
    app.command(epilog="Example: millbase predict brick-red --at dose=1.4 --at pH=9")(predict)


def fit(
    study: StudyArgument,
    model: Annotated[
        str | None,
        typer.Option(help="linear, interactions, quadratic, 'special cubic', cubic, crossed."),
    ] = None,
    drop: Annotated[
        list[str] | None, typer.Option(help="A term to leave out, once a term.")
    ] = None,
    only: Annotated[
        list[str] | None, typer.Option(help="Only this response, once a response.")
    ] = None,
    scale: Annotated[
        str | None, typer.Option(help="identity, log, logit, 'square root', power or auto.")
    ] = None,
    form: Annotated[
        str | None,
        typer.Option(
            help="How one factor enters: 'grind time: first order', 'dose: demand curve', "
            "or polynomial."
        ),
    ] = None,
    reduce: Annotated[
        bool,
        typer.Option(
            "--reduce", help="Leave out terms that do not pay by AICc, by the hierarchy rules."
        ),
    ] = False,
    reduce_by: Annotated[
        Literal["best", "backward"] | None,
        typer.Option(
            help="best: of all smaller models; backward: term by term. Asks for --reduce.",
        ),
    ] = None,
    correct_drift: Annotated[
        bool | None,
        typer.Option(
            "--correct-drift/--no-correct-drift",
            help="Fit a straight drift along the order as done beside the model.",
        ),
    ] = None,
    keep: KeepOption = False,
    because: BecauseOption = "",
    role: RoleOption = "",
    level: LevelOption = 0.95,
    json: JsonOption = False,
) -> None:
    """Fit the responses and check the models."""
    tell(f"Fitting the responses of {study} …")
    from doe.cli.show_models import show_fit
    from doe.steps.fit import FitOptions, fit_study

    options = FitOptions(
        model=model, drop=tuple(drop or ()), only=tuple(only or ()), scale=scale,
        form=form, reduce=reduce or reduce_by is not None, reduce_by=reduce_by or "best",
        correct_drift=correct_drift, keep=keep, because=because, role=role, level=level,
    )  # fmt: skip
    finish(fit_study(study, options), json, show_fit)


def predict(
    study: StudyArgument,
    at: Annotated[list[str] | None, typer.Option(help="NAME=VALUE, once a setting.")] = None,
    table: Annotated[Path | None, typer.Option(help="A table with a column a setting.")] = None,
    level: LevelOption = 0.95,
    json: JsonOption = False,
) -> None:
    """Predict every response at given settings."""
    tell(f"Predicting from the models of {study} …")
    from doe.cli.show_models import show_predict
    from doe.steps.predict import predict_study

    finish(predict_study(study, at=tuple(at or ()), table=table, level=level), json, show_predict)
