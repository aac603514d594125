"""How commands end: statuses, the object on standard output, usage, closed pipes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest
import typer

from doe.cli.answer import finish
from doe.cli.app import run
from doe.study.finding import Finding


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """An outcome that says what it is told to."""

    is_no: bool = False
    findings: tuple[Finding, ...] = ()
    body: dict[str, Any]

    def contract(self) -> dict[str, Any]:
        """Give the object."""
        return self.body


@pytest.mark.parametrize(("is_no", "status"), [(False, 0), (True, 1)])
def test_the_status_follows_the_answer(
    is_no: bool, status: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 done, 1 the answer is no; either way the whole answer is printed."""
    said = Said(is_no=is_no, body={"x": "粘度"}, findings=(Finding(level="note", what="So."),))

    with pytest.raises(typer.Exit) as end:
        finish(said, as_json=False, show=lambda _: "shown\n")
    assert end.value.exit_code == status
    assert capsys.readouterr().out == "shown\n\n  · So.\n"
    with pytest.raises(typer.Exit) as end:
        finish(said, as_json=True, show=lambda _: "shown")
    assert end.value.exit_code == status
    assert capsys.readouterr().out == '{"x": "粘度"}\n'


def test_a_number_that_json_does_not_know_never_leaves() -> None:
    """NaN would be no JSON: it is a fault of ours, not an answer."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        finish(Said(body={"x": float("nan")}), as_json=True, show=str)


@pytest.mark.parametrize(
    ("arguments", "help_"),
    [
        (["plan"], "millbase plan --help"),
        (["plan", "s", "--runs", "x"], "millbase plan --help"),
        (["plant"], "millbase --help"),
        (["--json"], "millbase --help"),
    ],
)
def test_usage_names_the_help_at_hand(
    arguments: list[str], help_: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line and exit 2."""
    assert run(arguments) == 2
    said = capsys.readouterr()
    assert f"'{help_}'" in said.err
    assert len(said.err.splitlines()) == 1


def test_usage_is_told_as_json_where_json_is_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Even when the arguments cannot be read."""
    assert run(["fit", "s", "--level", "9", "--json"]) == 2
    told = json.loads(capsys.readouterr().out)
    assert told["contract"] == 1
    assert "--level" in told["error"]["what"]


def test_without_arguments_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """With the commands in the order in which a study meets them."""
    run([])
    said = capsys.readouterr()
    text = said.out + said.err
    names = ("new", "check", "plan", "sheet", "enter", "fit", "predict", "choose", "report")
    order = [text.index(f"\n  {name} ") for name in names]

    assert order == sorted(order)
    assert "Traceback" not in text
