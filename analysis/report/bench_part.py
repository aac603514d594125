"""The formulator's part: room, landscape, effects, other recipes, what waits, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from analysis.choice.compromise import Compromise, LevelBest, Recipe
from analysis.figures.drawn import Drawn
from analysis.figures.looks import sentence_case
from analysis.lab.response_data import ResponseData, in_words
from analysis.report.blocks import (
    Block,
    FiguresBlock,
    FindingsBlock,
    ListBlock,
    Part,
    Section,
    TableBlock,
    WordsBlock,
)
from analysis.report.confirmation_part import confirmation_blocks
from analysis.report.content import ReportContent
from analysis.report.controls import control_table
from analysis.report.gathered_findings import pressing_findings
from analysis.report.landscape_words import common_flat_sentences
from analysis.report.risk_part import risk_blocks
from analysis.report.rounding import fixed, with_error
from analysis.report.table import Cell, Table
from analysis.report.trade_offs_part import trade_off_blocks
from analysis.report.words import (
    forbid_sentence,
    goal_text,
    limit_sentence,
    limit_text,
    run_error,
    setting_text,
    unit_of,
)
from doe.study.sentence import listed
from doe.study.status import State

STATE_WORDS: dict[State, str] = {
    "done": "Done", "missing": "Missing", "waiting": "Waiting", "doubtful": "Doubtful",
}  # fmt: skip
CAUTIONS = (
    "Read the safety data sheet of every raw material before weighing; ammonia, amines and "
    "biocides need extraction, gloves and eye protection.",
    "Models hold inside the ranges tried, on the mill and with the lots used here. Minutes on a "
    "laboratory mill do not carry over to another mill; end points (fineness, strength, "
    "viscosity, temperature) do.",
    "A recipe beyond the limits of the brief is a guess, however well the models fit.",
)


def bench_section(content: ReportContent) -> Section:
    """Gather the formulator's part; parts with nothing to say are left out."""
    parts = [
        Part(title=title, blocks=tuple(blocks))
        for title, blocks in (
            ("Room around the recommended recipe", list(_room(content))),
            (
                "How the responses lie",
                [*_figures(content, ("contours",)), *_figures(content, ("triangle",))],
            ),
            ("What each setting does", list(_figures(content, ("effects",)))),
            ("What more of each additive does", list(_figures(content, ("additives",)))),
            ("In production", list(risk_blocks(content))),
            ("What stands against what", list(trade_off_blocks(content))),
            ("Confirmation batches", list(confirmation_blocks(content))),
            ("Other recipes nearly as good", list(_alternatives(content))),
            ("Each level at its best", list(_levels(content))),
            ("Against the controls", list(_controls(content))),
            ("What was asked", list(_asked(content))),
            ("What waits and what was left out", list(_waits(content))),
            ("What to heed", list(_found(content))),
            ("Cautions", [ListBlock(lines=CAUTIONS)]),
        )
        if blocks
    ]
    return Section(
        title="For the formulator",
        lead="Settings are in lab units; shares are of the package, active matter.",
        parts=tuple(parts),
    )


def _room(content: ReportContent) -> Iterable[Block]:
    compromise = content.compromise
    if compromise is None:
        return
    yield from _figures(content, ("room",))
    yield WordsBlock(
        text="The room keeps limits on average only: at an end that a limit sets, half the batches "
        "fail. Where one may set so that most batches pass, the part In production tells."
    )
    flat = common_flat_sentences(content.landscapes)
    if flat:
        yield WordsBlock(text="Where the models are flat round it, one setting at a time:")
        yield ListBlock(lines=tuple(sentence_case(line) for line in flat))
    if compromise.binding:
        yield WordsBlock(text="The recipe lies on these limits and ends of ranges:")
        yield ListBlock(lines=compromise.binding)
    if compromise.loss > 0:
        yield WordsBlock(
            text=(
                f"Rounding to what the bench can set costs {fixed(compromise.loss, 3)} of "
                f"{fixed(compromise.unrounded.desirability, 3)} in overall desirability."
            )
        )


def _figures(content: ReportContent, kinds: tuple[str, ...]) -> Iterable[Block]:
    chosen = tuple(drawn for drawn in content.figures if drawn.kind in kinds)
    if chosen:
        yield FiguresBlock(drawn=chosen)


def _alternatives(content: ReportContent) -> Iterable[Block]:
    if content.compromise is not None and content.compromise.alternatives:
        yield TableBlock(table=alternatives_table(content, content.compromise))


def _levels(content: ReportContent) -> Iterable[Block]:
    found = content.compromise.by_level if content.compromise is not None else ()
    for choice in dict.fromkeys(one.choice for one in found):
        own = [one for one in found if one.choice == choice]
        yield TableBlock(table=levels_table(content, choice, own))


def levels_table(content: ReportContent, choice: str, found: Sequence[LevelBest]) -> Table:
    """Set the levels of a choice beside one another, each with the recipe that serves it best."""
    recipes = tuple(one.recipe for one in found)
    rows = [_desirability_row(recipes)]
    rows += [
        _setting_row(content, name, recipes)
        for name in _settings_of(content, recipes)
        if name != choice
    ]
    rows += [_expected_row(content, i, recipes) for i in range(len(recipes[0].expected))]
    return Table(
        name=f"{choice} each at its best",
        title=f"Each {choice} with the settings that serve it best.",
        head=("What", *(one.level for one in found)),
        rows=tuple(rows),
    )


