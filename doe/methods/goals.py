"""Goals of a brief against what its test methods can give, and which way they are better."""

from __future__ import annotations

from collections.abc import Iterator

from doe.methods.method import Method
from doe.methods.registry import find_method
from doe.study.brief import Response, Study
from doe.study.brief_flaws import Flaw
from doe.study.brief_lines import Path
from doe.study.finding import Finding

_AIMS = ("best", "worst", "worst_low", "worst_high")
_OPPOSITE = {"low": "high", "high": "low"}


def goal_flaws(response: Response, method: Method, path: Path) -> Iterator[Flaw]:
    """Find numbers of a goal that the method can never give.

    Args:
        response: As the brief has it.
        method: Its method.
        path: Where the response stands in the brief.
    """
    if method.bounds is None:
        return
    low, high = method.bounds
    unit = f" {method.unit}" if method.unit else ""
    for here, number in _numbers(response):
        if not low <= number <= high:
            yield Flaw(
                path=(*path, *here),
                what=f"{here[-1]} of '{response.name}' is {number:g}{unit}, which "
                f"'{method.name}' never gives",
                allowed=f"{low:g} to {high:g}{unit}",
                rests_on=((*path, "from"), (*path, *here)),
            )


def aim_findings(study: Study) -> tuple[Finding, ...]:
    """Doubt aims that run against what is better as a rule.

    Example:
        >>> one = {"name": "rust", "from": "rust grade", "aim": "high", "best": 5, "worst": 0}
        >>> from doe.study.brief import Response
        >>> [found.level for found in _against(Response.model_validate(one))]
        ['caution']
    """
    return tuple(found for response in study.responses for found in _against(response))


def _numbers(response: Response) -> Iterator[tuple[tuple[str, ...], float]]:
    for key in _AIMS:
        if (number := getattr(response, key)) is not None:
            yield (key,), number
    if response.accept is not None:
        for key in ("at_least", "at_most"):
            if (number := getattr(response.accept, key)) is not None:
                yield ("accept", key), number


def _against(response: Response) -> Iterator[Finding]:
    method = find_method(response.method) if response.method else None
    if method is None or response.aim is None or _OPPOSITE.get(response.aim) != method.direction:
        return
    better = "lower" if method.direction == "low" else "higher"
    yield Finding(
        level="caution",
        what=f"'{response.name}' has aim = \"{response.aim}\", and of '{method.name}' {better} is "
        f"better as a rule: {method.gives}.",
        advice="Turn the aim if it is a slip; if you mean it so, leave it.",
    )
