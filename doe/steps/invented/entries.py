"""What the invented bench wrote down: actuals, raw readings and curves of the demo's plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from doe.methods.viscosity import AT_HIGH, AT_LOW, TWO_SPEED
from doe.methods.water import BEFORE, REDRIED, UPTAKE, WET
from doe.recipe.weigh import actual_package, weigh_batch
from doe.steps.invented import SOURCE
from doe.steps.invented.bench import Conditions, RawBatch, day_shifts, read_batch
from doe.steps.invented.colours import colour_file
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.readings import Actual, Flag, Reading

WETTING, DISPERSANT, HYDROPHOBIC = "wetting agent", "dispersant", "hydrophobic co-additive"
_WEIGHING_SD = 0.003  # part of the target
_PH_SD = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class InventedEntries:
    """What the invented bench delivers.

    Attributes:
        raw: Raw readings by test.
        actuals: What was really weighed and reached.
        colour: The file of reflectance curves, as an instrument exports it.
        exchanged: Number of the batch with the exchanged weighing.
    """

    raw: Mapping[str, tuple[Reading, ...]]
    actuals: tuple[Actual, ...]
    colour: bytes
    exchanged: int


def invented_entries(study: Study, plan: Plan, rng: np.random.Generator) -> InventedEntries:
    """Run the whole plan on the invented bench.

    One batch is weighed with dispersant and hydrophobic co-additive exchanged, as happens.

    Args:
        study: The demo's brief.
        plan: Its runs; one batch a run.
        rng: Source of all scatter.

    """
    exchanged = _batch_to_spoil(plan)
    days = {day: day_shifts(rng) for day in sorted({day for day in plan.day if day is not None})}
    readings: dict[int, RawBatch] = {}
    actuals: list[Actual] = []
    for i, run in enumerate(plan.run):
        row, batch, day = plan.settings.row(i), plan.batch[i] or run, plan.day[i] or 1
        grams = _weighed(study, row, rng)
        if batch == exchanged:
            grams[DISPERSANT], grams[HYDROPHOBIC] = grams[HYDROPHOBIC], grams[DISPERSANT]
        ph = round(_number(row, "pH") + float(rng.normal(0.0, _PH_SD)), 2)
        actuals += [
            Actual(unit=f"batch {batch}", what=name, value=f"{value:.2f}")
            for name, value in grams.items()
        ]
        actuals.append(Actual(unit=f"batch {batch}", what="pH", value=f"{ph:.2f}"))
        made = _conditions(study, grams, row, ph)
        readings[run] = read_batch(made, days[day], rng)
    strengths = {run: one.strength for run, one in readings.items() if one.viscosity}
    return InventedEntries(
        raw=_raw_tables(readings),
        actuals=tuple(actuals),
        colour=colour_file(strengths, sorted(days), rng),
        exchanged=exchanged,
    )


def _weighed(
    study: Study, row: Mapping[str, float | str | None], rng: np.random.Generator
) -> dict[str, float]:
    """Weigh the additives with the scatter of a bench balance and a busy morning."""
    lines = weigh_batch(study, row).additives
    return {
        line.name: round(line.as_supplied_g * (1.0 + float(rng.normal(0.0, _WEIGHING_SD))), 2)
        for line in lines
    }


def _conditions(
    study: Study, grams: Mapping[str, float], row: Mapping[str, float | str | None], ph: float
) -> Conditions:
    made = actual_package(study, grams)
    return Conditions(
        dose=made.dose or 0.0, wetting=made.shares.get(WETTING, 0.0),
        dispersant=made.shares.get(DISPERSANT, 0.0), hydrophobic=made.shares.get(HYDROPHOBIC, 0.0),
        ph=ph, time=_number(row, "grind time"),
    )  # fmt: skip


def _batch_to_spoil(plan: Plan) -> int:
    """Take the batch in which an exchange does most: a high dose of very unequal shares."""
    d, h = plan.settings.column(DISPERSANT), plan.settings.column(HYDROPHOBIC)
    effect = np.abs(d - h) * plan.settings.column("dose")
    effect[[kind != "design" for kind in plan.kind]] = 0.0
    return plan.batch[int(np.argmax(effect))] or 1


def _raw_tables(readings: Mapping[int, RawBatch]) -> dict[str, tuple[Reading, ...]]:
    """Give the raw readings by test; what gelled is said in both."""
    viscosity: list[Reading] = []
    uptake: list[Reading] = []
    for run, made in readings.items():
        if not made.viscosity:
            viscosity.append(_row(run, AT_LOW, None))
            uptake.append(_row(run, BEFORE, None))
            continue
        viscosity += map(_row, (run, run), (AT_LOW, AT_HIGH), made.viscosity)
        for repeat, film in enumerate(made.films, start=1):
            grams = zip((BEFORE, WET, REDRIED), film, strict=True)
            uptake += [_row(run, name, value, repeat) for name, value in grams]
    return {TWO_SPEED.name: tuple(viscosity), UPTAKE.name: tuple(uptake)}


def _row(run: int, column: str, value: float | None, repeat: int = 1) -> Reading:
    flag: Flag = "gelled" if value is None else "ok"
    return Reading(
        id=1, run=run, response=column, repeat=repeat, value=value, flag=flag, source=SOURCE
    )


def _number(row: Mapping[str, float | str | None], name: str) -> float:
    value = row[name]
    return float(value) if value is not None else 0.0
