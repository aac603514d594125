"""If confirmation fails: what speaks for which reason, and the best next round.

The points are our own rule of thumb: two for what a test shows, one for what only fits. They rank
the reasons; they are no probabilities.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Literal

from analysis.agreement.confirmation import ResponseOutcome, RoundOutcome
from analysis.agreement.plant import PlantOutcome
from doe.study.confirmation import Confirmation

Cause = Literal["block", "model", "batch", "settings", "limits", "scatter", "plant"]
# A test that chance passes once in twenty.
DOUBTED_P = 0.05
# All means off by more than this many standard deviations count as shifted together.
SHIFTED = 1.0
# Settings as made explain a mean if they foretell at least this part of what it is off by.
EXPLAINED = 0.5
SHOWN, FITS = 2, 1

TITLES: Mapping[Cause, str] = {
    "block": "The day, the materials or the test have drifted",
    "model": "The model is wrong there",
    "batch": "One batch went wrong",
    "settings": "The batches were not made as planned",
    "limits": "The formula lies too near a limit",
    "scatter": "The batches scatter more than the models know",
    "plant": "The plant lies off the laboratory",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One possible reason.

    Attributes:
        cause: Which.
        points: What speaks for it less what speaks against it.
        evidence: What speaks for it and against it, sentences.
    """

    cause: Cause
    points: int
    evidence: tuple[str, ...]

    @property
    def title(self) -> str:
        """In words."""
        return TITLES[self.cause]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRound:
    """What to do next.

    Attributes:
        command: What to type after `millbase`, `STUDY` for the folder.
        why: Why, a sentence.
    """

    command: str
    why: str


def again_command(entry: Confirmation) -> str:
    """Give what to type after `millbase` for another round of the same kind."""
    return f"confirm STUDY {'--plant --again' if entry.where == 'plant' else '--again'}"


def weigh_reasons(
    outcome: RoundOutcome, explained: Mapping[str, float], plant: Sequence[PlantOutcome] = ()
) -> tuple[Reason, ...]:
    """Weigh the reasons of a failure; none where nothing failed.

    Args:
        outcome: The judged round.
        explained: What the settings as made foretell that each mean is off, as a part of what it is
            off by.
        plant: Scatter and offset of the plant; empty in the laboratory.
    """
    if outcome.passed is not False:
        return ()
    off = [one for one in outcome.responses if one.is_off]
    moved = _off_in_plant(outcome, plant)
    near = tuple(_limits(outcome, set(moved)))
    found = [Reason(cause="limits", points=SHOWN, evidence=near)] if near and not off else []
    found += [_summed("plant", iter(moved.values()))]
    found += [_summed("block", _block(outcome, off)), _summed("batch", _batch(outcome))]
    if off:
        found += [
            _summed("model", _model(outcome, off)),
            _summed("settings", _settings(off, explained)),
        ]
    found.append(_summed("scatter", _scatter(outcome)))
    kept = [one for one in found if one.points > 0]
    return tuple(sorted(kept, key=lambda one: -one.points))


def next_round(outcome: RoundOutcome, reasons: Sequence[Reason]) -> NextRound | None:
    """Give the best next round; None where the batches confirm the formula or wait."""
    if outcome.passed is not False:
        return None
    first = reasons[0].cause if reasons else "model"
    advice = _ADVICE[first]
    if outcome.entry.where == "plant":
        return NextRound(command=again_command(outcome.entry), why=advice.in_plant)
    off = [one for one in outcome.responses if one.is_off]
    poor = any(p is not None and p < DOUBTED_P for p in (one.frozen.lack_of_fit for one in off))
    if first == "model" and poor:
        return NextRound(
            command="extend STUDY --for model",
            why="its tests of fit spoke against the model before; a larger one needs more runs",
        )
    return NextRound(command=advice.command, why=advice.why)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Advice:
    """What to do about a cause.

    Attributes:
        command: What to type after `millbase` where the laboratory made the batches.
        why: Why there.
        in_plant: Why new plant batches, which are all that is asked for there: they say nothing
            against the laboratory's models.
    """

    command: str
    why: str
    in_plant: str = "new plant batches tell whether it comes back"


_FROM_PLANT = (
    "find what the plant does otherwise than the laboratory, or adjust the formula in the plant by "
    "the offset, first; new plant batches then tell whether it is mended"
)
_ADVICE: Mapping[Cause, _Advice] = {
    "block": _Advice(
        command="extend STUDY --for replicates",
        why="repeats of earlier runs beside new ones tell how far the day or the materials moved",
    ),
    "model": _Advice(
        command="extend STUDY --for compromise",
        why="runs round the compromise show what the surface is there",
    ),
    "batch": _Advice(
        command="confirm STUDY --again",
        why="new batches tell whether that one was the odd one; look for what was done otherwise",
        in_plant="look for what was done otherwise in that batch first; new plant batches tell "
        "whether it was the odd one",
    ),
    "settings": _Advice(
        command="confirm STUDY --again",
        why="the formula was not tried as planned: make it again with the settings held",
    ),
    "limits": _Advice(
        command="choose STUDY --within-limits",
        why="the models were right; it is the settings that must keep further from the limit",
        in_plant="no offset of the plant is told from its scatter yet, which more plant batches "
        "do; if none shows, keep the settings further from the limit (choose STUDY "
        "--within-limits)",
    ),
    "scatter": _Advice(
        command="extend STUDY --for replicates",
        why="replicates tell the scatter of batches better, on which every interval rests",
        in_plant="look for what varies from batch to batch in the plant first; more plant batches "
        "tell its scatter",
    ),
    "plant": _Advice(
        command="confirm STUDY --plant --again", why=_FROM_PLANT, in_plant=_FROM_PLANT
    ),
}


