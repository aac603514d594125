"""The half page for whoever decides: recipe, what it gives, how sure, what matters, what next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.choice.compromise import Compromise, ExpectedResponse
from analysis.lab.response_data import ResponseData
from analysis.report.content import ReportContent
from analysis.report.controls import beside_controls
from analysis.report.gathered_findings import what_matters
from analysis.report.refuted import refuted_steps, refuting
from analysis.report.risk_part import chance_sentence
from analysis.report.rounding import interval_text, percent, with_error
from analysis.report.table import Cell, Table
from analysis.report.words import (
    desirability_words,
    limit_text,
    run_error,
    run_interval_meets,
    setting_text,
    unit_of,
    verdict,
)
from doe.recipe.recipe import BatchRecipe
from doe.sheets.wording import (
    fill_up_how,
    grams_text,
    made_up_name,
    number_text,
    step_how,
    task_text,
    titrant_how,
    titrant_name,
)
from doe.study.sentence import listed

# The usual 5 % of a test: below it a model's own check counts against its intervals.
DOUBTED_P = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeRow:
    """One line of the recommended recipe: a setting, a raw material, or both."""

    name: str
    setting: str = ""
    unit: str = ""
    grams: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What the half page says; `recipe` is empty where there is none to recommend."""

    question: str
    recipe_head: str
    recipe: tuple[RecipeRow, ...]
    has_grams: bool
    recipe_note: str
    gives: Table
    desirability: str
    verdict: str
    beside: tuple[str, ...]
    no_recipe: str
    how_sure: tuple[str, ...]
    matters: tuple[str, ...]
    next_steps: tuple[str, ...]
    card: str = ""


def make_decision(content: ReportContent) -> Decision:
    """Gather the half page."""
    compromise = content.compromise
    return Decision(
        question=content.study.about.question,
        recipe_head=_recipe_head(content),
        recipe=_recipe_rows(content),
        has_grams=compromise is not None and content.batch_recipe is not None,
        recipe_note=_recipe_note(content.batch_recipe) if compromise else "",
        gives=gives_table(content),
        desirability=_mark(content),
        verdict=_verdict(content),
        beside=beside_controls(content),
        no_recipe=_no_recipe(content),
        how_sure=_how_sure(content),
        matters=what_matters(content),
        next_steps=_next_steps(content),
        card=content.card,
    )


def _recipe_head(content: ReportContent) -> str:
    if refuting(content) is not None:
        return "NOT CONFIRMED by batches: recipe of the models alone"
    return "Recommended recipe" if _is_any_good(content.compromise) else "Least bad recipe"


def _mark(content: ReportContent) -> str:
    if content.compromise is None:
        return ""
    if refuting(content) is not None:
        return "NOT CONFIRMED."
    return f"{content.compromise.best.desirability:.2f}"


def _is_any_good(compromise: Compromise | None) -> bool:
    """Tell whether the compromise serves every aim at all."""
    return compromise is not None and compromise.best.desirability > 0.0


def gives_table(content: ReportContent) -> Table:
    """Say what the recommended recipe gives for each response."""
    expected = content.compromise.best.expected if content.compromise else ()
    return Table(
        name="what-the-compromise-gives",
        title="What the recommended recipe gives."
        if _is_any_good(content.compromise)
        else "What the least bad recipe gives.",
        head=("Response", "Expected", "One new run, 95\N{NO-BREAK SPACE}%", "Limit", "Met?"),
        rows=tuple(_gives_row(content, entry) for entry in expected),
    )


def _gives_row(content: ReportContent, entry: ExpectedResponse) -> tuple[Cell, ...]:
    response = content.study.response(entry.response)
    error = run_error(entry)
    said, sign = verdict(response, entry)
    low, high = entry.run_interval
    return (
        Cell(text=f"{entry.response} ({entry.unit})" if entry.unit else entry.response),
        Cell(text=with_error(entry.value, error), value=entry.value),
        Cell(text=interval_text(low, high, error)),
        Cell(text=limit_text(response, unit=False)),
        Cell(text=said, sign=sign),
    )


