"""A small invented study at the bench, for the tests of what is doubted there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.lab.doubts.bench import Bench
from doe.methods.settling import settle_methods
from doe.study.brief import Study
from doe.study.choices import Choices
from doe.study.curves import Curve
from doe.study.plan import Plan, Round
from doe.study.raw_data import RawData
from doe.study.readings import Actual, Reading, Readings
from doe.study.settings import Settings


def study_of(*responses: dict[str, Any], **more: Any) -> Study:
    """Make a study of temperature and a titrated pH; `more` overrides whole keys."""
    given = {
        "study": {"title": "an invented study"},
        "factor": [
            {"name": "mill temperature", "low": 25, "high": 45},
            {"name": "pH", "low": 8.0, "high": 9.5, "set_by": "ammonia"},
        ],
        "response": list(responses) or [{"name": "viscosity"}],
        **more,
    }
    study, flaws = settle_methods(Study.model_validate(given))
    assert not flaws
    return study


def plan_of(n: int = 8, controls: Sequence[int] = ()) -> Plan:
    """Plan n batches of different settings, four a day; some are controls of one name."""
    runs = tuple(range(1, n + 1))
    values = np.column_stack([np.linspace(25, 45, n), np.linspace(8.0, 9.5, n)])
    values[[run - 1 for run in controls]] = (30.0, 8.8)
    return Plan(
        settings=Settings(names=("mill temperature", "pH"), values=values),
        run=runs, round=(1,) * n, day=tuple(1 + (run - 1) // 4 for run in runs), batch=runs,
        sample=(None,) * n, panel=(None,) * n,
        kind=tuple("control" if run in controls else "design" for run in runs),
        rounds=(
            Round(
                number=1, layout="adopted", models=("linear",), runs=runs,
                controls=dict.fromkeys(controls, "present formula"),
            ),
        ),
    )  # fmt: skip


def reading(run: int, value: float | None, **more: Any) -> Reading:
    """Make a reading of the viscosity; its cell is named after the run."""
    given = {"id": run, "response": "viscosity", "source": f"table.csv, line {run + 1}", **more}
    return Reading(run=run, value=value, **given)


def bench_of(
    *rows: Reading,
    study: Study | None = None,
    plan: Plan | None = None,
    raw: dict[str, Sequence[Reading]] | None = None,
    curves: dict[str, Sequence[Curve]] | None = None,
    actuals: Sequence[Actual] = (),
) -> Bench:
    """Put together what came from the bench."""
    tables = {name: Readings(rows=tuple(lines)) for name, lines in (raw or {}).items()}
    kinds = {kind: tuple(lines) for kind, lines in (curves or {}).items()}
    return Bench(
        study=study or study_of(),
        plan=plan or plan_of(),
        readings=Readings(rows=rows),
        raw=RawData(tables=tables, curves=kinds),
        actuals=actuals,
        choices=Choices(),
    )
