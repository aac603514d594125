"""What all pots of a ladder share: the package at its middle, every other factor at its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from doe.errors import Fault, PlanError
from doe.model.region import region_of
from doe.model.vertices import overall_centroid
from doe.recipe.titration import SettingsRow
from doe.study.brief import Factor, Study
from doe.study.names import match_name, nearest_name
from doe.study.numerals import parse_number

# Shares that nobody gave are rounded so; what they miss of 1 goes to the largest.
SHARE_PLACES = 3
SUM_TOLERANCE = 0.005


def ladder_settings(
    study: Study, shares: Sequence[tuple[str, str]], at: Sequence[tuple[str, str]]
) -> SettingsRow:
    """Settle the settings of a ladder.

    Args:
        study: The brief.
        shares: Share by additive, as typed; one left out is what the others leave of 1.
        at: Value by factor, as typed.

    Returns:
        Shares and factors; middles where nothing was given, the first level of a named choice.

    Raises:
        PlanError: Names or values that do not fit; all of them together.
    """
    faults: list[Fault] = []
    row: dict[str, float | str | None] = {**_shares(study, shares, faults)}
    given = _named(at, [one.name for one in study.factors if one.role != "dose"], "--at", faults)
    for factor in study.factors:
        if factor.role != "dose" and factor.kind == "choice":
            row[factor.name] = _level(factor, given.get(factor.name), faults)
    for factor in study.factors:
        if factor.role != "dose" and factor.kind != "choice":
            row[factor.name] = _number(factor, given.get(factor.name), row, faults)
    if study.dose and study.dose.ranges:
        choice = next(iter(study.dose.ranges[0].when))
        if choice not in given:
            faults.append(
                Fault(
                    what=f"the range of the dose hangs on '{choice}', so a ladder is for one level",
                    where="--at",
                    do=f"Give it: --at '{choice}={row.get(choice)}'.",
                )
            )
    if faults:
        raise PlanError.from_faults(faults)
    return row


def _shares(
    study: Study, given: Sequence[tuple[str, str]], faults: list[Fault]
) -> dict[str, float]:
    names = [one.name for one in study.additives]
    texts = _named(given, names, "--shares", faults)
    if not names:
        return {}
    if not texts:
        return _middle_shares(study, names)
    values = {
        name: value
        for name, text in texts.items()
        if (value := _parsed(text, name, "--shares", faults)) is not None
    }
    left_out = [name for name in names if name not in texts]
    if len(left_out) == 1:
        values[left_out[0]] = 1 - sum(values.values())
    total = sum(values.values())
    if not faults and (abs(total - 1) > SUM_TOLERANCE or min(values.values()) < 0):
        faults.append(
            Fault(
                what=f"the shares add to {total:g}",
                where="--shares",
                allowed="shares of active matter from 0 that add to 1; those left out are 0",
            )
        )
    return {name: values.get(name, 0.0) for name in names}


def _middle_shares(study: Study, names: Sequence[str]) -> dict[str, float]:
    """Take the middle of the corners of what the limits allow."""
    region = region_of(study)
    centroid = overall_centroid(region).mean(axis=0)
    middle = {name: float(centroid[region.coding.index(name)]) for name in names}
    rounded = {name: round(value, SHARE_PLACES) for name, value in middle.items()}
    largest = max(names, key=lambda name: rounded[name])
    rounded[largest] = round(rounded[largest] + 1 - sum(rounded.values()), SHARE_PLACES)
    return rounded


def _level(factor: Factor, text: str | None, faults: list[Fault]) -> str | None:
    levels = [str(one) for one in factor.levels]
    if text is None:
        return levels[0]
    found = match_name(text, levels)
    if found is None:
        faults.append(
            Fault(
                what=f"'{factor.name}' has no level '{text}'",
                where="--at",
                allowed=", ".join(levels),
            )
        )
    return found


def _number(
    factor: Factor, text: str | None, row: Mapping[str, float | str | None], faults: list[Fault]
) -> float | str | None:
    if text is not None:
        return _parsed(text, factor.name, "--at", faults)
    if factor.kind == "held":
        return factor.value
    if factor.kind == "levels":
        return float(factor.levels[len(factor.levels) // 2])
    ends = (factor.low, factor.high)
    for one in factor.ranges:
        if all(row.get(name) == level for name, level in one.when.items()):
            ends = (one.low, one.high)
    low, high = ends
    if low is None or high is None:
        return None  # the level lacks the factor
    middle = (low * high) ** 0.5 if factor.spacing == "log" else (low + high) / 2
    return round(round(middle / factor.step) * factor.step, 10) if factor.step else middle


def _named(
    given: Sequence[tuple[str, str]], names: Sequence[str], where: str, faults: list[Fault]
) -> dict[str, str]:
    texts: dict[str, str] = {}
    for name, text in given:
        found = match_name(name, names)
        if found is None:
            what = f"there is no {'additive' if where == '--shares' else 'factor'} '{name}'"
            near = nearest_name(name, names)
            do = f"Did you mean '{near}'?" if near else ""
            faults.append(Fault(what=what, where=where, allowed=", ".join(names), do=do))
        else:
            texts[found] = text
    return texts


def _parsed(text: str, name: str, where: str, faults: list[Fault]) -> float | None:
    value = parse_number(text, ".")
    if value is None:
        faults.append(
            Fault(what=f"'{name}' is '{text}', which is no number with a point", where=where)
        )
    return value
