"""What `fit` says is to be done next: one short list, most important first."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from doe.cli.show_models import show_fit
from doe.errors import OptimumError
from doe.steps.adopt import adopt_table
from doe.steps.choose import choose_study
from doe.steps.fit import FitOptions, fit_study
from doe.steps.next_steps import MOST_STEPS, RULES, next_steps
from doe.steps.note import NoteOptions, note_study
from tests.journeys.briefs import factors, study_of

RESPONSE = '[[response]]\nname = "y"\nper = "batch"\nscale = "identity"\n'
AIM = 'aim = "high"\nbest = 8\nworst = 2\n'
Surface = Callable[[float, float], float]


def plain(a: float, b: float) -> float:
    """Bend a little, as a quadratic can."""
    return 5 + a - 0.5 * b + a * b + 0.5 * a * a


def jumping(a: float, b: float) -> float:
    """Jump where no quadratic does."""
    return 5 + (4 if (a, b) == (1, 1) else 0) - (4 if (a, b) == (0, 1) else 0)


def adopted(
    folder: Path,
    surface: Surface,
    *,
    wild: int | None = None,
    twice: bool = True,
    scatter: float = 0.1,
    aim: str = AIM,
) -> Path:
    """Adopt a grid of three levels, made twice, with one wild reading if asked for."""
    made = study_of(folder / "s", factors(2), RESPONSE + aim)
    rng = np.random.default_rng(11)
    grid = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)] * (2 if twice else 1)
    lines = ["z1,z2,y"]
    for i, (a, b) in enumerate(grid, start=1):
        off = 3.0 if i == wild else 0.0
        lines.append(f"{a},{b},{surface(a, b) + scatter * rng.normal() + off:.4f}")
    (folder / "table.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(folder / "table.csv", made)
    return made


def test_nothing_but_the_way_on_where_all_is_well(tmp_path: Path) -> None:
    """In the contract and on the screen."""
    outcome = fit_study(adopted(tmp_path, plain))
    (only,) = outcome.contract()["next"]

    assert only == {
        "what": "Go on to choose the settings", "command": "millbase choose STUDY",
        "responses": [],
    }  # fmt: skip
    assert "What to do next:\n  1. Go on to choose" in show_fit(outcome)


def test_without_any_aim_the_brief_comes_before_the_choice(tmp_path: Path) -> None:
    """The command alone would be refused: no recipe is better than another."""
    study = adopted(tmp_path, plain, aim="")
    (only,) = next_steps(fit_study(study).analysis)

    assert only.what.startswith("Write what is wanted into study.toml, as no response has an aim")
    with pytest.raises(OptimumError, match="no response has an aim"):
        choose_study(study)


def test_a_run_that_lies_far_off_is_looked_at_first_until_somebody_did(tmp_path: Path) -> None:
    """A note that it stands settles it."""
    study = adopted(tmp_path, plain, wild=12)
    first = next_steps(fit_study(study).analysis)[0]

    assert "run 12 (y)" in first.what
    assert first.command.startswith("millbase note STUDY --run 12 ")
    note_study(study, NoteOptions(says="stands", because="read again", run=12))
    assert not any("run 12" in one.what for one in next_steps(fit_study(study).analysis))


def test_lack_of_fit_is_mended_by_runs_for_a_larger_model(tmp_path: Path) -> None:
    """The surface jumps, and replicates agree."""
    told = next_steps(fit_study(adopted(tmp_path, jumping)).analysis)

    (step,) = [one for one in told if "larger model" in one.what]
    assert step.command == "millbase extend STUDY --for model"
    assert step.responses == ("y",)


def test_runs_made_once_ask_for_replicates(tmp_path: Path) -> None:
    """Nothing tells misfit from scatter."""
    told = next_steps(fit_study(adopted(tmp_path, plain, twice=False)).analysis)

    assert any(one.command == "millbase extend STUDY --for replicates" for one in told)


def test_the_list_is_short_and_says_nothing_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever number of rules speak, the way on stays last."""
    analysis = fit_study(adopted(tmp_path, jumping, wild=12)).analysis
    told = next_steps(analysis)
    assert len({one.sentence for one in told}) == len(told) <= MOST_STEPS

    loud = next(rule for rule in RULES if rule(analysis) is not None)
    monkeypatch.setattr("doe.steps.next_steps.RULES", (loud,) * 9)
    assert len(next_steps(analysis)) == MOST_STEPS
    assert next_steps(analysis)[-1].command == "millbase choose STUDY"


def test_a_response_that_does_not_vary_leads_nowhere(tmp_path: Path) -> None:
    """No settings are better than others, and no form of a factor is worth a word."""
    study = adopted(tmp_path, lambda a, b: 5.0, scatter=0.0)
    outcome = fit_study(study)

    assert next_steps(outcome.analysis) == ()
    shown = show_fit(outcome)
    assert "What to do next" not in shown
    assert "There is nothing to model" in shown
    assert outcome.analysis.fitted["y"].form is None


def test_replicates_without_check_runs_ask_for_check_runs(tmp_path: Path) -> None:
    """A term for each setting: what is missing are other settings, not more of the same."""
    made = study_of(tmp_path / "s", factors(1), RESPONSE)
    rng = np.random.default_rng(11)
    lines = ["z1,y", *(f"{a},{5 + a + 0.1 * rng.normal():.4f}" for a in (-1, 0, 1) * 3)]
    (tmp_path / "t.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopt_table(tmp_path / "t.csv", made)
    told = next_steps(fit_study(made, FitOptions(model="quadratic")).analysis)

    assert [one.command for one in told[:-1]] == ["millbase extend STUDY --for check"]
    assert "nothing tells whether the form" in told[0].what