def _settings_of(content: ReportContent, recipes: Sequence[Recipe]) -> list[str]:
    """Name what some recipe sets, in the brief's order; levels may lack different settings."""
    some = {name for recipe in recipes for name in recipe.settings}
    return [name for name in content.study.setting_names if name in some]


def alternatives_table(content: ReportContent, compromise: Compromise) -> Table:
    """Set the recommended recipe beside the others, one column a recipe."""
    recipes = (compromise.best, *compromise.alternatives)
    names = ("recommended", *(f"other {i}" for i in range(1, len(recipes))))
    rows = [_desirability_row(recipes)]
    rows += [_setting_row(content, name, recipes) for name in _settings_of(content, recipes)]
    rows += [_expected_row(content, i, recipes) for i in range(len(compromise.best.expected))]
    return Table(
        name="alternatives",
        title="Recipes nearly as desirable that lie far from the recommended one.",
        head=("What", *names),
        rows=tuple(rows),
    )


def _desirability_row(recipes: tuple[Recipe, ...]) -> tuple[Cell, ...]:
    cells = [Cell(text=fixed(r.desirability, 3), value=r.desirability) for r in recipes]
    return (Cell(text="overall desirability"), *cells)


def _setting_row(
    content: ReportContent, name: str, recipes: tuple[Recipe, ...]
) -> tuple[Cell, ...]:
    unit = unit_of(content.study, name)
    values = [recipe.settings.get(name) for recipe in recipes]
    cells = [Cell(text=setting_text(content.study, name, v), value=v) for v in values]
    return (Cell(text=f"{name} ({unit})" if unit else name), *cells)


def _expected_row(content: ReportContent, i: int, recipes: tuple[Recipe, ...]) -> tuple[Cell, ...]:
    first = recipes[0].expected[i]
    unit = f" ({first.unit})" if first.unit else ""
    cells = []
    for recipe in recipes:
        entry = recipe.expected[i]
        text = with_error(entry.value, run_error(entry))
        cells.append(
            Cell(text=text, value=entry.value, sign="unmet" if entry.accepted is False else "")
        )
    return (Cell(text=f"{first.response}{unit}"), *cells)


def _controls(content: ReportContent) -> Iterable[Block]:
    table = control_table(content)
    if table.rows:
        yield TableBlock(table=table)


def _asked(content: ReportContent) -> Iterable[Block]:
    yield TableBlock(table=goal_table(content))
    limits = [limit_sentence(limit) for limit in content.study.limits]
    limits += [forbid_sentence(forbid) for forbid in content.study.forbids]
    if limits:
        yield WordsBlock(text="Limits of the brief over several settings:")
        yield ListBlock(lines=tuple(limits))


def goal_table(content: ReportContent) -> Table:
    """Say what is wanted of each response and how much it counts."""
    return Table(
        name="goals",
        title="What is wanted of each response.",
        head=("Response", "Aim", "Limit", "Importance"),
        rows=tuple(
            (
                Cell(text=f"{response.name} ({response.unit})" if response.unit else response.name),
                Cell(text=goal_text(response)),
                Cell(text=limit_text(response)),
                Cell(text=f"{response.importance:g}", value=response.importance),
            )
            for response in content.study.responses
        ),
        words=3,
    )


def _waits(content: ReportContent) -> Iterable[Block]:
    lines = [f"{STATE_WORDS[line.state]}: {line.text}" for line in content.standing]
    lines += [f"{name} is not modelled: {why}" for name, why in content.not_fitted.items()]
    lines += run_lines(content.data)
    if lines:
        yield ListBlock(lines=tuple(lines))


def _found(content: ReportContent) -> Iterable[Block]:
    findings = pressing_findings(content)
    if findings:
        yield FindingsBlock(findings=findings)


def run_lines(data: Mapping[str, ResponseData]) -> list[str]:
    """Say which runs wait, gelled, lie off the scale or were left out, and for which responses."""
    responses: dict[str, list[str]] = {}
    for name, one in data.items():
        for words in _run_words(one):
            responses.setdefault(words, []).append(name)
    return [f"{sentence_case(listed(names))}: {words}." for words, names in responses.items()]


def _run_words(data: ResponseData) -> Iterable[str]:
    if data.pending:
        yield f"{in_words('run', data.pending)} without a reading"
    if data.gelled:
        yield f"{in_words('run', data.gelled)} gelled"
    off = {run: flag for run, flag in data.off_scale.items() if run not in data.gelled}
    for flag in dict.fromkeys(off.values()):
        runs = [run for run in off if off[run] == flag]
        yield f"{in_words('run', runs)} read off the scale ({flag})"
    for why in dict.fromkeys(data.left_out.values()):
        runs = [run for run, reason in data.left_out.items() if reason == why]
        yield f"{in_words('run', runs)} not fitted ({why})"


def figures_of(content: ReportContent, response: str, kinds: tuple[str, ...]) -> tuple[Drawn, ...]:
    """Give the figures of one response, of some kinds, in the order of the album."""
    return tuple(
        drawn for drawn in content.figures if drawn.subject == response and drawn.kind in kinds
    )