def _recipe_rows(content: ReportContent) -> tuple[RecipeRow, ...]:
    """Give the weigh-out in order of addition, then the settings that are not weighed."""
    if content.compromise is None:
        return ()
    values = content.compromise.best.settings
    steps = _weigh_rows(content.batch_recipe) if content.batch_recipe else ()
    set_rows = {
        name: RecipeRow(
            name=name,
            setting=setting_text(content.study, name, value),
            unit=unit_of(content.study, name),
        )
        for name, value in values.items()
    }
    weighed = [
        replace(row, setting=known.setting, unit=known.unit)
        if (known := set_rows.pop(row.name, None)) is not None
        else row
        for row in steps
    ]
    return (*weighed, *set_rows.values())


def _weigh_rows(recipe: BatchRecipe) -> tuple[RecipeRow, ...]:
    """Give what is done in turn, in the words of the bench cards: without what is held back."""
    first, *others = recipe.lines
    rows = [
        RecipeRow(
            name=task_text(first.name, step_how("balance")), grams=grams_text(recipe.first_water_g)
        )
    ]
    for one in recipe.titrations:
        target = f"{number_text(one.target)} {one.unit}".rstrip()
        what, how = titrant_name(one.titrant, one.factor), titrant_how(one.factor, target)
        rows.append(RecipeRow(name=task_text(what, how)))
    rows += [
        RecipeRow(name=task_text(one.name, step_how(one.kind)), grams=grams_text(one.as_supplied_g))
        for one in others
    ]
    if recipe.held_back_g > 0:
        held = f"{number_text(round(recipe.held_back_g, 2))} g"
        how = fill_up_how(held, [one.titrant for one in recipe.titrations])
        rows.append(RecipeRow(name=task_text(made_up_name(first.name), how)))
    return tuple(rows)


def _recipe_note(recipe: BatchRecipe | None) -> str:
    if recipe is None:
        return "Shares are of the package, active matter."
    return (
        f"Grams for one batch of {recipe.batch_g:g} g, as supplied, in order of addition; shares "
        "are of the package, active matter."
    )


def _verdict(content: ReportContent) -> str:
    compromise, failed = content.compromise, refuting(content)
    if compromise is None:
        return ""
    overall = compromise.best.desirability
    view = f", in the view of '{compromise.view}'" if compromise.view else ""
    if failed is not None:
        return (
            f"{failed.head()}: {failed.why_words()} The models alone give an overall desirability "
            f"of {overall:.2f}, 1 at best{view}; what they foretell did not come out."
        )
    return f"overall desirability, 1 at best{view}: {desirability_words(overall)}."


def _no_recipe(content: ReportContent) -> str:
    if content.compromise is not None:
        return ""
    if content.no_compromise:
        return content.no_compromise
    if not content.fitted:
        return "No response is modelled yet: the runs wait for their readings."
    return "No response has an aim, so nothing tells recipes apart. Give the aims in the brief."


def _how_sure(content: ReportContent) -> tuple[str, ...]:
    lines: list[str] = []
    if content.risk is not None:
        lines.append(f"{chance_sentence(content.risk)}: all that scatters in production together.")
    if content.compromise is not None:
        lines += _sure_of_limits(content, content.compromise.best.expected)
        lines += _doubts(content)
    told = [
        f"{name} {percent(max(fitted.assessment.r2_predicted, 0.0))}"
        for name, fitted in content.fitted.items()
        if fitted.assessment.r2_predicted is not None
    ]
    if told:
        lines.append(f"Of the variation in runs left out, the models foretell: {listed(told)}.")
    if content.not_fitted:
        lines.append(f"Not modelled: {listed(list(content.not_fitted))}.")
    lines += _confirmed(content)
    return tuple(lines) or ("Nothing can be said before readings are in.",)


