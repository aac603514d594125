"""When a mill is done: end points that hold on any mill, and minutes that hold on one.

Which response tells fineness, strength or viscosity is read out of its method's name and its own,
else out of its unit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from analysis.agreement.formula import TOLERANCE_IN_SD
from doe.methods.registry import find_method
from doe.recipe.name_reading import reads_as
from doe.study.agreement import AgreedEndPoint, AgreedReading, EndPointKind, LaboratorySetting
from doe.study.brief import Factor, Response, Study
from doe.study.names import fold

# Whole words of names; as the trade calls such tests.
_WORDS: Mapping[EndPointKind, tuple[str, ...]] = {
    "fineness": ("fineness", "hegman", "particle size", "grind gauge", "grindometer", "d50", "d90"),
    "strength": ("strength", "tinting strength", "colour strength"),
    "viscosity": ("viscosity", "consistency", "krebs", "stormer", "efflux"),
}
# Units that only such a test has.
_UNITS: Mapping[str, EndPointKind] = {
    "hegman": "fineness", "µm": "fineness", "μm": "fineness", "um": "fineness",
    "mpa·s": "viscosity", "mpa s": "viscosity", "mpas": "viscosity", "pa·s": "viscosity",
    "pa s": "viscosity", "cp": "viscosity", "cps": "viscosity", "p": "viscosity",
    "ku": "viscosity",
}  # fmt: skip
# Units of what a mill is set to: time and speed.
_MILL_UNITS = frozenset({"min", "h", "s", "rpm", "1/min", "min-1", "m/s", "hz"})


def end_points(study: Study, readings: Sequence[AgreedReading]) -> tuple[AgreedEndPoint, ...]:
    """List what tells that the grind is done, and the heat at which it must stop.

    Args:
        study: The brief: limits, and how a mill temperature drifts in production.
        readings: What is expected of each response.

    Returns:
        Fineness first, then strength, viscosity and temperature; a kind that nothing tells is
        missing.
    """
    expected = {one.response: one for one in readings}
    of_kind: dict[EndPointKind, list[AgreedEndPoint]] = {}
    for response in study.responses:
        kind = end_point_kind(response)
        if kind is not None and response.name in expected:
            found = _of_response(kind, response, expected[response.name])
            of_kind.setdefault(kind, []).append(found)
    told = [one for kind in _WORDS for one in of_kind.get(kind, [])]
    return (*told, *_temperatures(study))


def end_point_kind(response: Response) -> EndPointKind | None:
    """Tell what kind of end point a response is; None for one that is none.

    Example:
        >>> end_point_kind(Response.model_validate({"name": "gauge", "from": "Hegman"}))
        'fineness'
        >>> end_point_kind(Response.model_validate({"name": "flow", "unit": "mPa·s"}))
        'viscosity'
    """
    method = find_method(response.method) if response.method else None
    if method is not None and method.gathers != "unit":
        return None
    text = " ".join(re.findall(r"[^\W_]+", fold(f"{response.name} {response.method or ''}")))
    words = f" {text} "
    for kind, phrases in _WORDS.items():
        if any(f" {phrase} " in words for phrase in phrases):
            return kind
    return _UNITS.get(fold(response.unit))


def laboratory_settings(
    study: Study, settings: Mapping[str, float | str]
) -> tuple[LaboratorySetting, ...]:
    """List how the laboratory mill is run: times, speeds, beads; good for that mill alone."""
    return tuple(
        LaboratorySetting(name=factor.name, value=value, unit=factor.unit)
        for factor in study.factors
        if is_of_the_mill(factor)
        if (value := settings.get(factor.name, factor.value)) is not None
    )


def is_of_the_mill(factor: Factor) -> bool:
    """Tell whether a factor sets the mill, and so holds on no other."""
    if factor.role == "dose" or factor.set_per == "panel" or factor.noise or factor.set_by:
        return False
    by_unit = fold(factor.unit) in _MILL_UNITS
    return by_unit or reads_as(factor.name, "grind") or reads_as(factor.name, "tip speed")


def _of_response(kind: EndPointKind, response: Response, reading: AgreedReading) -> AgreedEndPoint:
    accept = response.accept
    return AgreedEndPoint(
        kind=kind,
        name=response.name,
        unit=response.unit,
        at_least=accept.at_least if accept else None,
        at_most=accept.at_most if accept else None,
        value=reading.value,
        low=reading.run_low,
        high=reading.run_high,
    )


def _temperatures(study: Study) -> Iterator[AgreedEndPoint]:
    for factor in study.factors:
        if not _is_mill_temperature(factor):
            continue
        limit, whose = _highest(factor)
        if limit is not None:
            yield AgreedEndPoint(
                kind="temperature", name=factor.name, unit=factor.unit, at_most=limit,
                limit_from=whose,
            )  # fmt: skip


def _is_mill_temperature(factor: Factor) -> bool:
    if factor.set_per == "panel" or isinstance(factor.value, str) or factor.kind == "choice":
        return False
    return fold(factor.unit) in ("°c", "c", "k", "°f") or "temperature" in fold(factor.name)


def _highest(factor: Factor) -> tuple[float | None, str]:
    """Give the highest temperature that the study speaks of, and whose it is."""
    if factor.noise and factor.production is not None:
        top = factor.production.mean + TOLERANCE_IN_SD * factor.production.sd
        return top, "mean of production + 2 standard deviations"
    if isinstance(factor.value, float):
        return factor.value, "held there throughout"
    tried = [float(level) for level in factor.levels if not isinstance(level, str)]
    ends = factor.ends
    highest = ends[1] if ends is not None else max(tried, default=None)
    return highest, "highest that was tried"
