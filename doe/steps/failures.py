"""Runs that gave nothing: lost, excluded, or gelled without a number."""

from __future__ import annotations

from analysis.lab.responses import gather
from doe.layouts.extending.request import Failure
from doe.methods.registry import is_computed
from doe.steps.session import Session
from doe.study.plan import Plan


def failures_of(session: Session, plan: Plan) -> tuple[Failure, ...]:
    """Gather what failed: lost or excluded for some response, or gelled without a number."""
    data = gather(session.study, plan, session.readings, session.actuals, session.choices)
    repaired = {
        int(run)
        for entry in plan.rounds
        if entry.details.get("for") == "repair"
        for run in entry.details.get("repairs", ())
    }
    found: dict[int, Failure] = {}
    for name, one in data.items():
        if is_computed(one.response):
            continue
        lost = {r: why for r, why in one.left_out.items() if not why.startswith("a confirmation")}
        gelled = {run for run in one.gelled if run not in one.off_scale}
        for run, why in lost.items():
            old = found.get(run)
            responses = (*(old.responses if old else ()), name)
            found[run] = Failure(
                run=run, why=old.why if old else why, responses=responses,
                gelled=run in gelled or (old.gelled if old else False),
                repaired=run in repaired,
            )  # fmt: skip
    kinds = dict(zip(plan.run, plan.kind, strict=True))
    return tuple(
        failure
        for run, failure in sorted(found.items())
        if kinds.get(run) not in ("control", "confirm")
    )


def wholly_lost(session: Session, plan: Plan) -> tuple[int, ...]:
    """List the runs of a plan that gave nothing for any response."""
    if not session.choices.standing_notes() and not session.readings.rows:
        return ()
    every = {one.name for one in session.study.responses if not is_computed(one)}
    return tuple(f.run for f in failures_of(session, plan) if set(f.responses) >= every)
