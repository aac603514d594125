"""Laws of whole studies: what must hold whichever way the same facts come in."""

from __future__ import annotations

import csv
import io
import json
import math
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from doe.steps.adopt import adopt_table
from doe.steps.choose import ChooseOptions, choose_study
from doe.steps.enter import enter_files
from doe.steps.fit import FitOptions, fit_study
from doe.steps.plan import PlanOptions, plan_study
from doe.steps.predict import predict_study
from doe.steps.session import open_study
from tests.journeys.briefs import every_file

LAW = settings(max_examples=6, deadline=None)
SLOW = settings(max_examples=3, deadline=None)
seeds = st.integers(0, 2**32 - 1)
Goals = Mapping[str, str]
GOALS: Goals = {
    "viscosity": 'aim = "low"\nbest = 100\nworst = 900\nscale = "log"',
    "gloss": 'aim = "high"\nbest = 80\nworst = 20',
}


def brief(goals: Goals = GOALS, *, dose: float = 1.0, shift: float = 0.0, more: str = "") -> str:
    """Write a brief of two shares, a dose in any unit, a pH on any zero, and a choice."""
    parts = [
        'format = 1\n[study]\ntitle = "law"\nseed = 2\n[package]',
        '[[package.additive]]\nname = "wetting agent"\nlow = 0.1\nhigh = 0.5',
        '[[package.additive]]\nname = "dispersant"\nlow = 0.5\nhigh = 0.9',
        f'[[factor]]\nname = "dose"\nlow = {0.8 * dose!r}\nhigh = {2.4 * dose!r}\nspacing = "log"',
        f'[[factor]]\nname = "pH"\nlow = {8.0 + shift!r}\nhigh = {9.5 + shift!r}',
        '[[factor]]\nname = "salt"\nlevels = ["ammonia", "soda"]',
        more,
        *(f'[[response]]\nname = "{name}"\nper = "batch"\n{goal}' for name, goal in goals.items()),
    ]
    return "\n".join(parts) + "\n"


@contextmanager
def study_of(text: str, rows: Sequence[Mapping[str, object]] = ()) -> Iterator[Path]:
    """Make a study folder for as long as it is looked at, its table adopted."""
    with tempfile.TemporaryDirectory() as folder:
        study = Path(folder) / "study"
        study.mkdir()
        (study / "study.toml").write_text(text, encoding="utf-8")
        if rows:
            table = Path(folder) / "table.csv"
            table.write_text(as_table(rows), encoding="utf-8")
            adopt_table(table, study)
        yield study


def as_table(rows: Sequence[Mapping[str, object]]) -> str:
    """Write rows as CSV."""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def invented_rows(seed: int, n: int = 30) -> list[dict[str, Any]]:
    """Draw runs all over the region with readings that hang on them."""
    rng = np.random.default_rng(seed)
    rows = []
    for run in range(1, n + 1):
        share = round(float(rng.uniform(0.1, 0.5)), 3)
        dose, ph = round(float(rng.uniform(0.8, 2.4)), 3), round(float(rng.uniform(8.0, 9.5)), 2)
        salt = ("ammonia", "soda")[run % 2]
        y = math.exp(6 - 0.8 * math.log(dose) + share * (ph - 8.5) + 0.05 * rng.normal())
        rows.append(
            {
                "run": run, "wetting agent": share, "dispersant": round(1 - share, 3),
                "dose": dose, "pH": ph, "salt": salt, "viscosity": round(y, 3),
                "gloss": round(40 + 10 * dose - 20 * share + float(rng.normal()), 3),
            }
        )  # fmt: skip
    return rows


def numbers_of(study: Path) -> dict[str, Any]:
    """Fit a study and give what does not hang on the order of the bench, run by run."""
    told = {}
    for name, response in fit_study(study).contract()["responses"].items():
        told[name] = {
            "model": response["model"],
            "estimates": {
                json.dumps([row["term"], row.get("levels")]): row["estimate"]
                for row in response["coefficients"]
            },
            "sd": response["residual_sd"],
            "press": response["press"],
            "fitted": {str(row["run"]): row["fitted"] for row in response["runs"]},
        }
    return told


