"""Where a study stands, read off its inputs: what is done, missing, waiting or doubtful."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace

from analysis.lab.said import reasons_to_leave_out
from doe.errors import DoeError
from doe.methods.registry import is_computed
from doe.sheets.workbook_in import missing_runs
from doe.steps.agreement_status import agreement_status
from doe.steps.analysis_of import StudyAnalysis, analyse
from doe.steps.confirm_status import confirmation_status
from doe.steps.doubts import StudyDoubts, in_short, study_doubts
from doe.steps.model_choice import FitOptions
from doe.steps.session import Session
from doe.steps.sheet import WORKBOOK
from doe.study.finding import Finding
from doe.study.hashes import region_hash
from doe.study.plan import Round
from doe.study.status import State, StatusLine


def study_status(
    session: Session, analysis: StudyAnalysis | None
) -> tuple[tuple[StatusLine, ...], tuple[Finding, ...]]:
    """Say where a study stands and what is wrong with it.

    Args:
        session: The inputs.
        analysis: Its models, None where nothing can be fitted.

    Returns:
        Status lines in the order of the work; findings over all parts.
    """
    lines = [_brief_line(session), *_plan_lines(session)]
    findings = [*_plan_findings(session)]
    if session.plan is not None:
        lines += _reading_lines(session, analysis)
        doubts = study_doubts(session)
        lines += _doubt_lines(doubts)
        lines += _model_lines(session, analysis)
        short = in_short(doubts)
        findings += [*doubts.findings, *(f for f in _analysis_findings(analysis) if f not in short)]
    confirmed, of_confirmation = confirmation_status(session)
    lines += [*confirmed, *_decision_lines(session)]
    findings += of_confirmation
    agreed, of_agreement = agreement_status(session, analysis)
    return (*lines, *agreed), (*findings, *of_agreement)


def analysis_if_any(session: Session, *, with_full: bool = False) -> StudyAnalysis | None:
    """Analyse what can be analysed; None where nothing can be fitted yet."""
    try:
        return analyse(session, FitOptions(with_full=with_full, with_forms=with_full))
    except DoeError:
        return None


def _line(state: State, text: str) -> StatusLine:
    return StatusLine(state=state, text=text)


def _brief_line(session: Session) -> StatusLine:
    study = session.study
    parts = [
        _counted(len(study.additives), "additive"),
        _counted(len(study.varied_factors), "factor"),
        _counted(len(study.responses), "response"),
    ]
    return _line("done", f"Brief: {', '.join(part for part in parts if part)}.")


def _counted(n: int, noun: str) -> str:
    return f"{n} {noun}{'s' if n > 1 else ''}" if n else ""


def _plan_lines(session: Session) -> Iterator[StatusLine]:
    plan = session.plan
    if plan is None:
        yield _line("missing", "Plan: no runs yet ('millbase plan', or 'millbase adopt' a table).")
        return
    controls = sum(kind == "control" for kind in plan.kind)
    made = ", ".join(f"round {entry.number}: {_made_as(entry)}" for entry in plan.rounds)
    beside = f" and {controls} control runs" if controls else ""
    yield _line("done", f"Plan: {len(plan) - controls} runs{beside} ({made}).")
    if all(entry.layout == "adopted" for entry in plan.rounds):
        return
    workbook = session.folder.read_file(WORKBOOK)
    if workbook is None:
        yield _line("missing", "Sheets: not made yet ('millbase sheet').")
    elif gone := missing_runs(workbook, plan):
        yield _line(
            "doubtful",
            f"Sheets: {WORKBOOK} does not hold {len(gone)} runs as the plan has them now; make it "
            "again ('millbase sheet --replace').",
        )
    else:
        yield _line("done", f"Sheets: {WORKBOOK}, cards and labels.")


def _made_as(entry: Round) -> str:
    purpose = entry.details.get("for")
    return f"{entry.layout} for {purpose}" if purpose else entry.layout


def _plan_findings(session: Session) -> Iterator[Finding]:
    if session.plan is None:
        return
    now = region_hash(session.study)
    changed = [entry.number for entry in session.plan.rounds if entry.region_hash != now]
    if changed:
        yield Finding(
            level="caution",
            what="The ranges, limits or stages of the brief have changed since round "
            f"{', '.join(map(str, changed))} was planned; its runs stay valid.",
            evidence={"rounds": ", ".join(map(str, changed))},
            advice="Models and the compromise follow the brief as it is now.",
        )


def _reading_lines(session: Session, analysis: StudyAnalysis | None) -> Iterator[StatusLine]:
    plan = session.plan
    if plan is None:
        return
    read = {(reading.response, reading.run) for reading in session.readings.current()}
    for response in session.study.responses:
        if is_computed(response):
            continue
        said = reasons_to_leave_out(session.choices, plan, plan.day, response.name)
        waiting = [run for run in plan.run if (response.name, run) not in read and run not in said]
        if not waiting:
            yield _line("done", f"Readings of {response.name}: all {len(plan)} runs.")
        elif len(waiting) == len(plan):
            yield _line("missing", f"Readings of {response.name}: none yet ('millbase enter').")
        else:
            named = ", ".join(map(str, waiting[:8])) + (" …" if len(waiting) > 8 else "")
            yield _line(
                "waiting",
                f"Readings of {response.name}: {len(waiting)} "
                f"{'run waits' if len(waiting) == 1 else 'runs wait'} ({named}).",
            )


def _doubt_lines(doubts: StudyDoubts) -> Iterator[StatusLine]:
    """Count the doubts about what came from the bench; nothing to say where there are none."""
    left, settled = len(doubts.findings), doubts.settled
    parts = [
        *([f"{left} about what came from the bench, below"] if left else []),
        *([f"{settled} settled by note"] if settled else []),
    ]
    if parts:
        yield _line("doubtful" if left else "done", f"Doubts: {', '.join(parts)}.")


def _model_lines(session: Session, analysis: StudyAnalysis | None) -> Iterator[StatusLine]:
    if analysis is None:
        yield _line("missing", f"Models: none yet. {_why_no_model(session)}".rstrip())
        return
    for name, fitted in analysis.fitted.items():
        doubts = sum(finding.level != "note" for finding in fitted.findings)
        state: State = "doubtful" if doubts else "done"
        cautions = f"{doubts} caution" if doubts == 1 else f"{doubts} cautions"
        beside = f", {cautions} ('millbase fit')" if doubts else ""
        yield _line(
            state, f"Model of {name}: {fitted.fit.model.name}, {fitted.fit.n} runs{beside}."
        )
    for name, why in analysis.not_fitted.items():
        yield _line("missing", f"Model of {name}: none. {why}")
    for name, exact in analysis.computed.items():
        yield _line("done", f"{name}: computed from the recipe ({exact.method}), no readings.")
    for name, why in analysis.not_computed.items():
        yield _line("missing", f"{name}: cannot be computed from the recipe. {why}")


def _why_no_model(session: Session) -> str:
    """Say why nothing can be fitted; nothing to say where no reading has come in yet."""
    if not session.readings.current():
        return "They wait for readings."
    try:
        analyse(session, FitOptions())
    except DoeError as error:
        return error.faults[0].sentence()
    return ""


def _analysis_findings(analysis: StudyAnalysis | None) -> Iterator[Finding]:
    """Give cautions and stops, each once, with the responses that it is about."""
    if analysis is None:
        return
    yield from analysis.region.findings
    yield from analysis.findings
    about: dict[tuple[str, str], tuple[Finding, list[str]]] = {}
    for name, fitted in analysis.fitted.items():
        for finding in fitted.findings:
            if finding.level != "note":
                about.setdefault((finding.what, finding.advice), (finding, []))[1].append(name)
    for finding, names in about.values():
        yield replace(finding, what=f"{', '.join(names)}: {finding.what}")


def _decision_lines(session: Session) -> Iterator[StatusLine]:
    if session.choices.chosen is not None:
        yield _line("done", "Settings: chosen, on record in choices.toml.")
    for name, title in (("results/choose.json", "Compromise"), ("results/report.json", "Report")):
        data = session.folder.read_file(name)
        command = "choose" if title == "Compromise" else "report"
        if data is None:
            yield _line("missing", f"{title}: not made yet ('millbase {command}').")
        elif _inputs_of(data) == session.inputs():
            yield _line("done", f"{title}: up to date.")
        else:
            yield _line(
                "doubtful",
                f"{title}: its inputs have changed since; make it again ('millbase {command}').",
            )


def _inputs_of(result: bytes) -> object:
    """Read what a result rests on; None where somebody else has written into the file."""
    try:
        known = json.loads(result)
    except ValueError:
        return None
    return known.get("inputs") if isinstance(known, dict) else None
