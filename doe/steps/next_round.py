"""Where a further round of a study begins: numbers never issued, the day after the last one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import doe
from doe.layouts.order import RoundStart
from doe.steps.session import Session
from doe.study.hashes import goals_hash, region_hash
from doe.study.numbering import next_numbers
from doe.study.plan import Plan


def next_start(session: Session, plan: Plan, seed: int, details: Mapping[str, Any]) -> RoundStart:
    """Give where the numbers of the next round begin.

    Args:
        session: The study.
        plan: The runs that it comes behind.
        seed: Seed behind its order, for the record.
        details: Further entries for the record.
    """
    free = next_numbers(plan, session.readings, session.actuals)
    return RoundStart(
        number=free.round, run=free.run, batch=free.batch, sample=free.sample, panel=free.panel,
        day=_last_day(session, plan) + 1, seed=seed, version=doe.__version__,
        region_hash=region_hash(session.study), goals_hash=goals_hash(session.study),
        details=details,
    )  # fmt: skip


def _last_day(session: Session, plan: Plan) -> int:
    """Give the last day that was planned or worked on; 0 where there are no days."""
    worked = [
        int(one.value)
        for one in session.actuals
        if one.what.strip().casefold() == "day" and re.fullmatch(r"\d+", one.value.strip())
    ]
    return max([0, *worked, *(day for day in plan.day if day is not None)])
