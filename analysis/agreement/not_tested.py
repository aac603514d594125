"""What nobody has tested: read off the brief, the runs and the models, by rules that are told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from analysis.agreement.end_points import end_point_kind
from doe.methods.registry import FAMILIES, find_method, has_readings
from doe.recipe.name_reading import reads_as
from doe.study.agreement import AgreedConfirmation, Version
from doe.study.brief import Factor, Response, Study
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.sentence import begun, in_quotes, listed

# How sentences on batches begin.
_OF_BATCHES = ("Confirmation: ", "Plant scale: ")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WhatWasDone:
    """What the study has to show.

    Attributes:
        study: The brief.
        plan: The runs; None without.
        settings: Of the recipe, by name.
        is_inside: Whether they lie in the region that was tried.
        n_read: How many runs have a reading, by response.
        not_told: Why a response has no model, by response.
        gelled: Runs that gelled.
        compared: Controls that the recipe was compared with in some response.
        confirmations: Rounds of confirmation batches.
    """

    study: Study
    plan: Plan | None
    settings: Mapping[str, float | str]
    is_inside: bool = True
    n_read: Mapping[str, int] = field(default_factory=dict)
    not_told: Mapping[str, str] = field(default_factory=dict)
    gelled: tuple[int, ...] = ()
    compared: tuple[str, ...] = ()
    confirmations: tuple[AgreedConfirmation, ...] = ()


def not_tested(done: WhatWasDone) -> tuple[str, ...]:
    """List what was not tested, a sentence each: what the next weeks may bring first."""
    return tuple(
        sentence
        for rule in (
            _batches, _settings, _responses, _water, _storage, _end_points, _noise,
            _lots, _controls, _gelling,
        )
        for sentence in rule(done)
    )  # fmt: skip


def not_tested_now(
    version: Version, confirmations: Sequence[AgreedConfirmation]
) -> tuple[str, ...]:
    """List what a version says was not tested, with the batches as they stand now.

    Args:
        version: The version; what it says of other things stands as it was then.
        confirmations: Rounds as they stand now; without any its own sentences stand.
    """
    if not confirmations:
        return version.not_tested
    rest = [line for line in version.not_tested if not line.startswith(_OF_BATCHES)]
    return (*_confirmation(confirmations), *_plant(confirmations), *rest)


def _batches(done: WhatWasDone) -> Iterator[str]:
    yield from _confirmation(done.confirmations)
    yield from _plant(done.confirmations)


def _confirmation(confirmations: Sequence[AgreedConfirmation]) -> Iterator[str]:
    here = [one for one in confirmations if one.where == "laboratory" and one.here == "yes"]
    if not here:
        elsewhere = any(one.where == "laboratory" for one in confirmations)
        beside = " (batches were made at other settings)" if elsewhere else ""
        yield f"Confirmation: no batch was made to confirm these settings{beside}."
    elif not any(one.verdict for one in here):
        yield "Confirmation: batches are planned, and their readings wait."


def _plant(confirmations: Sequence[AgreedConfirmation]) -> Iterator[str]:
    plant = [one for one in confirmations if one.where == "plant" and one.here == "yes"]
    if not any(one.verdict for one in plant):
        yield "Plant scale: every batch was made in the laboratory; no plant batch was judged."


def _settings(done: WhatWasDone) -> Iterator[str]:
    if not done.is_inside:
        yield "Settings: they lie outside the region that was tried: what is foretold is a guess."
    ends = [_end_words(name, value, done.study) for name, value in done.settings.items()]
    named = ", ".join(words for words in ends if words)
    if named:
        yield f"Beyond the ends: {named} lies at an end of its range, and nothing beyond was tried."


def _end_words(name: str, value: float | str, study: Study) -> str:
    if isinstance(value, str):
        return ""
    ends = {one.name: (one.low, one.high) for one in study.additives}
    ends |= {one.name: one.ends for one in study.factors if one.ends is not None}
    if name not in ends:
        return ""
    low, high = ends[name]
    slack = 1e-9 * max(abs(low), abs(high))
    return f"{name} {value:g}" if value <= low + slack or value >= high - slack else ""


def _responses(done: WhatWasDone) -> Iterator[str]:
    for response in done.study.responses:
        if not done.n_read.get(response.name) and has_readings(response):
            method = f" (method: {response.method})" if response.method else ""
            yield f"{begun(response.name)}: in the brief, and no run has a reading{method}."
        elif response.name in done.not_told:
            yield f"{begun(response.name)}: it has no model, so nothing is foretold."


def _water(done: WhatWasDone) -> Iterator[str]:
    own = [one for one in done.study.responses if _is_water_test(one)]
    read = [one for one in own if done.n_read.get(one.name)]
    if not own:
        yield "Water: no response tells what water does to the film."
    for response in read:
        if response.age_d is None:
            yield f"{begun(response.name)} at later ages: the brief names no age of the film."
            continue
        later = [
            one for one in read
            if one.method == response.method and (one.age_d or 0.0) > response.age_d
        ]  # fmt: skip
        if not later:
            yield (
                f"{begun(response.name)} at later ages: films were {response.age_d:g} d old, none "
                "older."
            )


def _is_water_test(response: Response) -> bool:
    method = find_method(response.method) if response.method else None
    by_method = method is not None and method in FAMILIES["water and films"]
    return by_method or reads_as(response.name, "water test")


def _storage(done: WhatWasDone) -> Iterator[str]:
    words = ("storage", "settling", "syneresis", "stability", "after storage", "oven")
    stored = ("change after storage", "pH drift", "settling rating", "syneresis")
    for one in done.study.responses:
        is_stored = (one.method or "") in stored or any(word in fold(one.name) for word in words)
        if is_stored and done.n_read.get(one.name):
            return
    yield "Storage: no response tells how the mill base keeps in the can, warm or cold."


def _end_points(done: WhatWasDone) -> Iterator[str]:
    kinds = {end_point_kind(one) for one in done.study.responses if done.n_read.get(one.name)}
    missing = [kind for kind in ("fineness", "strength", "viscosity") if kind not in kinds]
    if missing:
        was = "was" if len(missing) == 1 else "were"
        yield f"End point of the grind: {listed(missing)} {was} not read."


def _noise(done: WhatWasDone) -> Iterator[str]:
    noise = [factor for factor in done.study.factors if factor.noise]
    still = [factor.name for factor in noise if not _was_varied(factor, done.plan)]
    if still:
        yield f"Drift in production: {listed(still)} was not varied in the runs."
    if not noise:
        yield (
            "Drift in production: no run was made warmer or colder, with harder water or on "
            "another mill."
        )


def _was_varied(factor: Factor, plan: Plan | None) -> bool:
    if plan is None or factor.name not in plan.settings.names:
        return False
    values = plan.settings.column(factor.name)
    return len({value for value in values.tolist() if value == value}) > 1


def _lots(done: WhatWasDone) -> Iterator[str]:
    is_varied = any(
        "lot" in fold(factor.name).split() and _was_varied(factor, done.plan)
        for factor in done.study.factors
    )
    if not is_varied:
        yield "Lots: pigment and additives of other lots."


def _controls(done: WhatWasDone) -> Iterator[str]:
    if done.plan is None or "control" not in done.plan.kind:
        yield "Controls: none was run beside, so the gain on the present formula is not known."
        return
    names = dict.fromkeys(done.plan.control_names.values())
    alone = [name for name in names if fold(name) not in map(fold, done.compared)]
    if alone:
        named = in_quotes(alone)
        yield f"Controls: {named} was run, but could not be compared with the recipe."


def _gelling(done: WhatWasDone) -> Iterator[str]:
    if done.gelled:
        runs = ", ".join(map(str, done.gelled))
        word = "runs" if len(done.gelled) > 1 else "run"
        yield f"Gelling: {word} {runs} gelled, and no model tells where that begins."
