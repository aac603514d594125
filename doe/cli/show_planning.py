"""How `new`, `check`, `plan` and `sheet` look in the terminal."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from analysis.report.rounding import plain
from doe.cli.screen import WIDTH, findings_text, paragraph, shortened, text_table, typed
from doe.study.finding import Finding
from doe.study.plan import Plan

if TYPE_CHECKING:
    # One command's screen must not wait for the libraries of the others.
    from doe.steps.check import CheckOutcome
    from doe.steps.new import NewOutcome
    from doe.steps.plan import PlanOutcome
    from doe.steps.sheet import SheetOutcome

# Said wherever runs are to be made.
SAFETY = (
    "Follow the safety data sheets, local codes and qualified people for pigment dust, "
    "ammonia and amines, mills, ovens and biocides."
)
_STATES = {"done": "done    ", "missing": "missing ", "waiting": "waiting ", "doubtful": "doubtful"}


def show_new(outcome: NewOutcome) -> str:
    """Say where the brief is and what to do with it."""
    then = f"Fill it in with an editor, then: millbase check {typed(outcome.brief.parent)}"
    return f"Brief: {outcome.brief}\n{then}"


def show_check(outcome: CheckOutcome) -> str:
    """Show where the study stands, then what its chemistry gives to think about."""
    lines = [f"  {_STATES[line.state]}  {line.text}" for line in outcome.status]
    if outcome.chemistry:
        lines += ["", "Chemistry (advice; what a name reads as may be wrong)"]
        lines.append(findings_text(_with_source(one) for one in outcome.chemistry))
    return "\n".join([outcome.session.study.about.title, *lines])


def _with_source(finding: Finding) -> Finding:
    return replace(finding, advice=f"{finding.advice} Source: {finding.source}")


def show_plan(outcome: PlanOutcome) -> str:
    """Show why this layout, what it costs, and the runs in bench order."""
    entry = outcome.round
    parts = [
        f"Layout: {entry.layout} for {' + '.join(entry.models)}; seed {entry.seed}",
        "\n".join(paragraph(reason) for reason in entry.reasons),
        runs_text(outcome.plan),
        paragraph(SAFETY),
        f"Next: millbase sheet {typed(outcome.session.folder.path)}",
    ]
    return "\n\n".join(part for part in parts if part)


def show_sheet(outcome: SheetOutcome) -> str:
    """Name the sheets."""
    return "\n".join(str(file) for file in outcome.files)


def runs_text(plan: Plan) -> str:
    """Set out the runs, one a line, in bench order."""
    stages = {"day": plan.day, "batch": plan.batch, "sample": plan.sample, "panel": plan.panel}
    shown = {name: column for name, column in stages.items() if any(n is not None for n in column)}
    rows = []
    for i, run in enumerate(plan.run):
        settings = plan.settings.row(i).values()
        rows.append(
            [
                str(run),
                *("" if column[i] is None else str(column[i]) for column in shown.values()),
                plan.control_names.get(run, plan.kind[i]),
                *(v if isinstance(v, str) else "" if v is None else plain(v) for v in settings),
            ]
        )
    return text_table(["run", *shown, "kind", *_short(plan.settings.names)], rows)


def _short(names: tuple[str, ...]) -> list[str]:
    """Shorten names so that a row has a chance to fit the screen."""
    room = max(8, (WIDTH - 40) // max(len(names), 1))
    return [shortened(name, room) for name in names]
