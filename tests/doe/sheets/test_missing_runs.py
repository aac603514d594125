"""A workbook is held against the plan as it stands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from doe.sheets.workbook import workbook_bytes
from doe.sheets.workbook_in import missing_runs
from doe.steps.demo import invented_brief
from doe.study.brief_file import parse_brief
from doe.study.plan import Plan
from doe.study.settings import Settings

STUDY = parse_brief(invented_brief().encode())


def _plan(dose: float) -> Plan:
    values = np.array([[0.2, 0.5, 0.3, dose, 9.0, 30.0], [0.1, 0.6, 0.3, 1.0, 9.0, 30.0]])
    return Plan(
        settings=Settings(names=STUDY.setting_names, values=values),
        run=(1, 2), round=(1, 1), day=(1, 1), batch=(1, 2), sample=(1, 2), panel=(None, None),
        kind=("design", "design"), rounds=(),
    )  # fmt: skip


def test_a_workbook_of_the_plan_misses_nothing() -> None:
    """What `sheet` just wrote holds every run."""
    assert missing_runs(workbook_bytes(STUDY, _plan(1.4)), _plan(1.4)) == ()


def test_a_run_with_other_settings_or_none_is_missed() -> None:
    """After a replaced or a grown plan the sheets must be made again."""
    book = workbook_bytes(STUDY, _plan(1.4))
    grown = replace(_plan(1.4), run=(1, 3))

    assert missing_runs(book, _plan(2.0)) == (1,)
    assert missing_runs(book, grown) == (3,)
    assert missing_runs(b"no workbook", _plan(1.4)) == (1, 2)