def _sure_of_limits(content: ReportContent, expected: Sequence[ExpectedResponse]) -> list[str]:
    safe: list[str] = []
    open_: list[str] = []
    sure: list[str] = []
    for entry in expected:
        whole = run_interval_meets(content.study.response(entry.response), entry)
        if whole is not None and entry.accepted:
            is_computed = entry.response in content.computed
            (sure if is_computed else safe if whole else open_).append(entry.response)
    lines = []
    if sure:
        lines.append(f"Computed from the recipe and within its limit: {listed(sure)}.")
    if safe:
        lines.append(
            "One by one, a new run of the laboratory stays within its limit in 19 of 20 cases "
            f"or more: {listed(safe)}."
        )
    if open_:
        lines.append(f"Met on average, but a single run may miss it: {listed(open_)}.")
    return lines


def _doubts(content: ReportContent) -> list[str]:
    """Name the models whose own checks speak against taking their intervals at their word."""
    told = []
    for name, fitted in content.fitted.items():
        known, data = fitted.assessment, content.data.get(name)
        reasons = []
        if any(test.p is not None and test.p < DOUBTED_P for test in known.lack_of_fit):
            reasons.append("lack of fit")
        if data is not None and _left_out_off_scale(content, data, fitted.fit.family):
            reasons.append("runs off the scale left out")
        if known.outliers:
            reasons.append("an outlying run")
        if known.order is not None and known.order.p is not None and known.order.p < DOUBTED_P:
            reasons.append("drift along the order of runs")
        if reasons:
            told.append(f"{name} ({', '.join(reasons)})")
    return [f"Less sure than that says: {listed(told)}; see What to heed."] if told else []


def _left_out_off_scale(content: ReportContent, data: ResponseData, family: str) -> bool:
    """Tell whether runs of the plan off the scale are missing from a fit that cannot take them."""
    kinds = (
        {} if content.plan is None else dict(zip(content.plan.run, content.plan.kind, strict=True))
    )
    return family == "gaussian" and any(kinds.get(run) != "control" for run in data.off_scale)


def _confirmed(content: ReportContent) -> tuple[str, ...]:
    """Say what the latest batches of the laboratory and of the plant say of a recipe."""
    latest = {one.entry.where: one for one in content.confirmations}
    judged = [one for one in latest.values() if one.outcome.state == "judged"]
    if judged:
        return tuple(one.verdict_words() for one in judged)
    has_runs = content.plan is not None and "confirm" in content.plan.kind
    if content.compromise is None or has_runs:
        return ()
    return ("No batch has confirmed it yet.",)


def _next_batches(content: ReportContent) -> tuple[str, ...]:
    """Say whether batches are to be made before anything rests on the recipe, or what they say."""
    latest = [one for one in content.confirmations if one.entry.where == "laboratory"][-1:]
    if not latest:
        return (
            "Make the recommended recipe as new batches beside a control before anything rests on "
            "it (millbase confirm).",
        )
    advice = latest[0].next
    if advice is None or refuting(content) is not None:
        return ()
    return (f"The batches did not confirm it: {advice.why}: millbase {advice.command}",)


def _next_steps(content: ReportContent) -> tuple[str, ...]:
    if content.next_steps:
        return (*refuted_steps(content), *content.next_steps)
    waiting = [line.text for line in content.standing if line.state in ("missing", "waiting")]
    if content.compromise is None:
        told = (*content.model_steps, *waiting)
        return told or ("Enter the readings, fit the responses and choose again.",)
    if not _is_any_good(content.compromise):
        return (
            "No recipe serves every aim: settle which worst or limit can move, or widen the region "
            "and extend the plan. Nothing is recommended.",
            *content.model_steps,
            *waiting,
        )
    steps = [*refuted_steps(content), *content.model_steps, *_next_batches(content)]
    if content.compromise.unmet:
        steps.insert(
            0,
            "Settle whether the limits not met can move, or widen a range and extend the plan.",
        )
    return (*steps, *waiting)
