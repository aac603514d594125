"""What the decision says first where batches did not confirm the recipe, or an agreement is old."""

from __future__ import annotations

import math
from collections.abc import Mapping

from analysis.agreement.judged_round import JudgedRound
from analysis.report.content import ReportContent

# Settings that were written and read again are the same to this part.
_SAME = 1e-6
_PROPOSE = "millbase agree STUDY --propose"


def refuting(content: ReportContent) -> JudgedRound | None:
    """Give the latest round of the laboratory if its batches speak against the recipe.

    A round that is built into the models speaks only against the settings that it was made at.
    """
    judged = [
        one
        for one in content.confirmations
        if one.entry.where == "laboratory" and one.outcome.state == "judged"
    ]
    if not judged or judged[-1].outcome.passed is not False:
        return None
    last, compromise = judged[-1], content.compromise
    if last.taken_in and (
        compromise is None or not _same(last.entry.settings, compromise.best.settings)
    ):
        return None
    return last


def refuted_steps(content: ReportContent) -> tuple[str, ...]:
    """Say what to do first: the next round, then a new version of the agreement."""
    failed, steps = refuting(content), []
    if failed is not None and failed.next is not None:
        steps.append(
            f"The batches did not confirm it: {failed.next.why}: millbase {failed.next.command}"
        )
    agreed = content.agreed
    match = agreed.match if agreed is not None else None
    if agreed is None or match is None:
        return tuple(steps)
    number = agreed.version.number
    if match.failed:
        steps.append(
            f"Propose other settings than those of version {number}, which batches did not "
            f"confirm, once the models know better: {_PROPOSE}"
        )
    elif match.judged:
        steps.append(
            f"Propose a new version of the agreement, as limits are others than in version "
            f"{number} ({'; '.join(match.judged)}): {_PROPOSE}"
        )
    elif match.changed:
        steps.append(
            f"Propose a new version of the agreement, as version {number} no longer matches the "
            f"study: {_PROPOSE}"
        )
    return tuple(steps)


def _same(one: Mapping[str, float | str], other: Mapping[str, float | str]) -> bool:
    return set(one) == set(other) and all(_same_value(one[name], other[name]) for name in one)


def _same_value(one: float | str, other: float | str) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    return math.isclose(one, other, rel_tol=_SAME, abs_tol=_SAME)
