"""The real command, run as a user would, with its answer caught."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from typing import Any

import pytest

from doe.cli.app import run


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a command said: exit status, standard output, standard error."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The object on standard output, and nothing else."""
        return json.loads(self.out)


Millbase = Callable[..., Answer]


def run_millbase(*arguments: object) -> Answer:
    """Run one millbase command in this process, for fixtures that outlive a test."""
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = run([str(argument) for argument in arguments])
    return Answer(status=status, out=out.getvalue(), err=err.getvalue())


@pytest.fixture
def millbase(capsys: pytest.CaptureFixture[str]) -> Millbase:
    """Run one millbase command in this process."""

    def command(*arguments: object) -> Answer:
        capsys.readouterr()
        status = run([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return Answer(status=status, out=said.out, err=said.err)

    return command
