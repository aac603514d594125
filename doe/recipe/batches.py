"""The plan as the bench sees it: batches, the samples drawn from each, the runs on each sample."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from doe.errors import Fault, PlanError
from doe.recipe.batch_recipe import weigh_batch
from doe.recipe.letdown import weigh_sample
from doe.recipe.recipe import BatchRecipe, SampleRecipe
from doe.recipe.titration import SettingsRow
from doe.study.brief import Control, Study
from doe.study.names import match_name
from doe.study.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchRun:
    """One run of the plan with everything that is set in it.

    Attributes:
        run: Run number.
        row: Its row in the plan.
        panel: Panel number, None where the plan has none.
        settings: Planned values by name, held factors and the control's own included.
    """

    run: int
    row: int
    panel: int | None
    settings: Mapping[str, float | str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchSample:
    """What is drawn from a batch at one time and let down.

    Attributes:
        number: Sample number, None where the plan has none.
        runs: The runs on it, in bench order.
    """

    number: int | None
    runs: tuple[BenchRun, ...]

    @property
    def unit(self) -> str:
        """Name the sample as actuals do: `sample 4`, or `run 7` where samples have no number."""
        return f"run {self.runs[0].run}" if self.number is None else f"sample {self.number}"


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchBatch:
    """One mill batch.

    Attributes:
        number: Batch number, None where the plan has none.
        day: Planned day, None where the plan has none.
        control: Name of the control it is of, empty for a batch of the plan.
        samples: What is drawn from it, in bench order.
    """

    number: int | None
    day: int | None
    control: str
    samples: tuple[BenchSample, ...]

    @property
    def runs(self) -> tuple[BenchRun, ...]:
        """All runs of the batch, in bench order."""
        return tuple(run for sample in self.samples for run in sample.runs)

    @property
    def unit(self) -> str:
        """Name the batch as actuals do: `batch 3`, or `run 7` where batches have no number."""
        return f"run {self.runs[0].run}" if self.number is None else f"batch {self.number}"

    @property
    def settings(self) -> SettingsRow:
        """The settings of its first run: right for all that is set per batch or day."""
        return self.runs[0].settings


def bench_batches(study: Study, plan: Plan) -> tuple[BenchBatch, ...]:
    """Gather the runs of a plan into batches and samples, in bench order of their first run."""
    rows_of_batch = _grouped(range(len(plan)), plan.batch)
    names = plan.control_names
    return tuple(
        BenchBatch(
            number=plan.batch[rows[0]],
            day=plan.day[rows[0]],
            control=names.get(plan.run[rows[0]], ""),
            samples=tuple(
                BenchSample(
                    number=plan.sample[members[0]],
                    runs=tuple(_bench_run(study, plan, row) for row in members),
                )
                for members in _grouped(rows, plan.sample)
            ),
        )
        for rows in rows_of_batch
    )


def run_settings(study: Study, plan: Plan, row: int) -> dict[str, float | str | None]:
    """Give everything that is set in one run: planned, held, and what its control names."""
    settings: dict[str, float | str | None] = {
        factor.name: factor.value for factor in study.factors if factor.kind == "held"
    }
    settings |= plan.settings.row(row)
    control = named_control(study, plan.control_names.get(plan.run[row], ""))
    if control is not None:
        settings |= {item.name: 0.0 for item in study.additives}
        settings |= {match_name(name, settings) or name: v for name, v in control.settings.items()}
    return settings


def named_control(study: Study, name: str) -> Control | None:
    """Find a control of the brief; None without one of that name."""
    return next((control for control in study.controls if control.name == name), None)


def weigh_plan(
    study: Study, plan: Plan
) -> tuple[tuple[BenchBatch, BatchRecipe, tuple[SampleRecipe, ...]], ...]:
    """Weigh out every batch of a plan and every sample of it, in bench order.

    Raises:
        PlanError: All recipes that cannot be weighed and all amounts that do not fit, together.
    """
    faults: list[Fault] = list(_amount_faults(study))
    recipes = []
    for batch in bench_batches(study, plan):
        where = _where(batch)
        faults += _draw_faults(study, batch, where)
        try:
            recipe = weigh_batch(
                study, batch.settings, control=named_control(study, batch.control), where=where
            )
            samples = tuple(
                weigh_sample(study, sample.runs[0].settings, where=f"plan.csv, {sample.unit}")
                for sample in batch.samples
            )
        except PlanError as error:
            faults += error.faults
        else:
            recipes.append((batch, recipe, samples))
    if faults:
        raise PlanError.from_faults(dict.fromkeys(faults))
    return tuple(recipes)


def _where(batch: BenchBatch) -> str:
    run = f"run {batch.runs[0].run}"
    return f"plan.csv, {run}" if batch.number is None else f"plan.csv, {run} ({batch.unit})"


def _bench_run(study: Study, plan: Plan, row: int) -> BenchRun:
    return BenchRun(
        run=plan.run[row], row=row, panel=plan.panel[row], settings=run_settings(study, plan, row)
    )


def _grouped(rows: Sequence[int], numbers: Sequence[int | None]) -> list[list[int]]:
    """Gather rows that share a number; a row without one stands alone."""
    groups: dict[tuple[str, int], list[int]] = {}
    for row in rows:
        number = numbers[row]
        key = ("row", row) if number is None else ("number", number)
        groups.setdefault(key, []).append(row)
    return list(groups.values())


def _amount_faults(study: Study) -> list[Fault]:
    """Check the amounts that every sample shares."""
    faults = []
    sample_g = study.millbase.sample_g if study.millbase else None
    if study.letdown and sample_g and study.letdown.millbase_g > sample_g:
        faults.append(
            Fault(
                what=f"the let-down takes {study.letdown.millbase_g:g} g of mill base from samples "
                f"of {sample_g:g} g",
                where="study.toml, [letdown] millbase_g",
                allowed=f"at most {sample_g:g} g",
                do="Lower letdown.millbase_g or raise millbase.sample_g.",
            )
        )
    if study.letdown and study.tint:
        total_g = study.letdown.millbase_g + sum(i.grams for i in study.letdown.ingredients)
        if study.tint.letdown_g > total_g:
            faults.append(
                Fault(
                    what=f"the white reduction takes {study.tint.letdown_g:g} g from a let-down of "
                    f"{total_g:g} g",
                    where="study.toml, [tint] letdown_g",
                    allowed=f"at most {total_g:g} g",
                    do="Lower tint.letdown_g or make a larger let-down.",
                )
            )
    return faults


def _draw_faults(study: Study, batch: BenchBatch, where: str) -> list[Fault]:
    """Check that a batch is large enough for the samples drawn from it."""
    if study.millbase is None or study.millbase.sample_g is None:
        return []
    batch_g, sample_g = study.millbase.batch_g, study.millbase.sample_g
    n_samples = len(batch.samples)
    if sample_g * n_samples <= batch_g:
        return []
    return [
        Fault(
            what=f"{n_samples} samples of {sample_g:g} g are drawn from a batch of {batch_g:g} g",
            where=where,
            allowed=f"at most {int(batch_g // sample_g)} samples of {sample_g:g} g",
            do=f"Raise batch_g to {n_samples * sample_g:g} or more, or lower sample_g.",
        )
    ]