def assert_same_numbers(one: Any, other: Any, rel: float = 1e-7) -> None:
    """Compare two nests of numbers."""
    if isinstance(one, Mapping):
        assert one.keys() == other.keys()
        for key in one:
            assert_same_numbers(one[key], other[key], rel)
    elif isinstance(one, float):
        assert one == pytest.approx(other, rel=rel, abs=1e-9)
    else:
        assert one == other


@SLOW
@given(seeds, st.randoms(use_true_random=False))
def test_row_order_of_a_table_is_irrelevant(seed: int, random: Any) -> None:
    """The same runs in another order are the same study: models and predictions."""
    rows = invented_rows(seed)
    shuffled = random.sample(rows, len(rows))
    with study_of(brief(), rows) as one, study_of(brief(), shuffled) as other:
        assert_same_numbers(numbers_of(one), numbers_of(other))
        at = ("dispersant=0.7", "dose=1.5", "pH=9", "salt=soda")
        first, second = (predict_study(study, at=at).contract()["rows"] for study in (one, other))
        for name in GOALS:
            a, b = (rows[0]["predictions"][name] for rows in (first, second))
            assert a["value"] == pytest.approx(b["value"], rel=1e-9)
            assert a["run_interval"] == pytest.approx(b["run_interval"], rel=1e-9)


@LAW
@given(seeds, st.integers(1, 29))
def test_entering_twice_or_piecemeal_changes_nothing(seed: int, cut: int) -> None:
    """One table, the same again, or two that overlap: the same readings stand."""
    rows = [
        {name: row[name] for name in ("run", "viscosity", "gloss")}
        for row in invented_rows(seed, 13)
    ]
    with study_of(brief(dose=1.0)) as study:
        plan_study(study, PlanOptions(layout="optimal", runs=13, starts=1, model="linear"))
        whole, first, second = (study.parent / f"{name}.csv" for name in ("whole", "a", "b"))
        whole.write_text(as_table(rows), encoding="utf-8")
        first.write_text(as_table(rows[: max(1, cut % 13)]), encoding="utf-8")
        second.write_text(as_table(rows[max(0, cut % 13 - 2) :]), encoding="utf-8")
        enter_files(study, [second])
        enter_files(study, [first])
        piecemeal = {(r.run, r.response): r.value for r in open_study(study).readings.current()}
        before = every_file(study)
        again = enter_files(study, [first]), enter_files(study, [second])
        assert every_file(study) == before
        assert all(not outcome.readings.added for outcome in again)
        outcome = enter_files(study, [whole])
        assert not outcome.readings.added
        assert set(piecemeal.values()) <= {row[name] for row in rows for name in GOALS}
        assert len(piecemeal) == 26


def aims() -> st.SearchStrategy[str]:
    """Draw any goal that a response may have."""
    ends = st.tuples(st.integers(1, 500), st.integers(501, 2000))
    low = ends.map(lambda e: f'aim = "low"\nbest = {e[0]}\nworst = {e[1]}')
    high = ends.map(lambda e: f'aim = "high"\nbest = {e[1]}\nworst = {e[0]}')
    target = ends.map(
        lambda e: f'aim = "target"\nworst_low = {e[0]}\nbest = {sum(e) / 2}\nworst_high = {e[1]}'
    )
    accepted = ends.map(lambda e: f"accept = {{ at_least = {e[0]}, at_most = {e[1]} }}")
    return st.tuples(st.one_of(low, high, target), accepted).map("\n".join)


