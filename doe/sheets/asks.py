"""What the sheets ask the bench to note: one line a thing done to a unit, alike on all sheets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from doe.recipe.batches import BenchBatch, BenchRun, BenchSample, bench_batches, weigh_plan
from doe.recipe.recipe import BatchRecipe, RecipeLine, SampleRecipe, Titration
from doe.recipe.titration import setting
from doe.sheets.wording import (
    READ_REACHED,
    fill_up_how,
    made_up_name,
    number_text,
    step_how,
    titrant_how,
    titrant_name,
)
from doe.study.brief import Factor, Study
from doe.study.plan import Plan

AskKind = Literal["grams", "number", "whole", "date", "word"]
DATE_DONE = "date done"
LETDOWN, TINT = "let-down", "white reduction"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One thing to do and to note.

    Attributes:
        unit: The unit it is done to, as in actuals: `batch 3`, `sample 5`, `run 7`, `day 2`.
        what: Material, factor or record, as in actuals.
        kind: What kind of answer fits.
        how: What to do, a few words.
        target: Planned grams, value or level; None where nothing is planned.
        measure: Unit of measure.
        levels: The words that fit a named choice.
        line: The recipe line behind grams.
    """

    unit: str
    what: str
    kind: AskKind
    how: str = ""
    target: float | str | None = None
    measure: str = ""
    levels: tuple[str, ...] = ()
    line: RecipeLine | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleForm:
    """One sample: what is set, drawn and weighed for it, and what is set on each of its panels."""

    sample: BenchSample
    asks: tuple[Ask, ...]
    panels: tuple[tuple[Ask, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchForm:
    """One batch: its settings, its weigh-out in order of addition, its records, its samples.

    Attributes:
        batch: The batch.
        control: `control 1` for a batch of the first control of the brief, empty for others.
        recipe: The weigh-out; None where the brief has no mill base.
        day_settings: What is set for the whole day; noted on its first batch.
        is_first_of_day: It is that batch.
        settings: What is set for the batch before or while grinding.
        weighing: What is weighed, titrated and made up, in order of addition.
        records: Order, day and date as done.
        samples: What is drawn from it.
    """

    batch: BenchBatch
    control: str
    recipe: BatchRecipe | None
    day_settings: tuple[Ask, ...]
    is_first_of_day: bool
    settings: tuple[Ask, ...]
    weighing: tuple[Ask, ...]
    records: tuple[Ask, ...]
    samples: tuple[SampleForm, ...]

    @property
    def asks(self) -> tuple[Ask, ...]:
        """All lines to fill in for the batch itself, in the order of the sheets."""
        day_settings = self.day_settings if self.is_first_of_day else ()
        return (*day_settings, *self.settings, *self.weighing, *self.records)


def bench_forms(study: Study, plan: Plan) -> tuple[BatchForm, ...]:
    """Work out what the bench is asked for, batch by batch in bench order.

    Raises:
        PlanError: A recipe cannot be weighed out.
    """
    days: set[int | None] = set()
    forms = []
    for batch, recipe, samples in _weighed(study, plan):
        forms.append(
            BatchForm(
                batch=batch,
                control=_control_number(study, batch),
                recipe=recipe,
                day_settings=_day_asks(study, batch),
                is_first_of_day=batch.day not in days,
                settings=_factor_asks(study, batch.runs[0], batch.unit, _batch_stages(batch)),
                weighing=() if recipe is None else _weighing_asks(batch, recipe),
                records=_record_asks(batch),
                samples=tuple(
                    _sample_form(study, sample, weighed)
                    for sample, weighed in zip(batch.samples, samples, strict=True)
                ),
            )
        )
        days.add(batch.day)
    return tuple(forms)


def _weighed(
    study: Study, plan: Plan
) -> tuple[tuple[BenchBatch, BatchRecipe | None, tuple[SampleRecipe | None, ...]], ...]:
    """Weigh the plan out; without a mill base there are batches but no grams."""
    if study.millbase is not None:
        return weigh_plan(study, plan)
    return tuple(
        (batch, None, (None,) * len(batch.samples)) for batch in bench_batches(study, plan)
    )


def _control_number(study: Study, batch: BenchBatch) -> str:
    names = [control.name for control in study.controls]
    return f"control {names.index(batch.control) + 1}" if batch.control in names else ""


def _batch_stages(batch: BenchBatch) -> tuple[str, ...]:
    """Name the stages whose settings stand on the batch; a plan without days has no day to ask."""
    return ("batch",) if batch.day is not None else ("day", "batch")


def _day_asks(study: Study, batch: BenchBatch) -> tuple[Ask, ...]:
    """Ask for what is set per day; a plan without days asks it of each batch."""
    if batch.day is None:
        return ()
    return _factor_asks(study, batch.runs[0], f"day {batch.day}", ("day",))


def _factor_asks(
    study: Study, run: BenchRun, unit: str, stages: tuple[str, ...]
) -> tuple[Ask, ...]:
    """Ask for the settings of some stages; dose is in the grams, titrated ones are asked there."""
    return tuple(
        _factor_ask(factor, unit, value)
        for factor in study.varied_factors
        if factor.set_per in stages and factor.role != "dose" and not factor.set_by
        if (value := setting(factor, run.settings)) is not None
    )


def _factor_ask(factor: Factor, unit: str, value: float | str) -> Ask:
    levels = tuple(level for level in factor.levels if isinstance(level, str))
    return Ask(
        unit=unit,
        what=factor.name,
        kind="word" if levels else "number",
        how="set",
        target=value,
        measure=factor.unit,
        levels=levels,
    )


def _weighing_asks(batch: BenchBatch, recipe: BatchRecipe) -> tuple[Ask, ...]:
    balance = recipe.balance
    held = recipe.held_back_g
    asks = [_grams_ask(batch.unit, balance, recipe.first_water_g, step_how("balance"))]
    asks += [_titrant_ask(batch.unit, one) for one in recipe.titrations]
    asks += [
        _grams_ask(batch.unit, line, line.as_supplied_g, step_how(line.kind) or "weigh")
        for line in recipe.lines
        if line.kind != "balance"
    ]
    asks += [_reached_ask(batch.unit, one) for one in recipe.titrations]
    if held > 0:
        titrants = [one.titrant for one in recipe.titrations]
        asks.append(
            Ask(
                unit=batch.unit,
                what=made_up_name(balance.name),
                kind="grams",
                how=fill_up_how(f"{number_text(round(held, 2))} g", titrants),
                measure="g",
            )
        )
    return tuple(asks)


def _grams_ask(unit: str, line: RecipeLine, grams: float, how: str, what: str = "") -> Ask:
    return Ask(
        unit=unit,
        what=what or line.name,
        kind="grams",
        how=how,
        target=grams,
        measure="g",
        line=line,
    )


def _titrant_ask(unit: str, titration: Titration) -> Ask:
    target = f"{number_text(titration.target)} {titration.unit}".rstrip()
    return Ask(
        unit=unit,
        what=titrant_name(titration.titrant, titration.factor),
        kind="grams",
        how=titrant_how(titration.factor, target),
        measure="g",
    )


def _reached_ask(unit: str, titration: Titration) -> Ask:
    return Ask(
        unit=unit,
        what=titration.factor,
        kind="number",
        how=READ_REACHED,
        target=titration.target,
        measure=titration.unit,
    )


def _record_asks(batch: BenchBatch) -> tuple[Ask, ...]:
    return (
        Ask(unit=batch.unit, what="order", kind="whole", how="order as done"),
        Ask(unit=batch.unit, what="day", kind="whole", how="day as done", target=batch.day),
        Ask(unit=batch.unit, what=DATE_DONE, kind="date", how="year-month-day"),
    )


def _sample_form(study: Study, sample: BenchSample, weighed: SampleRecipe | None) -> SampleForm:
    run = sample.runs[0]
    return SampleForm(
        sample=sample,
        asks=(
            *_factor_asks(study, run, sample.unit, ("sample",)),
            *(() if weighed is None else _sample_asks(sample.unit, weighed)),
        ),
        panels=tuple(_factor_asks(study, one, panel_unit(one), ("panel",)) for one in sample.runs),
    )


def panel_unit(run: BenchRun) -> str:
    """Name the panel of a run as actuals do: `panel 4`, or `run 7` where panels have no number."""
    return f"run {run.run}" if run.panel is None else f"panel {run.panel}"


def _sample_asks(unit: str, weighed: SampleRecipe) -> tuple[Ask, ...]:
    """Ask for what is drawn, let down and tinted.

    Only additives that are set per sample keep their bare name: it stands for dose and shares.
    """
    asks = []
    if weighed.draw_g is not None:
        asks.append(Ask(unit=unit, what="drawn", kind="grams", target=weighed.draw_g, measure="g"))
    for line in weighed.letdown:
        what = line.name if line.kind == "additive" else f"{LETDOWN}: {line.name}"
        asks.append(_grams_ask(unit, line, line.as_supplied_g, "", what))
    for one in weighed.titrations:
        asks += [_titrant_ask(unit, one), _reached_ask(unit, one)]
    for line in weighed.tint:
        asks.append(_grams_ask(unit, line, line.as_supplied_g, "", f"{TINT}: {line.name}"))
    return tuple(asks)
