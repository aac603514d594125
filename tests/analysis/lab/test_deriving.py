"""From raw readings to responses, unit by unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest

from analysis.lab.deriving import derive_readings
from analysis.lab.responses import gather
from doe.methods.settling import settle_methods
from doe.study.brief import Study
from doe.study.curves import Curve
from doe.study.plan import Plan, Round
from doe.study.raw_data import REFLECTANCE, RawData
from doe.study.readings import Reading, Readings
from doe.study.settings import Settings

NM = tuple(float(nm) for nm in range(400, 710, 10))


def _study(*responses: dict[str, Any]) -> Study:
    study, flaws = settle_methods(
        Study.model_validate(
            {
                "study": {"title": "an invented study"},
                "factor": [
                    {"name": "dose", "low": 0.8, "high": 2.4},
                    {"name": "grind time", "unit": "min", "low": 10, "high": 60,
                     "set_per": "sample"},
                ],
                "response": list(responses),
            }
        )
    )  # fmt: skip
    assert not flaws
    return study


def _plan(n_batches: int = 2, times: Sequence[float] = (10, 20, 35, 60)) -> Plan:
    n, m = n_batches * len(times), len(times)
    values = np.column_stack(
        [np.repeat(np.linspace(0.8, 2.4, n_batches), m), np.tile(times, n_batches)]
    )
    runs = tuple(range(1, n + 1))
    return Plan(
        settings=Settings(names=("dose", "grind time"), values=values),
        run=runs, round=(1,) * n, day=tuple(1 + (run - 1) // m for run in runs),
        batch=tuple(1 + (run - 1) // m for run in runs), sample=runs, panel=(None,) * n,
        kind=("design",) * n,
        rounds=(Round(number=1, layout="adopted", models=("linear",)),),
    )  # fmt: skip


def _row(run: int, name: str, value: float | None, **more: Any) -> Reading:
    return Reading(id=run, run=run, response=name, value=value, **more)


def _uptake(run: int, before: float, wet: float, **more: Any) -> list[Reading]:
    return [_row(run, "mass before", before, **more), _row(run, "mass wet", wet, **more)]


def _raw(rows: Sequence[Reading], test: str = "water uptake") -> RawData:
    numbered = [
        Reading(**{f: getattr(row, f) for f in row.__slots__} | {"id": i})
        for i, row in enumerate(rows, start=1)
    ]
    return RawData(tables={test: Readings(rows=tuple(numbered))})


def test_each_unit_gives_its_value_and_the_rest_is_pending() -> None:
    """Check value 69 of the trade page: 0.5000 g to 0.5425 g is 8.50 % (calculated)."""
    study = _study({"name": "uptake", "from": "water uptake", "per": "sample"})
    raw = _raw([*_uptake(3, 0.5, 0.5425), _row(4, "mass before", 0.5)])

    (only,) = derive_readings(study, _plan(), raw, Readings()).readings
    assert (only.run, only.response) == (3, "uptake")
    assert only.value == pytest.approx(8.5)


def test_a_unit_that_gelled_needs_no_number() -> None:
    """What is said in one cell of the line holds for the unit."""
    study = _study({"name": "uptake", "from": "water uptake", "per": "sample"})
    raw = _raw([_row(2, "mass before", None, flag="gelled")])

    (only,) = derive_readings(study, _plan(), raw, Readings()).readings
    assert only.flag == "gelled"
    assert only.value is None


def test_readings_of_an_age_serve_the_response_of_that_age() -> None:
    """One test at two ages is two responses."""
    study = _study(
        {"name": "early", "from": "water uptake", "age_d": 1, "per": "sample"},
        {"name": "late", "from": "water uptake", "age_d": 28, "per": "sample"},
    )
    raw = _raw([*_uptake(1, 0.5, 0.55, age_d=1.0), *_uptake(1, 0.5, 0.52, age_d=28.0)])
    plan = _plan()
    derived = derive_readings(study, plan, raw, Readings())
    data = gather(study, plan, Readings(rows=derived.readings))

    assert data["early"].repeats == ((pytest.approx(10.0),),)
    assert data["late"].repeats == ((pytest.approx(4.0),),)


def test_a_change_is_taken_within_one_unit_with_its_sign() -> None:
    """From 10 % to 4 % is minus 6 points; a unit read at one age only is pending."""
    study = _study(
        {"name": "uptake", "from": "water uptake", "per": "sample"},
        {"name": "drift", "from": "change after storage",
         "with": {"of": "uptake", "start_d": 1, "end_d": 28}},
    )  # fmt: skip
    raw = _raw(
        [
            *_uptake(1, 0.5, 0.55, age_d=1.0), *_uptake(1, 0.5, 0.52, age_d=28.0),
            *_uptake(2, 0.5, 0.55, age_d=1.0),
        ]
    )  # fmt: skip
    derived = derive_readings(study, _plan(), raw, Readings()).readings

    (drift,) = [row for row in derived if row.response == "drift"]
    assert drift.run == 1
    assert drift.value == pytest.approx(-6.0)


def test_grind_kinetics_are_a_response_of_the_batch() -> None:
    """Check values 45 and 46 of the trade page: S0 55, S∞ 104, k 0.06 a minute (calculated)."""
    study = _study(
        {"name": "strength"},
        {"name": "rate", "from": "grind rate", "with": {"of": "strength"}},
        {"name": "limit", "from": "grind limit", "with": {"of": "strength"}},
    )
    plan = _plan(times=(5, 10, 20, 35, 60))
    times = plan.settings.column("grind time")
    entered = Readings(
        rows=tuple(
            _row(run, "strength", 104 - 49 * float(np.exp(-0.06 * t)))
            for run, t in zip(plan.run, times, strict=True)
        )
    )
    derived = derive_readings(study, plan, RawData(), entered).readings

    rates = [row for row in derived if row.response == "rate"]
    assert [row.run for row in rates] == [1, 6]
    assert [row.value for row in rates] == pytest.approx([0.06, 0.06], rel=1e-5)
    assert [row.value for row in derived if row.response == "limit"] == pytest.approx(
        [104.0, 104.0], rel=1e-5
    )


def _curve(r: float, **more: Any) -> Curve:
    return Curve(x=NM, y=tuple(r + 0.4 * (nm > 580) for nm in NM), **more)


def test_a_sample_is_held_against_the_standard_of_its_own_day() -> None:
    """The same curve as the standard of its day is 100 %, whatever other days' standards say."""
    study = _study({"name": "strength", "from": "colour strength"})
    curves = (
        _curve(0.18, id=1, subject="standard", day=1),
        _curve(0.21, id=2, subject="standard", day=2),
        _curve(0.18, id=3, run=1),
        _curve(0.21, id=4, run=5),
    )
    derived = derive_readings(study, _plan(), RawData(curves={REFLECTANCE: curves}), Readings())

    assert [(row.run, row.value) for row in derived.readings] == [
        (1, pytest.approx(100.0)), (5, pytest.approx(100.0)),
    ]  # fmt: skip


