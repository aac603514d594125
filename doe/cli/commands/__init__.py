"""The commands, in the order a study meets them."""

from __future__ import annotations

import typer

from doe.cli.commands import (
    agreeing,
    appraising,
    bench,
    confirming,
    deciding,
    dosing,
    extending,
    models,
    planning,
)


def register(app: typer.Typer) -> None:
    """Give the application every command."""
    for module in (
        planning,
        dosing,
        appraising,
        extending,
        bench,
        models,
        deciding,
        confirming,
        agreeing,
    ):
        module.register(app)
