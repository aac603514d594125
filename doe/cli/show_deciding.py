"""How `choose`, `report` and `demo` look in the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.choice.beside_controls import BesideControls
from analysis.choice.compromise import ExpectedResponse, LevelBest, Recipe
from analysis.report.against_words import against_words
from analysis.report.rounding import interval_error, interval_text, percent, plain, with_error
from doe.cli.screen import paragraph, text_table
from doe.cli.show_influence import show_influence
from doe.cli.show_trade_offs import trade_offs_text
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
    if outcome.against_controls.best:
        parts.append(_against(outcome.against_controls))
    if found.binding:
        parts.append("It lies on:\n" + "\n".join(f"  {sentence}" for sentence in found.binding))
    if found.unmet:
        parts.append("It does not meet:\n" + "\n".join(f"  {one}" for one in found.unmet))
    if found.loss > 0:
        parts.append(f"The bench's steps cost {found.loss:.4f} of desirability.")
    if found.alternatives:
        parts.append(_alternatives(found.alternatives))
    if outcome.influence is not None:
        parts.append(show_influence(outcome.influence))
    if found.by_level:
        parts.append(_by_level(found.by_level))
    if outcome.trade_offs is not None:
        parts.append(trade_offs_text(outcome.trade_offs, study))
    if outcome.kept:
        parts.append("Kept in choices.toml.")
    return "\n\n".join(parts)


def show_report(outcome: ReportOutcome) -> str:
    """Name the files of the report."""
    beside = f"{outcome.n_figures} figures (SVG and PNG) and {outcome.n_tables} tables (CSV)"
    card = f"To move settings on: {outcome.card}\n" if outcome.card else ""
    return f"Report: {outcome.page}\nFor the record: {outcome.pdf}\n{card}Beside them: {beside}."


def show_demo(outcome: DemoOutcome) -> str:
    """Say what was done and where the report is."""
    return (
        paragraph(
            f"The whole way is done, on invented readings: {outcome.n_runs} runs planned, sheets "
            f"made, {outcome.n_readings} readings entered, {outcome.n_fitted} responses fitted, "
            "a compromise found, and an invented team agrees on it."
        )
        + f"\n\nOpen the report: {outcome.report.page}"
        + f"\nThe formula card: {outcome.agreed.contract()['card']}"
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


def _against(found: BesideControls) -> str:
    first = found.best[0]
    level = f"true values, {percent(first.level)}"
    if first.candidates > 1:
        level += f" for all {first.candidates} recipes together"
    lines = [f"Against the controls ({level}):", *(f"  {against_words(one)}" for one in found.best)]
    for number, own in enumerate(found.alternatives, start=1):
        lines += [f"Alternative {number}:", *(f"  {against_words(one)}" for one in own)]
    return "\n".join(lines)


def _alternatives(recipes: tuple[Recipe, ...]) -> str:
    names = _names(recipes)
    rows = [[f"{r.desirability:.3f}", *_settings(r, names)] for r in recipes]
    return "Nearly as desirable, and far away:\n" + text_table(["desirability", *names], rows)


def _by_level(found: tuple[LevelBest, ...]) -> str:
    """Set the levels of every choice beside one another, each at its best."""
    parts = []
    for choice in dict.fromkeys(one.choice for one in found):
        own = [one for one in found if one.choice == choice]
        names = [name for name in _names([one.recipe for one in own]) if name != choice]
        rows = [
            [one.level, f"{one.recipe.desirability:.3f}", *_settings(one.recipe, names)]
            for one in own
        ]
        table = text_table([choice, "desirability", *names], rows)
        parts.append(f"Each {choice} at its best:\n{table}")
    return "\n\n".join(parts)


def _names(recipes: Sequence[Recipe]) -> list[str]:
    """Name every setting that some recipe has; levels may lack different ones."""
    longest = sorted(recipes, key=lambda recipe: -len(recipe.settings))
    return list(dict.fromkeys(name for recipe in longest for name in recipe.settings))


def _settings(recipe: Recipe, names: Sequence[str]) -> list[str]:
    values = [recipe.settings.get(name) for name in names]
    return [value if isinstance(value, str) else plain(value) for value in values]
