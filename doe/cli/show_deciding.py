"""How `choose`, `report` and `demo` look in the terminal."""

from __future__ import annotations

from analysis.choice.compromise import ExpectedResponse, Recipe
from analysis.report.rounding import interval_error, interval_text, plain, with_error
from doe.cli.screen import paragraph, text_table
from doe.steps.choose import ChooseOutcome
from doe.steps.demo import DemoOutcome
from doe.steps.report import ReportOutcome
from doe.study.brief import Study


def show_choose(outcome: ChooseOutcome) -> str:
    """Show the compromise, what it gives, what binds it, and the alternatives."""
    found, study = outcome.compromise, outcome.analysis.session.study
    weighing = f", weighed as the {found.view} does" if found.view else ""
    parts = [
        f"The compromise{weighing}: overall desirability {found.best.desirability:.3f}",
        settings_text(found.best, study),
        _expected_text(found.best),
    ]
    if found.binding:
        parts.append("It lies on:\n" + "\n".join(f"  {sentence}" for sentence in found.binding))
    if found.unmet:
        parts.append("It does not meet:\n" + "\n".join(f"  {one}" for one in found.unmet))
    if found.loss > 0:
        parts.append(f"The bench's steps cost {found.loss:.4f} of desirability.")
    if found.alternatives:
        parts.append(_alternatives(found.alternatives))
    if outcome.kept:
        parts.append("Kept in choices.toml.")
    return "\n\n".join(parts)


def show_report(outcome: ReportOutcome) -> str:
    """Name the files of the report."""
    beside = f"{outcome.n_figures} figures (SVG and PNG) and {outcome.n_tables} tables (CSV)"
    return f"Report: {outcome.page}\nBeside it: {beside}."


def show_demo(outcome: DemoOutcome) -> str:
    """Say what was done and where the report is."""
    return (
        paragraph(
            f"The whole way is done, on invented readings: {outcome.n_runs} runs planned, sheets "
            f"made, {outcome.n_readings} readings entered, {outcome.n_fitted} responses fitted, "
            "a compromise found."
        )
        + f"\n\nOpen the report: {outcome.report.page}"
    )


def settings_text(recipe: Recipe, study: Study) -> str:
    """Set out a recipe, one setting a line with its unit."""
    units = {factor.name: factor.unit for factor in study.factors}
    rows = [
        [
            name,
            value if isinstance(value, str) else plain(value),
            units.get(name, "share of active matter"),
        ]
        for name, value in recipe.settings.items()
    ]
    return text_table(["setting", "value", "unit"], rows)


def _expected_text(recipe: Recipe) -> str:
    heads = [
        "response",
        "value",
        "unit",
        "true value within",
        "one new run within",
        "desirability",
        "limit",
    ]
    return text_table(heads, [_expected_row(item) for item in recipe.expected])


def _expected_row(item: ExpectedResponse) -> list[str]:
    error = interval_error(*item.mean_interval)
    met = {True: "met", False: "NOT met", None: "none"}[item.accepted]
    return [
        item.response,
        with_error(item.value, error),
        item.unit,
        interval_text(*item.mean_interval, error),
        interval_text(*item.run_interval, interval_error(*item.run_interval)),
        "–" if item.desirability is None else f"{item.desirability:.3f}",
        met,
    ]


def _alternatives(recipes: tuple[Recipe, ...]) -> str:
    names = list(recipes[0].settings)
    rows = [
        [
            f"{r.desirability:.3f}",
            *(v if isinstance(v, str) else plain(v) for v in r.settings.values()),
        ]
        for r in recipes
    ]
    return "Nearly as desirable, and far away:\n" + text_table(["desirability", *names], rows)
