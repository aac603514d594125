"""Runs whose day nobody noted beside runs with a day: a block of their own, never a middling day.

Source:
    DESIGN.md, section 5, "Strata": rounds are as days are; a round as a fixed block needs at least
    two link runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.lab.blocking import NOT_NOTED, blocking_of
from analysis.lab.response_data import Blocking
from doe.study.plan import Plan, Round
from doe.study.settings import Settings
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

STUDY = study_of(factors=[range_factor("dose", 1, 3)])


def _blocking(day: Sequence[int | None], rounds: Sequence[int] | None = None) -> Blocking | None:
    n = len(day)
    none = (None,) * n
    of_run = tuple(rounds or (1,) * n)
    plan = Plan(
        settings=Settings(names=("dose",), values=np.linspace(1, 3, n)[:, None]),
        run=tuple(range(1, n + 1)), round=of_run, day=none, batch=none, sample=none, panel=none,
        kind=("design",) * n,
        rounds=tuple(Round(number=r, layout="adopted", models=()) for r in sorted(set(of_run))),
    )  # fmt: skip
    return blocking_of(STUDY, plan, day, range(n))


def _fitted(dose: Sequence[float], blocks: Sequence[str], step: float) -> FittedResponse:
    """Fit a line where the runs of the first block lie higher by `step`."""
    scatter = np.random.default_rng(3).normal(0, 0.1, len(dose))
    rows = [
        {"dose": d, "y": 10 + d + step * (label == blocks[0]) + float(e)}
        for d, label, e in zip(dose, blocks, scatter, strict=True)
    ]
    data, coding = adopt(STUDY, rows, "y")
    blocking = Blocking(name="day", of=tuple(blocks), effect="fixed", planned=False)
    return fit_response(replace(data, block=blocking.of, blocking=blocking), coding, model="linear")


def _said(fitted: FittedResponse) -> str:
    return " | ".join(finding.what for finding in fitted.findings)


def test_runs_without_a_day_are_a_block_beside_the_days() -> None:
    """With one day known, too."""
    two, one = _blocking((None, None, 1, 2)), _blocking((None, None, 1, 1))

    assert two is not None
    assert one is not None
    assert (two.name, two.of) == ("day", (NOT_NOTED, NOT_NOTED, "1", "2"))
    assert one.of == (NOT_NOTED, NOT_NOTED, "1", "1")
    assert _blocking((None,) * 4) is None


def test_a_round_without_days_is_a_block_beside_the_days_of_another() -> None:
    """An adopted table without days, and a confirmation on days 9 and 10."""
    blocking = _blocking((None, None, 9, 10), (1, 1, 2, 2))

    assert blocking is not None
    blank = f"{NOT_NOTED} of round 1"
    assert blocking.of == (blank, blank, "9 of round 2", "10 of round 2")


@pytest.mark.parametrize(("known", "effect"), [((1, 2, 3), "fixed"), ((1, 2, 3, 4), "random")])
def test_the_block_without_a_day_does_not_make_days_random(
    known: tuple[int, ...], effect: str
) -> None:
    """Nobody knows how many days lie in it."""
    blocking = _blocking((None, *known))

    assert blocking is not None
    assert blocking.effect == effect


def test_a_step_to_the_runs_without_a_day_goes_into_the_blocks_and_is_said() -> None:
    """As the middling day they took half of the step for scatter."""
    dose = [1, 1.5, 2, 2.5, 3] * 2
    fitted = _fitted(dose, [NOT_NOTED] * 5 + ["1", "1", "1", "2", "2"], step=5.0)
    effects = fitted.fit.block_effects

    assert set(effects) == {NOT_NOTED, "1", "2"}
    assert effects[NOT_NOTED] - effects["1"] == pytest.approx(5.0, abs=0.3)
    assert fitted.fit.components["residual"] ** 0.5 < 0.2
    assert "Runs 1, 2, 3, 4 and 5 of 'y' have no day beside runs that have one" in _said(fitted)


@pytest.mark.parametrize(("first", "is_fitted"), [([2.1, 2.9], False), ([1.0, 2.0], True)])
def test_a_round_without_days_needs_two_link_runs(first: list[float], is_fitted: bool) -> None:
    """Without recipes made in both rounds their difference is one of recipes."""
    dose = [1, 1.5, 2, 2.5, 3, *first, 2.2, 2.8]
    blocks = [f"{NOT_NOTED} of round 1"] * 5 + ["9 of round 2"] * 2 + ["10 of round 2"] * 2
    fitted = _fitted(dose, blocks, step=0.0)

    assert bool(fitted.fit.block_effects) == is_fitted
    assert ("fewer than 2 runs link the round without days" in _said(fitted)) != is_fitted
    assert "have no day beside runs that have one" in _said(fitted)
