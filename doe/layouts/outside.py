"""Say why a setting is not allowed, in the words of the brief."""

from __future__ import annotations

from doe.layouts.request import Request
from doe.model.coding import settings_table
from doe.study.settings import FloatArray

_SLACK = 1e-7


def why_outside(row: FloatArray, request: Request) -> str:
    """Describe a run outside the region and the first rule that it breaks.

    Args:
        row: Settings, shape (k,), lab units.
        request: Its study states the rules.
    """
    settings = settings_table(row[None, :], request.coding).row(0)
    held = {f.name: f.value for f in request.study.factors if f.value is not None}
    known = {**held, **settings}
    place = ", ".join(
        f"{name} {value:.4g}" if isinstance(value, float) else f"{name} {value}"
        for name, value in settings.items()
        if value is not None
    )
    broken = _broken_limit(known, request) or _broken_range(settings, request)
    return f"{place}{broken or ' (a forbidden combination)'}"


def _broken_limit(known: dict[str, float | str | None], request: Request) -> str:
    for limit in request.study.limits:
        parts = [(weight, known.get(name)) for name, weight in limit.sum.items()]
        total = sum(weight * value for weight, value in parts if isinstance(value, float | int))
        named = " + ".join(limit.sum)
        because = f", because of {limit.because}" if limit.because else ""
        if limit.at_most is not None and total > limit.at_most + _SLACK:
            return f" (limit on {named}: {total:.4g}, at most {limit.at_most:g}{because})"
        if limit.at_least is not None and total < limit.at_least - _SLACK:
            return f" (limit on {named}: {total:.4g}, at least {limit.at_least:g}{because})"
    return ""


def _broken_range(settings: dict[str, float | str | None], request: Request) -> str:
    for additive in request.study.additives:
        share = settings.get(additive.name)
        if isinstance(share, float) and not (
            additive.low - _SLACK <= share <= additive.high + _SLACK
        ):
            return f" (share of {additive.name}: {additive.low:g} to {additive.high:g})"
    return ""
