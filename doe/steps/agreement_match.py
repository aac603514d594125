"""Whether the agreement of a study still matches it."""

from __future__ import annotations

from analysis.agreement.agreement import expected_readings
from analysis.agreement.matching import Match, changed_inputs, match_version
from doe.errors import DoeError
from doe.steps.agreed_ground import confirmations_now, ground_of
from doe.steps.analysis_of import StudyAnalysis, analyse
from doe.steps.model_choice import FitOptions
from doe.steps.session import Session
from doe.study.agreement import AgreedReading, Version


def match_now(session: Session, version: Version, analysis: StudyAnalysis | None = None) -> Match:
    """Hold a version against a study as it is; models are made only where an input changed.

    Args:
        session: The inputs.
        version: The version.
        analysis: The models, where somebody has made them already.
    """
    inputs = session.inputs()
    has_runs = session.plan is not None
    rounds = confirmations_now(session, version.settings_table()) if has_runs else ()
    if not changed_inputs(version, inputs):
        return Match(changed=(), moved=(), confirmations=rounds)
    earlier = session.as_of(version.last_run).inputs()
    now = _foretold(session, version, analysis)
    return match_version(version, inputs, earlier, now, rounds)


def _foretold(
    session: Session, version: Version, analysis: StudyAnalysis | None
) -> tuple[AgreedReading, ...] | None:
    """Foretell at the settings of a version; None where they mean nothing any more."""
    try:
        made = analysis or analyse(session, FitOptions(level=version.level))
        return expected_readings(ground_of(made, version.level), version.settings_table())
    except (DoeError, ValueError):
        # No model, or a factor or level of the version that the brief has no more.
        return None
