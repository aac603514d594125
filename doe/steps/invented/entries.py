"""What the invented bench wrote down: actuals and readings for every run of the demo's plan."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from doe.recipe.weigh import actual_package, weigh_batch
from doe.steps.invented import SOURCE
from doe.steps.invented.bench import Conditions, day_shifts, read_batch
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.readings import Actual, Reading

WETTING, DISPERSANT, HYDROPHOBIC = "wetting agent", "dispersant", "hydrophobic co-additive"
_WEIGHING_SD = 0.003  # part of the target
_PH_SD = 0.03


def invented_entries(
    study: Study, plan: Plan, rng: np.random.Generator
) -> tuple[tuple[Reading, ...], tuple[Actual, ...], int]:
    """Run the whole plan on the invented bench.

    One batch is weighed with dispersant and hydrophobic co-additive exchanged, as happens.

    Args:
        study: The demo's brief.
        plan: Its runs; one batch a run.
        rng: Source of all scatter.

    Returns:
        Readings, actuals, and the number of the batch with the exchanged weighing.
    """
    exchanged = _batch_to_spoil(plan)
    days = {day: day_shifts(rng) for day in sorted({day for day in plan.day if day is not None})}
    readings: list[Reading] = []
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
        readings += _readings(run, read_batch(made, days[day], rng))
    return tuple(readings), tuple(actuals), exchanged


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


def _readings(run: int, entries: Mapping[str, tuple[str, ...]]) -> list[Reading]:
    return [
        _reading(run, response, repeat, text)
        for response, texts in entries.items()
        for repeat, text in enumerate(texts, start=1)
    ]


def _reading(run: int, response: str, repeat: int, text: str) -> Reading:
    if text == "gelled":
        return Reading(
            id=1, run=run, response=response, repeat=repeat, flag="gelled", source=SOURCE
        )
    value = float(text)
    return Reading(id=1, run=run, response=response, repeat=repeat, value=value, source=SOURCE)


def _number(row: Mapping[str, float | str | None], name: str) -> float:
    value = row[name]
    return float(value) if value is not None else 0.0