def test_a_card_that_is_named_comes_before_the_day() -> None:
    """Standard and sample on one card share what the card does to both."""
    study = _study({"name": "strength", "from": "colour strength"})
    curves = (
        _curve(0.18, id=1, subject="standard", day=1),
        _curve(0.21, id=2, subject="standard", day=1, card="C4"),
        _curve(0.21, id=3, run=1, card="C4"),
    )
    derived = derive_readings(study, _plan(), RawData(curves={REFLECTANCE: curves}), Readings())

    assert derived.readings[0].value == pytest.approx(100.0)


def test_without_a_standard_of_the_day_there_is_no_strength_and_it_is_said() -> None:
    """A standard of another day may have drifted as far as the sample differs."""
    study = _study({"name": "strength", "from": "colour strength"})
    curves = (_curve(0.18, id=1, subject="standard", day=2), _curve(0.18, id=2, run=1))
    derived = derive_readings(study, _plan(), RawData(curves={REFLECTANCE: curves}), Readings())

    assert not derived.readings
    assert any("standard" in finding.what for finding in derived.findings)


def test_doubts_alike_are_told_once_with_all_their_units() -> None:
    """Forty runs outside the usual range are one sentence."""
    study = _study({"name": "uptake", "from": "water uptake", "per": "sample"})
    raw = _raw([row for run in (1, 2, 3) for row in _uptake(run, 0.5, 0.4)])
    findings = derive_readings(study, _plan(), raw, Readings()).findings

    assert any("run 1; run 2; run 3" in finding.what for finding in findings)
    assert len({finding.what for finding in findings}) == len(findings)
