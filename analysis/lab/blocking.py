"""In which blocks the runs were made: the table's own, days, or rounds.

Source:
    DESIGN.md, section 5, "Strata".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analysis.lab.response_data import BlockEffect, Blocking
from doe.study.brief import Study
from doe.study.plan import Plan

# From four on, days say enough of each other to count as drawn from many (DESIGN.md, section 5).
RANDOM_FROM = 4

# The block of runs whose day nobody noted, where others have one.
NOT_NOTED = "not noted"


def blocking_of(
    study: Study, plan: Plan, day: Sequence[int | None], rows: Sequence[int]
) -> Blocking | None:
    """Find the blocks of some runs of a plan.

    Args:
        study: The brief; says what blocks are called and whether they are random.
        plan: The runs. A round's `details` may hold `blocks`, label by run number.
        day: Day of each run of the plan, as done.
        rows: The runs to be fitted, by their place in the plan.

    Returns:
        None where all runs share one block.
    """
    planned = _planned_blocks(plan)
    labels = tuple(planned.get(plan.run[i]) for i in rows)
    if _count(labels) > 1:
        return _of_brief(study, labels)
    rounds = [plan.round[i] for i in rows]
    days = [day[i] for i in rows]
    if len(set(days) - {None}) > 1 or _noted_in_part(days, rounds):
        return _happened(study, "day", _of_days(days, rounds))
    if len(set(rounds)) > 1:
        return _happened(study, "round", tuple(f"{number}" for number in rounds))
    return None


def without_day(blocking: Blocking) -> tuple[bool, ...]:
    """Tell of each run whether it lies in a block of runs whose day nobody noted."""
    by_day = blocking.name == "day" and not blocking.planned
    return tuple(by_day and label is not None and label.startswith(NOT_NOTED)
                 for label in blocking.of)  # fmt: skip


def _noted_in_part(days: Sequence[int | None], rounds: Sequence[int]) -> bool:
    """Tell whether some round has runs with a day and runs without; else rounds tell as much."""
    told = {(number, day is None) for number, day in zip(rounds, days, strict=True)}
    return len(told) > len(set(rounds))


def _of_days(days: Sequence[int | None], rounds: Sequence[int]) -> tuple[str, ...]:
    # Day numbers may start again with each round.
    told = len(set(rounds)) > 1
    return tuple(
        (NOT_NOTED if day is None else f"{day}") + (f" of round {number}" if told else "")
        for day, number in zip(days, rounds, strict=True)
    )


def _planned_blocks(plan: Plan) -> dict[int, str]:
    told = [(entry, entry.details.get("blocks")) for entry in plan.rounds]
    rounds = [(entry, blocks) for entry, blocks in told if isinstance(blocks, Mapping)]
    found: dict[int, str] = {}
    for entry, blocks in rounds:
        # Block numbers may start again with each round.
        of_round = f" of round {entry.number}" if len(rounds) > 1 else ""
        found |= {int(run): f"{label}{of_round}" for run, label in blocks.items() if str(label)}
    return found


def _of_brief(study: Study, labels: tuple[str | None, ...]) -> Blocking:
    block = next((block for block in study.blocks if block.name != "day"), None)
    effect: BlockEffect = block.effect if block and block.effect else "fixed"
    return Blocking(
        name=block.name if block else "block",
        of=labels,
        effect=effect,
        planned=True,
        because="the brief says so" if block and block.effect else "",
    )


def _happened(study: Study, name: str, labels: tuple[str | None, ...]) -> Blocking:
    said = next((b.effect for b in study.blocks if b.name == name and b.effect), None)
    if said is not None:
        return Blocking(
            name=name, of=labels, effect=said, planned=False, because="the brief says so"
        )
    if name == "day" and _set_per_day(study):
        return Blocking(
            name=name, of=labels, effect="random", planned=False, because="a factor is set per day"
        )
    # How many days lie in the block without one, nobody knows: it does not count.
    if _count([label for label in labels if label and not label.startswith(NOT_NOTED)]) >= (
        RANDOM_FROM
    ):
        because = f"there are {RANDOM_FROM} or more of them"
        return Blocking(name=name, of=labels, effect="random", planned=False, because=because)
    return Blocking(name=name, of=labels, effect="fixed", planned=False)


def _set_per_day(study: Study) -> bool:
    package = study.package is not None and study.package.set_per == "day"
    return package or any(factor.set_per == "day" for factor in study.varied_factors)


def _count(labels: Sequence[str | None]) -> int:
    return len({label for label in labels if label is not None})
