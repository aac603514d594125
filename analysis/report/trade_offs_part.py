"""What stands against what: frontier, weights, views, prices of limits, the lowest dose."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from analysis.choice.compromise import Recipe
from analysis.choice.frontier import Frontier
from analysis.choice.least_dose import LeastDose
from analysis.choice.limit_prices import LimitPrice, LimitPrices
from analysis.choice.regret import LeastRegret
from analysis.choice.weights import Pull
from analysis.report.blocks import Block, FiguresBlock, ListBlock, TableBlock, WordsBlock
from analysis.report.content import ReportContent
from analysis.report.rounding import fixed, percent, plain, with_error
from analysis.report.table import Cell, Table
from analysis.report.words import run_error, setting_text, unit_of
from doe.study.sentence import listed


def trade_off_blocks(content: ReportContent) -> Iterator[Block]:
    """Give every trade-off that the study has something for."""
    found = content.trade_offs
    if found is None:
        return
    figures = tuple(drawn for drawn in content.figures if drawn.kind == "frontier")
    if found.frontier is not None:
        if figures:
            yield FiguresBlock(drawn=figures)
        yield TableBlock(table=frontier_table(content, found.frontier))
    if found.weights or found.views:
        yield TableBlock(table=pull_table(content, (*found.weights, *found.views)))
    if found.least_regret is not None:
        yield TableBlock(table=regret_table(found.least_regret))
        yield WordsBlock(text=_regret_words(content, found.least_regret))
    if found.limit_prices.prices:
        yield TableBlock(table=price_table(content, found.limit_prices))
    if found.least_dose is not None:
        yield ListBlock(lines=tuple(_dose_lines(content, found.least_dose)))


def frontier_table(content: ReportContent, found: Frontier) -> Table:
    """List recipes of the frontier, well spread, each with what it gives."""
    names = [
        name
        for name in content.study.setting_names
        if any(name in one.settings for one in found.recipes)
    ]
    heads = [_with_unit(a, b) for a, b in zip(found.responses, found.units, strict=True)]
    settings = [_with_unit(name, unit_of(content.study, name)) for name in names]
    left_out = " Recipes with a response beyond its worst are left out." if found.is_useful else ""
    return Table(
        name="frontier",
        title="Recipes that nothing beats in one response without losing in another.",
        head=("Limits met?", "Desirability", *heads, *settings),
        rows=tuple(
            (
                Cell(
                    text="yes" if found.accepted[i] else "no",
                    sign="met" if found.accepted[i] else "unmet",
                ),
                Cell(text=fixed(one.desirability, 3), value=one.desirability),
                *_values(one, found.responses),
                *(_setting(content, name, one) for name in names),
            )
            for i, one in zip(found.shown, found.recipes, strict=True)
        ),
        note=(
            f"{len(found.recipes)} of {len(found.settings)} recipes found, chosen to lie far "
            "apart, best first; those of desirability 0 stand here only if nothing else does. "
            f"Settings lie between the bench's steps and are printed to the nearest.{left_out} "
            f"Any of {found.n_sampled} recipes tried is matched in every response by one found, "
            f"but for at most {fixed(found.cover, 3)} of the way from worst to best."
        ),
    )  # fmt: skip


def pull_table(content: ReportContent, pulls: Sequence[Pull]) -> Table:
    """Say where the compromise goes when the weights change."""
    names = list(pulls[0].changes)
    return Table(
        name="weights",
        title="How the compromise moves when importances change.",
        head=(
            "If", "Moves most", "By, of its range", "Gains",
            *(_with_unit(name, _unit(content, name)) for name in names),
        ),
        rows=tuple(
            (
                Cell(text=one.words),
                Cell(text=one.setting or "–"),
                Cell(text=percent(one.moved), value=one.moved),
                Cell(text=fixed(one.gained, 3), value=one.gained),
                *(_change(one.recipe, name, one.changes) for name in names),
            )
            for one in pulls
        ),
        words=2,
        note=(
            "Gains: in overall desirability, by those importances, against staying at the "
            "compromise. Then what each response changes. On the bench's steps."
        ),
    )  # fmt: skip


def regret_table(found: LeastRegret) -> Table:
    """Set the regrets of all views beside one another."""
    return Table(
        name="regrets",
        title="What each view gives up, in overall desirability by its own importances.",
        head=("View", "Its best", "Given up at the compromise", "At the least-regret recipe"),
        rows=tuple(
            (
                Cell(text=one.view),
                *(
                    Cell(text=fixed(x, 3), value=x)
                    for x in (one.best, one.compromise, one.least_regret)
                ),
            )
            for one in found.views
        ),
    )


def price_table(content: ReportContent, found: LimitPrices) -> Table:
    """Say what relaxing each limit by a unit gains."""
    names = list(found.prices[0].changes)
    title = (
        "The price of each limit: what is gained if it alone is relaxed."
        if found.is_met
        else "No recipe meets every limit: what is gained if one alone is relaxed."
    )
    return Table(
        name="limit-prices",
        title=title,
        head=(
            "Limit", "Relaxed by", "Gain",
            *(_with_unit(name, _unit(content, name)) for name in names),
        ),
        rows=tuple(
            (
                Cell(text=one.limit),
                Cell(text=f"{plain(one.by)} {one.unit}".rstrip()),
                Cell(text=fixed(one.gain, 4) if one.gain else "0", value=one.gain),
                *(_change(one.recipe, name, one.changes) for name in names),
            )
            for one in found.prices
        ),
        words=2,
        note=_price_note(found.prices),
    )  # fmt: skip


def _price_note(prices: Sequence[LimitPrice]) -> str:
    note = (
        "Gain: in overall desirability of the best recipe within all limits, between the bench's "
        "steps; 0 where the limit does not stand in the way. Then what each response changes."
    )
    if any(one.beyond_tried for one in prices):
        note += (
            " Beyond the ends of ranges the models were not made: such a gain is a reason for new "
            "runs, not for a recipe."
        )
    return note


def _regret_words(content: ReportContent, found: LeastRegret) -> str:
    return (
        "The recipe of least regret is that at which the view worst off gives up least: "
        f"{fixed(found.worst, 3)} of overall desirability (at the compromise "
        f"{fixed(found.worst_of_compromise, 3)}): "
        f"{_recipe_words(content, found.recipe)}."
    )


def _dose_lines(content: ReportContent, found: LeastDose) -> Iterator[str]:
    unit = f" {found.unit}" if found.unit else ""
    if found.dose >= found.of_compromise:
        yield (
            f"No {found.factor} below {plain(found.of_compromise)}{unit} keeps the overall "
            f"desirability within {plain(found.given_away)} of the compromise."
        )
        return
    kept = " and meets every limit" if found.keeps_limits else ""
    yield (
        f"The lowest {found.factor} that keeps the overall desirability within "
        f"{plain(found.given_away)} of the compromise{kept} is {plain(found.dose)}{unit} in place "
        f"of {plain(found.of_compromise)}: {_recipe_words(content, found.recipe)}."
    )
    changes = [
        f"{name} {_signed(by, _error(found.recipe, name))} {_unit(content, name)}".rstrip()
        for name, by in found.changes.items()
    ]
    yield (
        f"It changes: {listed(changes)}. Predicted values alone are judged here, not chance in "
        "production: see the part on risk before it is taken."
    )


def _recipe_words(content: ReportContent, recipe: Recipe) -> str:
    study = content.study
    told = [
        f"{name} {setting_text(study, name, value)} {unit_of(study, name)}".rstrip()
        for name, value in recipe.settings.items()
    ]
    return listed(told)


def _values(recipe: Recipe, responses: Sequence[str]) -> Iterator[Cell]:
    values = {one.response: one for one in recipe.expected}
    for name in responses:
        entry = values[name]
        text = with_error(entry.value, run_error(entry))
        yield Cell(text=text, value=entry.value)


def _setting(content: ReportContent, name: str, recipe: Recipe) -> Cell:
    value = recipe.settings.get(name)
    return Cell(text=setting_text(content.study, name, value), value=value)


def _change(recipe: Recipe, name: str, changes: Mapping[str, float]) -> Cell:
    by = changes[name]
    return Cell(text=_signed(by, _error(recipe, name)), value=by)


def _signed(by: float, error: float | None) -> str:
    text = with_error(by, error)
    return f"+{text}" if by > 0.0 and text.strip("0.") else text


def _error(recipe: Recipe, name: str) -> float | None:
    """Give the digits that the response carries there."""
    entry = next(one for one in recipe.expected if one.response == name)
    return run_error(entry)


def _unit(content: ReportContent, name: str) -> str:
    return content.study.response(name).unit


def _with_unit(name: str, unit: str) -> str:
    return f"{name} ({unit})" if unit else name
