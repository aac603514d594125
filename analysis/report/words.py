"""Numbers and rules in the words of the trade: limits, verdicts, settings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import Decimal

from analysis.choice.compromise import ExpectedResponse
from analysis.report.rounding import fixed, interval_error, p_text, plain
from analysis.report.table import Sign
from doe.study.brief import Forbid, Limit, Response, Study
from doe.study.finding import Level

LEVEL_WORDS: Mapping[Level, str] = {"note": "Note", "caution": "Caution", "stop": "Stop"}

# Shares are weighed out from three places of proportion; a finer one is not seen on the balance.
SHARE_PLACES = 3

# Source: Harrington (1965), Industrial Quality Control 21(10), 494-498, table of the scale.
DESIRABILITY_WORDS = ((0.80, "very good"), (0.63, "good"), (0.37, "fair"), (0.20, "poor"))


def desirability_words(overall: float) -> str:
    """Say an overall desirability in plain words.

    Example:
        >>> desirability_words(0.7), desirability_words(0.0)
        ('good', 'not acceptable: at least one response gets nothing of what is wanted')
    """
    if overall <= 0:
        return "not acceptable: at least one response gets nothing of what is wanted"
    return next((word for least, word in DESIRABILITY_WORDS if overall >= least), "very poor")


def limit_text(response: Response, *, unit: bool = True) -> str:
    """Say the limit a tested value must meet; a dash where there is none.

    Example:
        >>> limit_text(Response(name="uptake", unit="%", accept={"at_most": 8}))
        'at most 8 %'
    """
    accept = response.accept
    if accept is None or (accept.at_most is None and accept.at_least is None):
        return "–"
    end = f" {response.unit}" if unit and response.unit else ""
    if accept.at_most is None:
        return f"at least {plain(accept.at_least)}{end}"
    if accept.at_least is None:
        return f"at most {plain(accept.at_most)}{end}"
    return f"{plain(accept.at_least)} to {plain(accept.at_most)}{end}"


def goal_text(response: Response) -> str:
    """Say what is wanted of a response."""
    unit = f" {response.unit}" if response.unit else ""
    best = plain(response.best)
    match response.aim:
        case "low":
            return f"low: best up to {best}, useless from {plain(response.worst)}{unit}"
        case "high":
            return f"high: best from {best}, useless to {plain(response.worst)}{unit}"
        case "target":
            return (
                f"on {best}, useless below {plain(response.worst_low)} "
                f"or above {plain(response.worst_high)}{unit}"
            )
        case None:
            return "no aim"


def run_error(expected: ExpectedResponse) -> float | None:
    """Choose the digits of an expected value: those that one new run carries, else its mean.

    The formula card keeps no more than that, so that the same value reads alike everywhere.
    """
    error = interval_error(*expected.run_interval)
    return interval_error(*expected.mean_interval) if error is None else error


def run_interval_meets(response: Response, expected: ExpectedResponse) -> bool | None:
    """Tell whether the whole interval of one new run meets the limit; None without either."""
    accept = response.accept
    low, high = expected.run_interval
    if accept is None or not (math.isfinite(low) and math.isfinite(high)):
        return None
    if low == high:
        # Computed without error: the value itself decides, rounding aside.
        return expected.accepted
    under = accept.at_most is None or high <= accept.at_most
    over = accept.at_least is None or low >= accept.at_least
    return under and over


def verdict(response: Response, expected: ExpectedResponse) -> tuple[str, Sign]:
    """Say in words and sign whether a limit is met."""
    if expected.accepted is None:
        return "no limit", ""
    if not expected.accepted:
        return "not met", "unmet"
    if run_interval_meets(response, expected) is False:
        return "met on average", "met"
    return "met", "met"


def setting_text(study: Study, name: str, value: float | str | None) -> str:
    """Print a setting: to its step where it has one, a choice by its word.

    Example:
        >>> factor = {"name": "pH", "low": 8, "high": 9, "step": 0.05}
        >>> brief = Study.model_validate({"study": {"title": "t"}, "factor": [factor]})
        >>> setting_text(brief, "pH", 8.7)
        '8.70'
    """
    if value is None:
        return "–"
    if isinstance(value, str):
        return value
    step = _step(study, name)
    if step is not None:
        return fixed(value, max(_places(step), 0))
    if any(additive.name == name for additive in study.additives):
        return fixed(value, SHARE_PLACES)
    return plain(value)


def unit_of(study: Study, name: str) -> str:
    """Find the unit a setting is told in."""
    if any(additive.name == name for additive in study.additives):
        return "share"
    return next((factor.unit for factor in study.factors if factor.name == name), "")


def limit_sentence(limit: Limit) -> str:
    """Say a limit over several settings.

    Example:
        >>> limit_sentence(Limit(sum={"dose": 1.0, "grind time": 0.02}, at_most=3, because="foam"))
        'dose + 0.02 × grind time: at most 3 (foam)'
    """
    names = [name if c == 1 else f"{plain(c)} × {name}" for name, c in limit.sum.items()]
    bounds = []
    if limit.at_least is not None:
        bounds.append(f"at least {plain(limit.at_least)}")
    if limit.at_most is not None:
        bounds.append(f"at most {plain(limit.at_most)}")
    because = f" ({limit.because})" if limit.because else ""
    return f"{' + '.join(names)}: {' and '.join(bounds)}{because}"


def forbid_sentence(forbid: Forbid) -> str:
    """Say which settings must not occur together.

    Example:
        >>> forbid_sentence(Forbid(settings={"neutraliser": "ammonia", "pH": "> 9.3"}))
        'never together: neutraliser ammonia, pH > 9.3'
    """
    conditions = []
    for name, told in forbid.settings.items():
        several = told if isinstance(told, tuple) else (told,)
        conditions.append(f"{name} {' or '.join(str(value) for value in several)}")
    because = f" ({forbid.because})" if forbid.because else ""
    return f"never together: {', '.join(conditions)}{because}"


def evidence_text(name: str, value: float | int | str) -> str:
    """Print one number that a finding rests on.

    Example:
        >>> evidence_text("p", 0.0004), evidence_text("slope", 0.123456)
        ('< 0.001', '0.1235')
    """
    if not isinstance(value, float):
        return str(value)
    is_chance = name == "p" or name.startswith(("p of ", "p ("))
    return p_text(value) if is_chance else plain(value)


def _step(study: Study, name: str) -> float | None:
    steps: dict[str, float | None] = {additive.name: additive.step for additive in study.additives}
    steps |= {factor.name: factor.step for factor in study.factors}
    return steps.get(name)


def _places(step: float) -> int:
    exponent = Decimal(repr(step)).normalize().as_tuple().exponent
    return -exponent if isinstance(exponent, int) else 0
