"""How every command ends: the answer as a table or as JSON, and the exit status."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any, Protocol, TypeVar

import typer

from doe.cli.screen import findings_text, with_study
from doe.study.finding import Finding


class Outcome(Protocol):
    """What every step returns."""

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the reader ought to know."""

    @property
    def is_no(self) -> bool:
        """Whether the answer is no, or a check failed: exit status 1."""

    def contract(self) -> dict[str, Any]:
        """Give the object that `--json` prints."""


T = TypeVar("T", bound=Outcome)


def finish(outcome: T, as_json: bool, show: Callable[[T], str]) -> None:
    """Print an outcome and leave with its status."""
    if as_json:
        print(json.dumps(outcome.contract(), ensure_ascii=False, allow_nan=False))
    else:
        parts = [with_study(show(outcome).rstrip()), findings_text(outcome.findings)]
        print("\n\n".join(part for part in parts if part))
    raise typer.Exit(1 if outcome.is_no else 0)
