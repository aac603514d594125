"""Checks on ranges: the ends of a factor, and its own range at a level of a named choice."""

from __future__ import annotations

from collections.abc import Iterator

from doe.study.brief import STAGES, Factor, Study
from doe.study.brief_flaws import NAMES, Flaw
from doe.study.brief_lines import Path


def in_unit(number: float, unit: str) -> str:
    """Write a number with its unit.

    Example:
        >>> in_unit(15.0, "min")
        '15 min'
    """
    return f"{number:g} {unit}".rstrip()


def check_ends(factor: Factor, low: float, high: float, path: Path) -> Iterator[Flaw]:
    """Find ends of a range in the wrong order, or that its spacing cannot take."""
    both = ((*path, "low"), (*path, "high"))
    if not low < high:
        yield Flaw(
            path=(*path, "high") if low > high else (*path, "low"),
            what=f'"{factor.name}" runs from {low:g} to {in_unit(high, factor.unit)}',
            allowed="low below high",
            do="Swap the two." if low > high else "Widen the range, or hold it with value = …",
            rests_on=both,
        )
    if factor.spacing == "log" and low <= 0:
        yield Flaw(
            path=(*path, "low"),
            what=f'"{factor.name}" has spacing = "log" but begins at {in_unit(low, factor.unit)}',
            allowed="low above 0",
            do='Raise low above 0, or take spacing = "even".',
            rests_on=(*both, (*path, "spacing")),
        )


def check_step(factor: Factor, low: float, high: float, path: Path, owner: Path) -> Iterator[Flaw]:
    """Find a step that does not fit into a range; `owner` is the place of the factor."""
    if factor.step is not None and 0 < high - low < factor.step:
        yield Flaw(
            path=(*owner, "step"),
            what=f"the step {in_unit(factor.step, factor.unit)} is larger than the range "
            f"{low:g} to {in_unit(high, factor.unit)}",
            do="Give the smallest difference that the bench can set.",
            rests_on=((*path, "low"), (*path, "high"), (*owner, "step")),
        )


def check_level_ranges(study: Study, factor: Factor, path: Path) -> Iterator[Flaw]:
    """Find what contradicts itself in the ranges that a factor has by level of a choice."""
    for i, one in enumerate(factor.ranges):
        here: Path = (*path, "range", i)
        yield from check_ends(factor, one.low, one.high, here)
        yield from check_step(factor, one.low, one.high, here, path)
        yield from _check_inside(factor, one.low, one.high, here)
        if len(one.when) != 1:
            yield Flaw(
                path=(*here, "when"),
                what=f"this range is for {len(one.when)} conditions",
                allowed="one named choice and one of its levels",
                do='Write when = { choice = "level" }.',
                rests_on=((*here, "when"), NAMES),
            )
            continue
        (choice,) = one.when
        yield from _check_when(study, factor, choice, here)
        yield from _check_when_once(factor, i, path)


def _check_inside(factor: Factor, low: float, high: float, path: Path) -> Iterator[Flaw]:
    if factor.low is None or factor.high is None or not low < high:
        return
    if low < factor.low or high > factor.high:
        yield Flaw(
            path=(*path, "low" if low < factor.low else "high"),
            what=f"the range {low:g} to {in_unit(high, factor.unit)} leaves the "
            f'{factor.low:g} to {factor.high:g} of "{factor.name}"',
            do="Widen low and high of the factor to the least and the greatest of its ranges.",
            rests_on=(path, (*path[:-2], "low"), (*path[:-2], "high")),
        )


def _check_when(study: Study, factor: Factor, choice: str, path: Path) -> Iterator[Flaw]:
    kinds = {one.name: one.kind for one in study.factors}
    stages = {one.name: one.set_per for one in study.factors}
    if kinds.get(choice) != "choice" or choice == factor.name:
        yield Flaw(
            path=(*path, "when", choice),
            what=f'"{choice}" is no named choice that varies',
            allowed=", ".join(f'"{name}"' for name, kind in kinds.items() if kind == "choice"),
            do="A range of its own goes with a level of a factor whose levels are words.",
        )
    elif STAGES.index(stages[choice]) > STAGES.index(factor.set_per):
        yield Flaw(
            path=(*path, "when", choice),
            what=f'the range of "{factor.name}", set per {factor.set_per}, hangs on "{choice}", '
            f"which is set later, per {stages[choice]}",
            do=f'Set "{factor.name}" per {stages[choice]} too, or "{choice}" per {factor.set_per}.',
            rests_on=((*path, "when", choice), (*path[:-2], "set_per")),
        )


def _check_when_once(factor: Factor, i: int, path: Path) -> Iterator[Flaw]:
    one, before = factor.ranges[i], factor.ranges[:i]
    here: Path = (*path, "range", i, "when")
    if any(dict(one.when) == dict(other.when) for other in before):
        yield Flaw(
            path=here,
            what=f'"{factor.name}" has two ranges at {next(iter(one.when.values()))}',
            do="Keep one of them.",
        )
    elif any(set(one.when) != set(other.when) for other in before):
        yield Flaw(
            path=here,
            what=f'the ranges of "{factor.name}" go with more than one choice',
            do="Let all of them go with the levels of one named choice.",
        )
