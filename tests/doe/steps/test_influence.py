"""What the compromise hangs on, as `choose --influence` tells it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from doe.cli.app import run
from doe.steps.adopt import adopt_table
from doe.steps.choose import ChooseOptions, ChooseOutcome, choose_study
from tests.journeys.briefs import factors, study_of

RESPONSE = (
    '[[response]]\nname = "haze"\nunit = "HU"\nper = "batch"\nscale = "identity"\n'
    'aim = "low"\nbest = -1\nworst = 6\n'
)
UNIT = {
    "kind", "number", "runs", "reach", "moves", "desirability", "desirability_at_present",
    "predictions", "not_fitted", "searched",
}  # fmt: skip


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Adopt ten runs of one factor about a valley at 0.2, the ninth wild."""
    tmp_path = tmp_path_factory.mktemp("influence")
    made = study_of(tmp_path / "s", factors(1), RESPONSE)
    rng = np.random.default_rng(8)
    lines = ["z1,haze"]
    for place, x in enumerate((-1, -1, -0.5, -0.5, 0, 0, 0.5, 0.5, 1, 1)):
        y = (x - 0.2) ** 2 + 0.01 * rng.standard_normal() - (2.0 if place == 8 else 0.0)
        lines.append(f"{x},{y:.4f}")
    (tmp_path / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(tmp_path / "table.csv", made)
    return made


def test_the_key_is_null_until_asked_for(study: Path) -> None:
    """Fitting again without each run takes long."""
    assert choose_study(study, ChooseOptions()).contract()["influence"] is None


@pytest.fixture(scope="module")
def outcome(study: Path) -> ChooseOutcome:
    """Choose, and ask what the compromise hangs on."""
    return choose_study(study, ChooseOptions(influence=True))


def test_every_unit_has_every_key(outcome: ChooseOutcome) -> None:
    """The most influential first; moves in the unit of the setting."""
    found = outcome.contract()["influence"]

    assert set(found) == {"present", "held", "units"}
    assert len(found["units"]) == 10
    assert all(set(one) == UNIT for one in found["units"])
    first = found["units"][0]
    assert (first["kind"], first["number"], first["searched"]) == ("run", 9, True)
    (move,) = first["moves"]
    assert set(move) == {"setting", "unit", "before", "after", "part"}
    assert move["part"] == pytest.approx(first["reach"]) != 0
    assert set(first["predictions"]["haze"]) == {"unit", "before", "after"}
    assert [one["searched"] for one in found["units"]].count(True) == 3


def test_the_command_names_what_moves_the_compromise(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As a table with its finding."""
    assert run(["choose", str(study), "--influence"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The compromise without single runs" in said
    assert "Without run 9 the compromise moves: z1 from" in said
