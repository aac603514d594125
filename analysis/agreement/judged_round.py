"""A round of confirmation batches as it stands, with its verdict in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis.agreement.confirmation import RoundOutcome
from analysis.agreement.plant import PlantOutcome
from analysis.agreement.reasons import NextRound, Reason
from doe.study.confirmation import Confirmation
from doe.study.sentence import begun

Verdict = Literal["confirmed", "not confirmed", "open", ""]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JudgedRound:
    """A round as it stands.

    Attributes:
        outcome: Held against its rule.
        plant: Scatter and offset of the plant, response by response.
        reasons: If it failed: why, the likeliest first.
        next: If it failed: the best next round.
        taken_in: Whether the models are built on it now.
        changed: What has changed since it was planned, in words.
    """

    outcome: RoundOutcome
    plant: tuple[PlantOutcome, ...] = ()
    reasons: tuple[Reason, ...] = ()
    next: NextRound | None = None
    taken_in: bool = False
    changed: tuple[str, ...] = ()

    @property
    def entry(self) -> Confirmation:
        """What was frozen."""
        return self.outcome.entry

    @property
    def state(self) -> str:
        """planned, waiting, judged or taken in."""
        return "taken in" if self.taken_in else self.outcome.state

    @property
    def verdict(self) -> Verdict:
        """What the batches say; empty while they wait."""
        if self.outcome.state != "judged":
            return ""
        passed = self.outcome.passed
        return "open" if passed is None else "confirmed" if passed else "not confirmed"

    def head(self) -> str:
        """Name it where a sentence begins."""
        return begun(self.entry.words)

    def waiting_words(self) -> str:
        """Say what waits."""
        named = [
            f"{name} of run{'s' if len(runs) > 1 else ''} {', '.join(map(str, runs))}"
            for name, runs in self.outcome.waiting.items()
        ]
        return f"{self.head()} waits for readings: {'; '.join(named)}."

    def verdict_words(self) -> str:
        """Say the verdict in a sentence or two."""
        outcome = self.outcome
        if outcome.state != "judged":
            return self.waiting_words()
        if outcome.passed is None:
            return f"{self.head()}: open. No batch gave a value of {', '.join(outcome.lacking)}."
        if outcome.passed:
            means = "" if self.entry.where == "plant" else "every mean lies where foretold, and "
            return f"{self.head()}: confirmed; {means}every batch is within the limits."
        return f"{self.head()}: NOT confirmed. {self.why_words()}"

    def why_words(self) -> str:
        """Say which responses speak against the formula; nothing where none does."""
        responses = self.outcome.responses
        off = [one.response for one in responses if one.is_off]
        missed = [one.response for one in responses if one.within is False]
        words = []
        if off:
            words.append(f"The mean lies outside its interval: {', '.join(off)}.")
        if missed:
            words.append(f"Batches miss a limit: {', '.join(missed)}.")
        return " ".join(words)
