"""What was really done: actual settings, days and order of work, over what was planned."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doe.recipe.actual import actual_settings
from doe.sheets.book_form import is_film_record
from doe.study.brief import STAGES, Study
from doe.study.finding import Finding
from doe.study.level_ranges import own_ranges
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Actual
from doe.study.settings import Settings

_UNIT = re.compile(r"(day|batch|sample|panel|run)\s*(\d+)")
# The wider unit first, so that what was noted of a run overrides what was noted of its batch.
_WIDE_TO_NARROW = (*STAGES, "run")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AsMade:
    """The runs of a plan as they were made; every tuple has one entry a run of the plan.

    Attributes:
        settings: Planned settings with what is known of the actual ones over them.
        day: Day as done.
        order: Place in the order as done; that of the plan unless every run has one.
        findings: Notes that could not be read.
    """

    settings: Settings
    day: tuple[int | None, ...]
    order: tuple[float, ...]
    findings: tuple[Finding, ...]


def as_made(study: Study, plan: Plan, actuals: Sequence[Actual]) -> AsMade:
    """Lay the actuals over the plan.

    Args:
        study: The brief.
        plan: The runs.
        actuals: Lines of `actuals.csv`, in order of entry; a later line overrides an earlier one.
    """
    values = np.array(plan.settings.values)
    day: list[int | None] = list(plan.day)
    order: list[float | None] = [None] * len(plan)
    grams: list[dict[str, float]] = [{} for _ in plan.run]
    doubts: list[str] = []
    columns = {fold(name): j for j, name in enumerate(plan.settings.names)}
    if study.millbase is not None:
        # Additives are weighed: what is noted of them are grams, and shares follow from those.
        for additive in study.additives:
            columns.pop(fold(additive.name), None)
    for actual, rows in _by_unit(plan, actuals, doubts):
        what = fold(actual.what)
        number = _number(actual.value)
        if is_film_record(what):
            continue  # when a film was drawn, and on which card: no setting and no grams
        if what in columns:
            _put_setting(values, rows, columns[what], actual, plan.settings, doubts)
        elif number is None:
            doubts.append(f"{actual.unit}, {actual.what}: '{actual.value}' is no number")
        else:
            for i in rows:
                if what == "order":
                    order[i] = number
                elif what == "day":
                    day[i] = int(number)
                else:
                    grams[i][actual.what] = number
    _put_grams(study, values, plan.settings, grams)
    _keep_to_levels(study, plan, values, doubts)
    known = [place for place in order if place is not None]
    places = (
        tuple(known) if len(known) == len(plan) else tuple(float(i + 1) for i in range(len(plan)))
    )
    settings = Settings(names=plan.settings.names, values=values, labels=plan.settings.labels)
    return AsMade(
        settings=settings,
        day=tuple(day),
        order=places,
        findings=_doubts(doubts),
    )


def _by_unit(
    plan: Plan, actuals: Sequence[Actual], doubts: list[str]
) -> Iterator[tuple[Actual, list[int]]]:
    columns: Mapping[str, Sequence[int | None]] = {
        "day": plan.day,
        "batch": plan.batch,
        "sample": plan.sample,
        "panel": plan.panel,
        "run": plan.run,
    }
    found: list[tuple[int, Actual, list[int]]] = []
    for actual in actuals:
        match = _UNIT.fullmatch(fold(actual.unit))
        numbers = columns[match[1]] if match else ()
        rows = [i for i, number in enumerate(numbers) if match and number == int(match[2])]
        if match is None or not rows:
            doubts.append(f"'{actual.unit}' is no unit of the plan")
        else:
            found.append((_WIDE_TO_NARROW.index(match[1]), actual, rows))
    for _, actual, rows in sorted(found, key=lambda item: item[0]):
        yield actual, rows


def _put_setting(
    values: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    rows: Sequence[int],
    j: int,
    actual: Actual,
    planned: Settings,
    doubts: list[str],
) -> None:
    levels = planned.labels.get(planned.names[j])
    if levels is None:
        number = _number(actual.value)
    else:
        folded = [fold(level) for level in levels]
        word = fold(actual.value)
        number = float(folded.index(word)) if word in folded else None
    if number is None:
        allowed = f"; allowed: {', '.join(levels)}" if levels else " is no number"
        doubts.append(f"{actual.unit}, {actual.what}: '{actual.value}'{allowed}")
        return
    values[list(rows), j] = number


def _put_grams(
    study: Study,
    values: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    planned: Settings,
    grams: Sequence[Mapping[str, float]],
) -> None:
    for i, weighed in enumerate(grams):
        if not weighed:
            continue
        for name, value in actual_settings(study, weighed, planned.row(i)).items():
            if name in planned.names:
                values[i, planned.names.index(name)] = value


def _keep_to_levels(
    study: Study,
    plan: Plan,
    values: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    doubts: list[str],
) -> None:
    """Take out what the level as made lacks; one that needs what it has not stays as planned."""
    settings = plan.settings
    for factor in study.varied_factors:
        by_level = own_ranges(study, factor)
        if not by_level or factor.name not in settings.names:
            continue
        j, c = (settings.names.index(n) for n in (factor.name, next(iter(factor.ranges[0].when))))
        levels = settings.labels[settings.names[c]]
        changed = np.flatnonzero(values[:, c] != settings.values[:, c])
        for i in (i for i in changed if not np.isnan(values[i, c])):
            level = levels[int(values[i, c])]
            if by_level[level] is None:
                values[i, j] = np.nan
            elif np.isnan(values[i, j]):
                doubts.append(f"run {plan.run[i]}: '{level}' without '{factor.name}'")
                values[i, c] = settings.values[i, c]


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def _doubts(doubts: Sequence[str]) -> tuple[Finding, ...]:
    if not doubts:
        return ()
    shown = "; ".join(doubts[:4]) + (f"; and {len(doubts) - 4} more" if len(doubts) > 4 else "")
    return (
        Finding(
            level="caution",
            what=f"Some actuals could not be used: {shown}.",
            evidence={"lines": len(doubts)},
            advice="Correct them in the workbook and enter it again; the planned settings stand "
            "until then.",
        ),
    )
