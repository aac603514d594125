"""Where the agreement of a study stands, for `check` and the report: a line, and what is wrong."""

from __future__ import annotations

from analysis.agreement.standing import missing_roles, objecting_roles, role_standings
from doe.steps.agreement_match import match_now
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.session import Session
from doe.study.agreement import Version
from doe.study.finding import Finding
from doe.study.status import State, StatusLine


def agreement_status(
    session: Session, analysis: StudyAnalysis | None
) -> tuple[tuple[StatusLine, ...], tuple[Finding, ...]]:
    """Say where the agreement stands and whether it still matches; nothing before there is one."""
    version = session.folder.read_agreement().latest
    if version is None:
        if session.choices.chosen is None:
            return (), ()
        text = "Agreement: none yet ('millbase agree STUDY --propose')."
        return (StatusLine(state="missing", text=text),), ()
    match = match_now(session, version, analysis)
    state, words = _words(session, version)
    if match.failed:
        state, words = "doubtful", f"{words}; its confirmation failed"
    if not match.holds:
        why = f" ({'; '.join(match.judged)})" if match.judged else ""
        state, words = "doubtful", f"{words}; it no longer matches the study{why}"
    name = "final" if version.final is not None else "draft"
    line = StatusLine(state=state, text=f"Agreement: version {version.number}, {name}{words}.")
    return (line,), match.findings(version.number)


def _words(session: Session, version: Version) -> tuple[State, str]:
    standings = role_standings(version, session.study.about.roles)
    missing, objecting = missing_roles(standings), objecting_roles(standings)
    parts = [
        *([f"objecting: {', '.join(objecting)}"] if objecting else []),
        *([f"not spoken: {', '.join(missing)}"] if missing else []),
    ]
    words = f" ({'; '.join(parts)})" if parts else ""
    if objecting:
        on = "; it stays on record, 'millbase agree STUDY --propose' for a new version"
        return "doubtful", f"{words}{on if version.final is not None else ''}"
    if version.final is not None:
        return "done", words
    return "waiting", words or " (every role agrees; 'millbase agree STUDY --final')"
