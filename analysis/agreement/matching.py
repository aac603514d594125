"""Whether an agreement still matches: which inputs changed since, and what is foretold now."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from doe.study.agreement import AgreedConfirmation, AgreedReading, Version
from doe.study.finding import Finding

# Inputs in the order in which they are told, and what each is.
INPUT_WORDS: Mapping[str, str] = {
    "region": "the ranges, limits or stages of the brief",
    "goals": "the goals of the brief (responses, roles, controls, prices or texts)",
    "plan": "the runs of the plan",
    "readings": "the readings",
    "actuals": "what was really weighed and set",
    "choices": "the decisions in choices.toml",
}
# Numbers of another processor may differ in their last digits; these do not move.
SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """One response that is foretold otherwise now.

    Attributes:
        response: Its name.
        unit: Its unit.
        before: As agreed.
        low: Lower end of where the true value was said to lie; None without an error.
        high: Upper end.
        now: As the models have it now; None where nothing tells it any more.
    """

    response: str
    unit: str
    before: float
    low: float | None
    high: float | None
    now: float | None

    @property
    def is_beyond(self) -> bool:
        """Whether it lies outside the interval that was agreed on, or is told no more."""
        if self.now is None or self.low is None or self.high is None:
            return True
        return not self.low <= self.now <= self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """Whether a version matches what the study says now.

    Attributes:
        changed: Names of the inputs that changed.
        moved: Responses that are foretold otherwise; None where nothing can be foretold now.
        judged: Responses whose limits or verdict are others now, a phrase each.
        runs_added: Whether only runs and what they told were added, and no model rests on them.
        confirmations: Rounds of confirmation batches as they stand now, oldest first.
    """

    changed: tuple[str, ...]
    moved: tuple[Moved, ...] | None
    judged: tuple[str, ...] = ()
    runs_added: bool = False
    confirmations: tuple[AgreedConfirmation, ...] = ()

    @property
    def failed(self) -> tuple[AgreedConfirmation, ...]:
        """Latest rounds at the settings of the version, of each place, that did not confirm it."""
        return latest_here(self.confirmations, "not confirmed")

    @property
    def confirmed(self) -> tuple[AgreedConfirmation, ...]:
        """Latest rounds at the settings of the version, of each place, that confirmed it."""
        return latest_here(self.confirmations, "confirmed")

    @property
    def holds(self) -> bool:
        """Whether the agreement still matches."""
        return not self.changed

    @property
    def beyond(self) -> tuple[Moved, ...]:
        """Responses that moved beyond their interval."""
        return tuple(one for one in self.moved or () if one.is_beyond)

    def findings(self, number: int) -> tuple[Finding, ...]:
        """Say it, for whoever looks at the study."""
        return tuple(_findings(self, number))


def latest_here(
    confirmations: Sequence[AgreedConfirmation], verdict: Literal["confirmed", "not confirmed"]
) -> tuple[AgreedConfirmation, ...]:
    """Keep the latest rounds of each place at the settings of a version, where they say so."""
    told = [
        one
        for one in confirmations
        if one.here == "yes" and one.verdict in ("confirmed", "not confirmed")
    ]
    latest = {one.where: one for one in told}
    return tuple(one for one in latest.values() if one.verdict == verdict)


def match_version(
    version: Version,
    inputs: Mapping[str, str],
    earlier: Mapping[str, str],
    now: Sequence[AgreedReading] | None,
    confirmations: Sequence[AgreedConfirmation] = (),
) -> Match:
    """Hold a version against the study as it is.

    Args:
        version: The version.
        inputs: Hash of each input now.
        earlier: Hash of each input now but for the runs that came after the version.
        now: What is foretold now at the settings of the version; None where nothing can be.
        confirmations: Rounds of confirmation batches as they stand now, oldest first.

    Returns:
        Later runs count only if something is foretold otherwise or a confirmation failed that the
        version does not name: runs that wait for readings break no agreement, nor do confirmation
        batches that no model was built on.
    """
    changed = changed_inputs(version, inputs)
    moved = None if now is None else tuple(_moved(version.readings, now))
    failed = set(latest_here(confirmations, "not confirmed"))
    runs_added = (
        bool(changed)
        and moved == ()
        and not changed_inputs(version, earlier)
        and failed <= set(version.confirmations)
    )
    return Match(
        changed=() if runs_added else changed,
        moved=moved,
        judged=tuple(_judged_otherwise(version.readings, now or ())),
        runs_added=runs_added,
        confirmations=tuple(confirmations),
    )


def changed_inputs(version: Version, inputs: Mapping[str, str]) -> tuple[str, ...]:
    """Name the inputs that are not what a version names."""
    return tuple(name for name in INPUT_WORDS if version.inputs.get(name) != inputs.get(name))


def _moved(before: Sequence[AgreedReading], now: Sequence[AgreedReading]) -> Iterator[Moved]:
    known = {one.response: one for one in now}
    for one in before:
        found = known.get(one.response)
        # A setting that the models ask for and the version does not have gives no number.
        value = found.value if found is not None and math.isfinite(found.value) else None
        if value is not None and math.isclose(value, one.value, rel_tol=SAME, abs_tol=SAME):
            continue
        yield Moved(
            response=one.response, unit=one.unit, before=one.value, low=one.true_low,
            high=one.true_high, now=value,
        )  # fmt: skip


def _judged_otherwise(
    before: Sequence[AgreedReading], now: Sequence[AgreedReading]
) -> Iterator[str]:
    known = {one.response: one for one in before}
    for one in now:
        was = known.get(one.response)
        if was is None:
            yield f"{one.response} is new"
        elif (was.limits, was.verdict) != (one.limits, one.verdict):
            yield f"{one.response} {_judged(was)} then, {_judged(one)} now"


def _judged(one: AgreedReading) -> str:
    limits = " and ".join(one.limits) or "no limit"
    return f"{limits} ({one.verdict})" if one.verdict else limits


def _findings(match: Match, number: int) -> Iterator[Finding]:
    again = "Propose a new version with 'millbase agree STUDY --propose', and let each role speak."
    if match.failed:
        yield Finding(
            level="caution",
            what="Confirmation failed: " + " ".join(one.words for one in match.failed),
            advice="What it says and the best next round: 'millbase confirm STUDY --judge'. Other "
            "settings, or the same for a stated reason: 'millbase agree STUDY --propose'.",
        )
    if match.changed:
        named = "; ".join(INPUT_WORDS[name] for name in match.changed)
        yield Finding(
            level="caution",
            what=f"Version {number} of the agreement no longer matches the study. Changed since: "
            f"{named}. {_moved_words(match)}",
            evidence={"changed": ", ".join(match.changed)},
            advice=again,
        )
    elif match.runs_added:
        yield Finding(
            level="note",
            what=" ".join((
                f"Runs were added since version {number} of the agreement; nothing is foretold "
                "otherwise yet.", *(one.words for one in match.confirmed)
            )),
        )  # fmt: skip


def _moved_words(match: Match) -> str:
    limits = f"Limits: {'; '.join(match.judged)}." if match.judged else ""
    if match.moved == () and (match.judged or match.failed):
        # The models say the same; a limit or a batch does not, and that comes first.
        return limits or "The models alone foretell the same; the batches did not come out so."
    return f"{_foretold_words(match)} {limits}".rstrip()


def _foretold_words(match: Match) -> str:
    if match.moved is None:
        return "Nothing can be foretold now."
    if not match.moved:
        return "Nothing is foretold otherwise."
    beyond = match.beyond
    if not beyond:
        return "What is foretold moved, and stays inside the intervals that were agreed on."
    return "Beyond the interval that was agreed on: " + "; ".join(map(_one_moved, beyond)) + "."


def _one_moved(one: Moved) -> str:
    unit = f" {one.unit}" if one.unit else ""
    if one.now is None:
        return f"{one.response} is foretold no more"
    span = "" if one.low is None or one.high is None else f" ({one.low:.4g} to {one.high:.4g})"
    return f"{one.response} {one.before:.4g}{span}{unit} then, {one.now:.4g}{unit} now"
