"""Mass balances of batches: what was weighed in against the batch, and what was drawn from it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from analysis.lab.doubts.bench import Bench
from doe.errors import PlanError
from doe.sheets.asks import BatchForm, bench_forms
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.names import fold

# Sums of weighings close better than single ones; common practice, no source.
TOLERANCE = 0.01
DRAWN = "drawn"

Grams = Mapping[tuple[str, str], float]


def open_balances(bench: Bench) -> Iterator[Doubt]:
    """Find batches whose weighings do not add up, and those that more was drawn from than made.

    A batch is looked at where every line of its weigh-out has its grams, titrants and the made-up
    balance included.
    """
    grams = _grams(bench)
    if bench.study.millbase is None or not grams:
        return
    try:
        forms = bench_forms(bench.study, bench.plan)
    except PlanError:
        return  # the brief has changed so that it cannot be weighed out, which `check` tells
    for form in forms:
        weighed_g = _weighed(form, grams)
        if form.recipe is None:
            continue
        if weighed_g is not None:
            yield from _not_closed(bench, form, weighed_g, form.recipe.batch_g)
        made_g = form.recipe.batch_g if weighed_g is None else weighed_g
        yield from _overdrawn(bench, form, made_g, grams)


def _grams(bench: Bench) -> dict[tuple[str, str], float]:
    """Read all actuals that are numbers, the later line of a unit and material counting."""
    found: dict[tuple[str, str], float] = {}
    for actual in bench.actuals:
        try:
            value = float(actual.value)
        except ValueError:
            continue  # a level of a named choice
        if math.isfinite(value):
            found[fold(actual.unit), fold(actual.what)] = value
    return found


def _weighed(form: BatchForm, grams: Grams) -> float | None:
    """Add up a batch; None where a line has no grams yet."""
    lines = [ask for ask in form.weighing if ask.kind == "grams"]
    found = [grams.get((fold(ask.unit), fold(ask.what))) for ask in lines]
    known = [value for value in found if value is not None]
    return math.fsum(known) if lines and len(known) == len(lines) else None


def _not_closed(bench: Bench, form: BatchForm, weighed_g: float, batch_g: float) -> Iterator[Doubt]:
    gap = weighed_g - batch_g
    if abs(gap) <= TOLERANCE * batch_g:
        return
    way = "more" if gap > 0 else "less"
    yield _doubt(
        bench, form,
        f"the grams weighed add to {weighed_g:.4g} g, {abs(gap):.3g} g ({abs(gap) / batch_g:.1%}) "
        f"{way} than the batch of {batch_g:g} g.".replace("%)", " %)"),
        {"weighed, g": round(weighed_g, 3), "batch, g": batch_g, "difference, g": round(gap, 3)},
        "Look for a line noted wrongly, weighed twice or left out; of what was titrated all grams "
        "count.",
        f"{100 * TOLERANCE:g} % of the batch: common practice, no source.",
    )  # fmt: skip


def _overdrawn(bench: Bench, form: BatchForm, made_g: float, grams: Grams) -> Iterator[Doubt]:
    drawn = [grams.get((fold(one.sample.unit), DRAWN)) for one in form.samples]
    drawn_g = math.fsum(value for value in drawn if value is not None)
    if drawn_g <= made_g:
        return
    yield _doubt(
        bench, form,
        f"{drawn_g:.4g} g were drawn from {made_g:.4g} g.",
        {"drawn, g": round(drawn_g, 3), "made, g": round(made_g, 3)},
        "Correct the grams drawn, or those weighed.",
        "",
    )  # fmt: skip


def _doubt(
    bench: Bench,
    form: BatchForm,
    what: str,
    evidence: Mapping[str, float | int | str],
    advice: str,
    source: str,
) -> Doubt:
    unit = form.batch.unit
    runs = tuple(run.run for run in form.batch.runs)
    return Doubt(
        finding=Finding(
            level="caution",
            what=f"{unit[0].upper()}{unit[1:]}: {what}",
            evidence=evidence,
            advice=f"{advice} If it is right: 'millbase note STUDY --{unit} --says stands "
            "--because …'.",
            source=source,
        ),
        runs=runs,
        batches=bench.batches_of(runs),
        sources=(f"actuals.csv, {unit}",),
    )
