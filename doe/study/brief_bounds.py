"""Checks on what bounds several settings: limits and forbidden combinations."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Iterator

from doe.study.brief import Factor, Forbid, Limit, Study
from doe.study.brief_flaws import NAMES, Flaw
from doe.study.brief_lines import Path
from doe.study.level_ranges import may_lack

_CONDITION = re.compile(r"\s*(>=|<=|>|<)\s*([+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)\s*")
_NEARLY = re.compile(r"\s*(>=|<=|=>|=<|==|>|<|=|≥|≤|)\s*([+-]?\d+(?:[.,]\d+)?)\s*\S{0,12}\s*")
_SIGNS: dict[str, Callable[[float, float], bool]] = {
    ">": operator.gt, ">=": operator.ge, "<": operator.lt, "<=": operator.le,
}  # fmt: skip
_PLAIN_SIGNS = {"≥": ">=", "≤": "<=", "=>": ">=", "=<": "<="}


def read_condition(text: str) -> tuple[str, float] | None:
    """Read a condition on a number.

    Returns:
        One of `>`, `>=`, `<`, `<=` and the number, None if the text is no condition.

    Example:
        >>> read_condition("> 9.3")
        ('>', 9.3)
    """
    found = _CONDITION.fullmatch(text)
    return (found.group(1), float(found.group(2))) if found else None


def check_bounds(study: Study) -> Iterator[Flaw]:
    """Find limits and forbids that bound nothing, everything, or what cannot be bounded."""
    for i, limit in enumerate(study.limits):
        yield from _check_limit(study, limit, ("limit", i))
    for i, forbid in enumerate(study.forbids):
        yield from _check_forbid(study, forbid, ("forbid", i))


def _factor(study: Study, name: str) -> Factor | None:
    return next((factor for factor in study.factors if factor.name == name), None)


def _span(study: Study, name: str) -> tuple[float, float] | None:
    """Give the least and the greatest setting of a number that varies."""
    for additive in study.additives:
        if additive.name == name:
            return additive.low, additive.high
    factor = _factor(study, name)
    if factor is None:
        return None
    if factor.kind == "levels":
        numbers = [float(level) for level in factor.levels]
        return min(numbers), max(numbers)
    return factor.ends


def _rests_on(study: Study, names: Iterator[str] | list[str], path: Path) -> tuple[Path, ...]:
    """Give the keys behind a conclusion from the ranges of several settings."""
    wanted = set(names)
    factors = [("factor", i) for i, one in enumerate(study.factors) if one.name in wanted]
    additives = [
        ("package", "additive", i) for i, one in enumerate(study.additives) if one.name in wanted
    ]
    return (path, NAMES, *factors, *additives)


# --- limits ------------------------------------------------------------------------------------


def _check_limit(study: Study, limit: Limit, path: Path) -> Iterator[Flaw]:
    for name, weight in limit.sum.items():
        yield from _check_limited(study, name, weight, limit, (*path, "sum", name))
    least, most = limit.at_least, limit.at_most
    ends = ((*path, "at_least"), (*path, "at_most"))
    if least is None and most is None:
        yield Flaw(
            path=path,
            what="this limit has neither at_most nor at_least",
            do="Add at_most = … or at_least = …",
            rests_on=ends,
        )
    elif least is not None and most is not None and least > most:
        yield Flaw(
            path=ends[0],
            what=f"at_least {least:g} is above at_most {most:g}",
            do="Swap the two.",
            rests_on=ends,
        )
    else:
        yield from _check_reach(study, limit, path)


def _check_limited(
    study: Study, name: str, weight: float, limit: Limit, path: Path
) -> Iterator[Flaw]:
    factor = _factor(study, name)
    if weight == 0:
        yield Flaw(path=path, what=f'"{name}" counts 0 times', do="Give its weight, or delete it.")
    if factor is None:
        return
    index = study.factors.index(factor)
    rests_on = (path, ("factor", index, "value"), ("factor", index, "levels"))
    if factor.kind == "choice" or isinstance(factor.value, str):
        yield Flaw(
            path=path,
            what=f'"{name}" is set in words, which cannot be added',
            do="Use a [[forbid]] for combinations with one of its levels.",
            rests_on=rests_on,
        )
    elif isinstance(factor.value, float):
        part = weight * factor.value
        bounds = [f"{key} = {bound - part:g}" for key in ("at_most", "at_least")
                  if (bound := getattr(limit, key)) is not None]  # fmt: skip
        yield Flaw(
            path=path,
            what=f'"{name}" is held at {factor.value:g}',
            allowed="settings that vary",
            do=f"Delete it from the sum and write {' and '.join(bounds) or 'the rest as bound'}.",
            rests_on=rests_on,
        )


def _check_reach(study: Study, limit: Limit, path: Path) -> Iterator[Flaw]:
    """Find a limit that no setting within the ranges can meet."""
    spans = {name: _span(study, name) for name in limit.sum}
    # What a level of a choice lacks counts 0 in the sum.
    lacking = {factor.name for factor in study.factors if may_lack(study, factor)}
    ends = [
        sorted((weight * span[0], weight * span[1], *([0.0] if name in lacking else [])))
        for name, weight in limit.sum.items()
        if (span := spans[name]) is not None
    ]
    if not ends or len(ends) < len(spans):
        return
    low, high = sum(end[0] for end in ends), sum(end[-1] for end in ends)
    for key, bound, is_missed in (
        ("at_most", limit.at_most, limit.at_most is not None and low > limit.at_most),
        ("at_least", limit.at_least, limit.at_least is not None and high < limit.at_least),
    ):
        if is_missed:
            yield Flaw(
                path=(*path, key),
                what=f"{key} = {bound:g} cannot be met: within its ranges the sum lies between "
                f"{low:g} and {high:g}",
                do="Change the bound, the weights or the ranges.",
                rests_on=_rests_on(study, list(limit.sum), path),
            )


# --- forbids -----------------------------------------------------------------------------------


def _check_forbid(study: Study, forbid: Forbid, path: Path) -> Iterator[Flaw]:
    flaws: list[Flaw] = []
    always: list[bool] = []
    for name, said in forbid.settings.items():
        here: Path = (*path, "settings", name)
        judge = _Judge(study=study, name=name, path=here)
        flaws += judge.judge(said)
        always.append(judge.is_always)
    yield from flaws
    if always and all(always) and not flaws:
        yield Flaw(
            path=path,
            what="this forbids every setting within the ranges",
            do="Tighten a condition, or add the setting that it shall be combined with.",
            rests_on=_rests_on(study, list(forbid.settings), path),
        )


class _Judge:
    """Judges one condition: can it be asked, can it occur, does it always hold."""

    def __init__(self, study: Study, name: str, path: Path) -> None:
        self.study, self.name, self.path = study, name, path
        self.factor = _factor(study, name)
        self.is_always = False

    def judge(self, said: float | str | tuple[float | str, ...]) -> list[Flaw]:
        if self.factor is not None and self.factor.kind == "held":
            return [self._held(self.factor)]
        if self.factor is not None and self.factor.kind == "choice":
            return self._choice(said, self.factor)
        if isinstance(said, str):
            return self._condition(said)
        return self._numbers(said if isinstance(said, tuple) else (said,))

    def _flaw(self, what: str, do: str = "", allowed: str = "") -> Flaw:
        rests_on = _rests_on(self.study, [self.name], self.path)
        return Flaw(path=self.path, what=what, do=do, allowed=allowed, rests_on=rests_on)

    def _held(self, factor: Factor) -> Flaw:
        return self._flaw(
            f'"{self.name}" is held at {factor.value}',
            "Delete this condition if it holds there, or the whole forbid if it does not.",
            "settings that vary",
        )

    def _choice(self, said: object, factor: Factor) -> list[Flaw]:
        levels = said if isinstance(said, tuple) else (said,)
        words = [f'"{level}"' for level in factor.levels]
        wrong = [one for one in levels if not isinstance(one, str)]
        if wrong or not levels:
            shown = f"{wrong[0]:g}" if wrong else "an empty list"
            return [self._flaw(f'{shown} is no level of "{self.name}"', "", ", ".join(words))]
        self.is_always = set(levels) >= set(factor.levels)
        return []

    def _condition(self, said: str) -> list[Flaw]:
        condition = read_condition(said)
        if condition is None:
            return [self._unreadable(said)]
        sign, bound = condition
        span = _span(self.study, self.name)
        if span is None:
            return []
        holds = [_SIGNS[sign](end, bound) for end in span]
        self.is_always = all(holds)
        if any(holds):
            return []
        return [
            self._flaw(
                f'"{self.name}" {sign} {bound:g} never occurs: it runs from {span[0]:g} to '
                f"{span[1]:g}",
                "Change the bound or delete this forbid.",
            )
        ]

    def _unreadable(self, said: str) -> Flaw:
        do = 'Write it as "> 9.3".'
        found = _NEARLY.fullmatch(said)
        comma = ""
        if found:
            sign = _PLAIN_SIGNS.get(found.group(1), found.group(1))
            number = found.group(2).replace(",", ".")
            comma = " with a decimal comma" if "," in found.group(2) else ""
            signs = [sign] if sign in _SIGNS else [">=", "<="]
            do = "Write " + " or ".join(f'"{one} {number}"' for one in signs) + "."
        return self._flaw(f'"{said}" is no condition{comma}', do, ">, >=, < or <= with a number")

    def _numbers(self, numbers: tuple[float | str, ...]) -> list[Flaw]:
        words = [one for one in numbers if isinstance(one, str)]
        if words or not numbers:
            return [self._flaw(f'"{self.name}" has no level {words[0] if words else "named"}', "",
                               "a condition such as \"> 9.3\", or its numeric levels")]  # fmt: skip
        if self.factor is None or self.factor.kind != "levels":
            one = numbers[0]
            return [
                self._flaw(
                    f'"{self.name}" has a whole range, of which the one value {one:g} '
                    "cannot be cut out",
                    f'Name a side: "> {one:g}" or "< {one:g}".',
                )
            ]
        wrong = [one for one in numbers if one not in self.factor.levels]
        self.is_always = set(numbers) >= set(self.factor.levels)
        levels = ", ".join(f"{level:g}" for level in self.factor.levels)
        return [self._flaw(f'{one:g} is no level of "{self.name}"', "", levels) for one in wrong]
