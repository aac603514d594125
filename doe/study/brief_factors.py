"""Checks on the factors of a brief, one at a time."""

from __future__ import annotations

from collections.abc import Iterator

from doe.study.brief import Factor, Study
from doe.study.brief_flaws import Flaw
from doe.study.brief_lines import Path
from doe.study.brief_ranges import check_ends, check_level_ranges, check_step
from doe.study.names import fold


def check_factor(study: Study, factor: Factor, path: Path) -> Iterator[Flaw]:
    """Find what contradicts itself in one factor."""
    yield from _check_one_way(factor, path)
    yield from _check_range(factor, path)
    yield from _check_levels(factor, path)
    yield from _check_bench(factor, path)
    yield from _check_production(factor, path)
    yield from check_level_ranges(study, factor, path)


def _check_one_way(factor: Factor, path: Path) -> Iterator[Flaw]:
    has_ends = (factor.low is not None, factor.high is not None)
    has_range = any(has_ends) or bool(factor.ranges)
    has_levels = "levels" in factor.model_fields_set
    ways = [
        name
        for name, is_there in (
            ("ranges by level" if not any(has_ends) else "low and high", has_range),
            ("levels", has_levels),
            ("value", factor.value is not None),
        )
        if is_there
    ]
    rests_on = _kind_keys(path)
    if len(ways) != 1:
        yield Flaw(
            path=path,
            what=f'"{factor.name}" has {" as well as ".join(ways) or "no settings"}',
            allowed="low and high (a range), levels (a list), [[factor.range]] (a range by level "
            "of a choice), or value (held)",
            do="Keep one of them." if ways else "Add one of them.",
            rests_on=rests_on,
        )
    elif any(has_ends) and not all(has_ends):
        there, lacks = ("low", "high") if has_ends[0] else ("high", "low")
        yield Flaw(
            path=(*path, there),
            what=f'"{factor.name}" has {there} but no {lacks}',
            do=f"Add {lacks} = …, or value = … if it is held.",
            rests_on=rests_on,
        )


def _check_range(factor: Factor, path: Path) -> Iterator[Flaw]:
    if factor.low is None or factor.high is None:
        return
    yield from check_ends(factor, factor.low, factor.high, path)
    yield from check_step(factor, factor.low, factor.high, path, path)


def _check_levels(factor: Factor, path: Path) -> Iterator[Flaw]:
    if "levels" not in factor.model_fields_set:
        return
    path = (*path, "levels")
    if len(factor.levels) < 2:
        yield Flaw(
            path=path,
            what=f'"{factor.name}" has {"one level" if factor.levels else "no levels"}',
            allowed="at least two",
            do="Add the others, or hold it with value = …",
        )
    levels: tuple[float | str, ...] = factor.levels
    keys = [fold(one) if isinstance(one, str) else one for one in levels]
    twice = [one for i, one in enumerate(levels) if keys[i] in keys[:i]]
    if twice:
        comma = all(isinstance(one, int | float) and one == int(one) for one in factor.levels)
        yield Flaw(
            path=path,
            what=f'levels of "{factor.name}" stand twice: {", ".join(map(_plain, twice))}',
            do="Keep each once."
            + (" If a decimal comma was meant, write a decimal point." if comma else ""),
        )
    if any(isinstance(one, str) and not one.strip() for one in factor.levels):
        yield Flaw(path=path, what=f'a level of "{factor.name}" is empty', do="Name each level.")
    yield from _check_log_levels(factor, path)


def _check_log_levels(factor: Factor, path: Path) -> Iterator[Flaw]:
    if factor.spacing != "log" or not factor.levels:
        return
    if factor.kind == "choice":
        yield Flaw(
            path=(*path[:-1], "spacing"),
            what=f'"{factor.name}" is a named choice, which has no spacing',
            do="Delete the key spacing.",
            rests_on=(path,),
        )
    elif min(float(one) for one in factor.levels) <= 0:
        yield Flaw(
            path=path,
            what=f'"{factor.name}" has spacing = "log" and a level that is not above 0',
            do='Drop that level, or take spacing = "even".',
        )


def _plain(one: float | str) -> str:
    return f'"{one}"' if isinstance(one, str) else f"{one:g}"


def _kind_keys(path: Path) -> tuple[Path, ...]:
    """Give the keys that decide what kind of factor one is."""
    return tuple((*path, key) for key in ("low", "high", "levels", "value"))


_NO_STEP = {
    "levels": "its levels are all that the bench can set",
    "choice": "its settings are words",
    "held": "it is held",
}


def _check_bench(factor: Factor, path: Path) -> Iterator[Flaw]:
    """Check how the bench sets a factor."""
    is_word = factor.kind == "choice" or isinstance(factor.value, str)
    if factor.set_by is not None and is_word:
        yield Flaw(
            path=(*path, "set_by"),
            what=f'"{factor.name}" is set by {factor.set_by} but its settings are words',
            do="Delete set_by; it is for numbers that are titrated, such as a pH.",
            rests_on=_kind_keys(path),
        )
    if factor.step is not None and factor.kind != "range":
        why = _NO_STEP.get(factor.kind, "")
        yield Flaw(
            path=(*path, "step"),
            what=f'"{factor.name}" has a step, but {why}',
            do="Delete step.",
            rests_on=_kind_keys(path),
        )
    if factor.spacing == "log" and factor.kind == "held":
        yield Flaw(
            path=(*path, "spacing"),
            what=f'"{factor.name}" is held, which leaves nothing to space',
            do="Delete the key spacing.",
            rests_on=_kind_keys(path),
        )


def _check_production(factor: Factor, path: Path) -> Iterator[Flaw]:
    """Check how a factor scatters in production."""
    is_word = factor.kind == "choice" or isinstance(factor.value, str)
    scatter = [key for key in ("scatter_sd", "tolerance") if getattr(factor, key) is not None]
    if len(scatter) == 2:
        yield Flaw(
            path=(*path, "tolerance"),
            what=f'"{factor.name}" has scatter_sd as well as tolerance',
            do="Keep one: a tolerance is read as ± 2 standard deviations.",
        )
    if scatter and is_word:
        yield Flaw(
            path=(*path, scatter[0]),
            what=f'"{factor.name}" has {scatter[0]}, but words do not scatter',
            do=f"Delete {scatter[0]}.",
            rests_on=_kind_keys(path),
        )
    if scatter and factor.noise and not is_word:
        yield Flaw(
            path=(*path, scatter[0]),
            what=f'"{factor.name}" is a noise factor with {scatter[0]}',
            do=f"Delete {scatter[0]}; noise drifts by production = {{ mean = …, sd = … }}.",
            rests_on=_kind_keys(path),
        )
    if factor.production is not None and not factor.noise:
        yield Flaw(
            path=(*path, "production"),
            what=f'"{factor.name}" has production but is no noise factor',
            do="Add noise = true if it drifts in production, or use scatter_sd if it is set there.",
            rests_on=((*path, "noise"), (*path, "production")),
        )
    if factor.production is not None and factor.noise and is_word:
        yield Flaw(
            path=(*path, "production"),
            what=f'"{factor.name}" is a named choice, which has neither mean nor sd',
            do="Delete production.",
            rests_on=_kind_keys(path),
        )
    if factor.noise and factor.kind == "held":
        yield Flaw(
            path=(*path, "noise"),
            what=f'"{factor.name}" is held and yet a noise factor',
            do="Give it low and high, so that the plan can learn what its drift does.",
            rests_on=((*path, "noise"), (*path, "value")),
        )