def _summed(cause: Cause, told: Iterator[tuple[int, str]]) -> Reason:
    known = list(told)
    return Reason(
        cause=cause,
        points=sum(points for points, _ in known),
        evidence=tuple(words for _, words in known),
    )


def _off_in_plant(
    outcome: RoundOutcome, plant: Sequence[PlantOutcome]
) -> dict[str, tuple[int, str]]:
    """Give the responses whose limit was missed on the side to which the plant lies off."""
    told = {one.response: one for one in plant if one.is_told}
    found: dict[str, tuple[int, str]] = {}
    for one in outcome.responses:
        own = told.get(one.response)
        if one.within is not False or own is None or own.offset_interval is None:
            continue
        higher = own.mean > one.frozen.value
        if one.frozen.limits[1 if higher else 0] is None:
            continue
        low, high = own.offset_interval
        unit = f" {one.frozen.unit}" if own.offset_is == "difference" and one.frozen.unit else ""
        found[one.response] = (
            SHOWN,
            f"{one.response}: the plant lies {'higher' if higher else 'lower'} than the "
            f"laboratory's models foretell, {own.offset_is} {own.offset:.3g}{unit} "
            f"({low:.3g} to {high:.3g}), towards the limit that was missed.",
        )
    return found


def _limits(outcome: RoundOutcome, explained: Set[str]) -> Iterator[str]:
    for one in outcome.responses:
        if one.within is False and one.response not in explained:
            missed = [str(own.batch) for own in one.batches if own.within is False]
            noun = "batch" if len(missed) == 1 else "batches"
            if one.inside is None:
                yield f"{one.response}: {noun} {', '.join(missed)} missed a limit."
            else:
                yield (
                    f"{one.response}: the mean came out as foretold, and {noun} "
                    f"{', '.join(missed)} missed a limit all the same."
                )


def _block(outcome: RoundOutcome, off: Sequence[ResponseOutcome]) -> Iterator[tuple[int, str]]:
    run = [(one, control) for one in off for control in one.controls]
    for one, control in run:
        same = control.off and one.t is not None and control.t * one.t > 0.0
        if same:
            way = "higher" if control.t > 0.0 else "lower"
            yield (
                SHOWN,
                f"{one.response}: the control '{control.control}' came out {way} too "
                f"({control.value:.4g} against {control.before:.4g} {one.frozen.unit})".rstrip()
                + ".",
            )
    if run and not any(control.off for _, control in run):
        yield -SHOWN, "The controls of the round came out as before: the day was as other days."
    judged = [one for one in outcome.responses if one.t is not None and one.inside is not None]
    if off and len(judged) > 1 and all(abs(one.t or 0.0) > SHIFTED for one in judged):
        yield FITS, f"All {len(judged)} responses came out shifted at once."
    if off and not run:
        new = ", ".join(dict.fromkeys(name for one in off for name in one.new_controls))
        words = (
            f"Controls that were not run before ({new}) cannot rule out a drift."
            if new
            else "No control was run beside the batches, so that a drift cannot be ruled out."
        )
        yield FITS, words


def _model(outcome: RoundOutcome, off: Sequence[ResponseOutcome]) -> Iterator[tuple[int, str]]:
    for one in off:
        p = one.frozen.lack_of_fit
        if p is not None and p < DOUBTED_P:
            yield SHOWN, f"{one.response}: its model showed lack of fit before (p = {p:.3f})."
    if not outcome.entry.inside:
        yield SHOWN, "The settings lie outside the region that was tried."
    elif outcome.entry.at_edge:
        yield (
            FITS,
            f"The settings lie at the end of a range ({', '.join(outcome.entry.at_edge)}), where "
            "few runs hold the surface.",
        )
    judged = [one for one in outcome.responses if one.inside is not None]
    right = [one.response for one in judged if one.inside]
    if right:
        yield FITS, f"Other responses came out as foretold ({', '.join(right)})."
    controls = [control for one in off for control in one.controls]
    if controls and not any(control.off for control in controls):
        yield FITS, "The controls came out as before, so that the formula alone is off."


def _batch(outcome: RoundOutcome) -> Iterator[tuple[int, str]]:
    for one in outcome.responses:
        if one.inside is not False and one.within is not False:
            continue
        for own in one.batches:
            if own.apart:
                yield (
                    SHOWN,
                    f"{one.response}: batch {own.batch} lies apart from the others, beyond what "
                    "batches scatter.",
                )
        if any(own.flag == "gelled" for own in one.batches):
            yield FITS, f"{one.response}: a batch gelled."


def _settings(
    off: Sequence[ResponseOutcome], explained: Mapping[str, float]
) -> Iterator[tuple[int, str]]:
    for one in off:
        part = explained.get(one.response, 0.0)
        if part >= EXPLAINED:
            yield (
                SHOWN,
                f"{one.response}: the settings as they were made foretell {part:.0%} of what it is "
                "off by.",
            )


def _scatter(outcome: RoundOutcome) -> Iterator[tuple[int, str]]:
    for one in outcome.responses:
        if one.scatter_p is not None and one.scatter_p < DOUBTED_P:
            yield (
                SHOWN,
                f"{one.response}: the batches scatter {(one.scatter_ratio or 0.0) ** 0.5:.1f} "
                "times as far as foretold.",
            )