@SLOW
@given(aims(), aims())
def test_a_changed_goal_never_invalidates_a_run(viscosity: str, gloss: str) -> None:
    """Runs, readings and models stay as they are; only the goals hash moves."""
    goals = {"viscosity": viscosity + '\nscale = "log"', "gloss": gloss}
    with study_of(brief(), invented_rows(1)) as study:
        session = open_study(study)
        before = numbers_of(study)
        (study / "study.toml").write_text(brief(goals), encoding="utf-8")
        changed = open_study(study)
        assert changed.plan is not None
        assert session.plan is not None
        assert changed.plan.run == session.plan.run
        assert changed.readings == session.readings
        assert changed.inputs()["region"] == session.inputs()["region"]
        assert changed.inputs()["goals"] != session.inputs()["goals"]
        assert numbers_of(study) == before


@SLOW
@given(seeds, st.sampled_from([0.001, 0.1, 10.0, 1000.0]), st.sampled_from([-7.0, 0.0, 3.5]))
def test_predictions_of_full_models_survive_a_change_of_units(
    seed: int, unit: float, shift: float
) -> None:
    """A dose in other units and a pH from another zero: the same answer at the same recipe."""
    rows = invented_rows(seed)
    moved = [
        row | {"dose": repr(row["dose"] * unit), "pH": repr(row["pH"] + shift)} for row in rows
    ]
    with study_of(brief(), rows) as one, study_of(brief(dose=unit, shift=shift), moved) as other:
        shares = ("dispersant=0.7", "salt=soda")
        first = predict_study(one, at=(*shares, "dose=1.5", "pH=9"))
        second = predict_study(other, at=(*shares, f"dose={1.5 * unit!r}", f"pH={9 + shift!r}"))
        for name in GOALS:
            a, b = first.predictions[name], second.predictions[name]
            np.testing.assert_allclose(a.value, b.value, rtol=1e-7)
            np.testing.assert_allclose(a.run_interval, b.run_interval, rtol=1e-6)


@st.composite
def bounds(draw: st.DrawFn) -> tuple[str, float, float, str | None]:
    """Draw a limit over dose and a share, and perhaps a forbidden corner."""
    weight = draw(st.sampled_from([0.0, 2.0, -2.0]))
    at_most = draw(st.sampled_from([1.4, 1.8, 2.2]))
    text = (
        f'[[limit]]\nsum = {{ dose = 1.0, "wetting agent" = {weight} }}\nat_most = {at_most}\n'
        if weight
        else f"[[limit]]\nsum = {{ dose = 1.0 }}\nat_most = {at_most}\n"
    )
    forbidden = draw(st.sampled_from([None, "ammonia", "soda"]))
    if forbidden is not None:
        text += f'[[forbid]]\nsettings = {{ salt = "{forbidden}", pH = "> 8.6" }}\n'
    return text, weight, at_most, forbidden


@SLOW
@given(seeds, bounds())
def test_the_compromise_obeys_every_limit(
    seed: int, drawn: tuple[str, float, float, str | None]
) -> None:
    """Ranges, shares, limits over several settings and forbids, for it and its alternatives."""
    text, weight, at_most, forbidden = drawn
    with study_of(brief(more=text), invented_rows(seed)) as study:
        fit_study(study, FitOptions(model="interactions", keep=True))
        outcome = choose_study(study, ChooseOptions())
        recipes = (outcome.compromise.best, *outcome.compromise.alternatives)
        for recipe in recipes:
            at = {
                name: value for name, value in recipe.settings.items() if isinstance(value, float)
            }
            assert 0.0 <= recipe.desirability <= 1.0
            assert at["wetting agent"] + at["dispersant"] == pytest.approx(1.0, abs=1e-9)
            for name, low, high in (
                ("wetting agent", 0.1, 0.5), ("dispersant", 0.5, 0.9), ("dose", 0.8, 2.4),
                ("pH", 8.0, 9.5),
            ):  # fmt: skip
                assert low - 1e-9 <= at[name] <= high + 1e-9
            assert at["dose"] + weight * at["wetting agent"] <= at_most + 1e-7
            if recipe.settings["salt"] == forbidden:
                assert at["pH"] <= 8.6 + 1e-7
