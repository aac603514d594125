"""The statistician's appendix: every model with its checks, the coding, the making of the plan."""

from __future__ import annotations

from collections.abc import Iterable

from analysis.fits.fitted_response import FittedResponse
from analysis.report.appendix_tables import response_tables
from analysis.report.bench_part import figures_of
from analysis.report.blocks import (
    Block,
    FiguresBlock,
    FindingsBlock,
    Part,
    Section,
    TableBlock,
    WordsBlock,
)
from analysis.report.content import ReportContent
from analysis.report.influence_table import influence_table
from analysis.report.landscape_tables import landscape_tables
from analysis.report.landscape_words import shape_sentences
from analysis.report.rounding import plain, with_error
from analysis.report.table import Cell, Table
from analysis.report.with_full_table import with_full_table
from analysis.report.words import run_error
from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.study.plan import Plan, Round
from doe.study.sentence import listed

RESPONSE_FIGURES = (
    "form",
    "coefficients",
    "half-normal",
    "units",
    "residuals",
    "scale",
    "predicted against observed",
)
LANDSCAPE_FIGURES = ("stationary point", "ridge", "bends")


def appendix_section(content: ReportContent) -> Section:
    """Gather the appendix."""
    parts = [
        Part(title=f"{name}", blocks=tuple(_response_blocks(content, name, fitted)))
        for name, fitted in content.fitted.items()
    ]
    landscape = tuple(_landscape_blocks(content))
    if landscape:
        parts.append(Part(title="Landscape", blocks=landscape))
    predictions = prediction_table(content)
    if predictions.rows:
        parts.append(Part(title="Predictions in full", blocks=(TableBlock(table=predictions),)))
    beside = with_full_table(content.with_full)
    if beside.rows:
        parts.append(Part(title="With the full models", blocks=(TableBlock(table=beside),)))
    influence = influence_table(content.influence)
    if influence.rows:
        drawn = tuple(one for one in content.figures if one.kind == "influence")
        hangs = (TableBlock(table=influence), *((FiguresBlock(drawn=drawn),) if drawn else ()))
        parts.append(Part(title="What the compromise hangs on", blocks=hangs))
    if content.fitted:
        coding = next(iter(content.fitted.values())).fit.coding
        blocks = (WordsBlock(text=_coding_words(coding)), TableBlock(table=coding_table(coding)))
        parts.append(Part(title="Coded units", blocks=blocks))
    if content.plan is not None:
        parts.append(Part(title="How the plan was made", blocks=tuple(_plan_blocks(content.plan))))
    return Section(
        title="For the statistician",
        lead="Coefficients are on the fitted scale, in coded units; the error decides the digits.",
        parts=tuple(parts),
    )


def prediction_table(content: ReportContent) -> Table:
    """Give both intervals of every response at the recommended recipe."""
    expected = content.compromise.best.expected if content.compromise else ()
    rows = []
    for entry in expected:
        error = run_error(entry)
        ends = (*entry.mean_interval, *entry.run_interval)
        rows.append(
            (
                Cell(text=f"{entry.response} ({entry.unit})" if entry.unit else entry.response),
                Cell(text="computed" if entry.response in content.computed else entry.value_is),
                Cell(text=with_error(entry.value, error), value=entry.value),
                *(Cell(text=with_error(end, error), value=end) for end in ends),
                Cell(text=plain(entry.desirability, 3), value=entry.desirability),
            )
        )
    return Table(
        name="predictions",
        title="The recommended recipe: where the true value lies and where one new run lies, 95 %.",
        head=(
            "Response", "Value is", "Value", "True value from", "to", "New run from", "to",
            "Desirability",
        ),
        rows=tuple(rows),
        words=2,
        note=f"A new run is {listed(list(dict.fromkeys(e.predict_for for e in expected)))}.",
    )  # fmt: skip


def coding_table(coding: Coding) -> Table:
    """Say which setting is −1 and which is +1."""
    return Table(
        name="coding",
        title="Coded units.",
        head=("Setting", "Coded as", "−1 is", "+1 is"),
        rows=tuple(row for axis in coding.axes for row in _coding_rows(axis)),
        words=2,
    )


def round_table(entry: Round) -> Table:
    """Say how one round was made."""
    rows = [
        ("layout", entry.layout),
        ("made for", listed(list(entry.models))),
        (
            "criterion",
            f"{entry.criterion} = {plain(entry.criterion_value)}" if entry.criterion else "",
        ),
        ("runs", _runs_words(entry.runs)),
        ("controls", _runs_words(tuple(entry.controls))),
        ("seed", "" if entry.seed is None else str(entry.seed)),
        ("version", entry.version),
        ("hash of the region", entry.region_hash),
        ("hash of the goals", entry.goals_hash),
    ]
    return Table(
        name=f"round {entry.number}",
        title=f"Round {entry.number}.",
        head=("What", "Value"),
        rows=tuple((Cell(text=what), Cell(text=value)) for what, value in rows if value),
        words=2,
    )


def _response_blocks(content: ReportContent, name: str, fitted: FittedResponse) -> Iterable[Block]:
    if fitted.findings:
        yield FindingsBlock(findings=fitted.findings)
    comparisons = content.comparisons.get(name, ())
    yield from (TableBlock(table=table) for table in response_tables(fitted, comparisons))
    drawn = figures_of(content, name, RESPONSE_FIGURES)
    if drawn:
        yield FiguresBlock(drawn=drawn)


def _landscape_blocks(content: ReportContent) -> Iterable[Block]:
    for name in content.fitted:
        landscape = content.landscapes.get(name)
        if landscape is not None:
            told = [" ".join(shape_sentences(shape)) for shape in landscape.shapes]
            words = " ".join([*told, landscape.why_no_shape]).strip()
            if words:
                yield WordsBlock(text=f"{name}: {words}")
            yield from (TableBlock(table=table) for table in landscape_tables(landscape))
        drawn = figures_of(content, name, LANDSCAPE_FIGURES)
        if drawn:
            yield FiguresBlock(drawn=drawn)


def _plan_blocks(plan: Plan) -> Iterable[Block]:
    for entry in plan.rounds:
        if entry.reasons:
            yield WordsBlock(text=" ".join(entry.reasons))
        yield TableBlock(table=round_table(entry))


def _coding_rows(axis: Axis) -> tuple[tuple[Cell, ...], ...]:
    """Give one row for a setting; a factor ranged by a choice has one for each level."""
    if not isinstance(axis, NumericAxis) or not axis.ranges:
        return (_coding_row(axis),)
    rows = []
    for entry in axis.ranges:
        words, ends = "the level lacks it", ("", "")
        if entry.low is not None and entry.high is not None:
            words, ends = _numeric_words(axis), _numeric_ends(axis, entry.low, entry.high)
        name = f"{axis.name}, {entry.choice} {entry.level}"
        rows.append((Cell(text=name), Cell(text=words), *(Cell(text=end) for end in ends)))
    return tuple(rows)


def _numeric_words(axis: NumericAxis) -> str:
    return "logarithm, middle to half range" if axis.spacing == "log" else "middle to half range"


def _numeric_ends(axis: NumericAxis, low: float, high: float) -> tuple[str, str]:
    unit = f" {axis.unit}" if axis.unit else ""
    return f"{low:g}{unit}", f"{high:g}{unit}"


def _coding_row(axis: Axis) -> tuple[Cell, ...]:
    match axis:
        case ShareAxis():
            words, ends = "its real proportion of the package", ("", "")
        case NumericAxis():
            words, ends = _numeric_words(axis), _numeric_ends(axis, axis.low, axis.high)
        case ChoiceAxis():
            words = f"{listed(list(axis.levels))}; columns sum to zero over the levels"
            ends = (axis.levels[-1], "the level named")
    return (Cell(text=axis.name), Cell(text=words), *(Cell(text=end) for end in ends))


def _coding_words(coding: Coding) -> str:
    words = (
        "A numeric setting enters as its distance from the middle of its range in half ranges, so "
        "that its coefficient is the change from the middle to the high end."
    )
    if coding.shares:
        words += (
            " Shares enter as real proportions, without an intercept: a blending term is what the "
            "pure additive would give, which mostly lies outside the limits."
        )
    return words


def _runs_words(runs: tuple[int, ...]) -> str:
    if not runs:
        return ""
    ordered = sorted(runs)
    if len(runs) > 2 and ordered == list(range(ordered[0], ordered[-1] + 1)):
        return f"{len(runs)}: {ordered[0]} to {ordered[-1]}"
    return f"{len(runs)}: {listed([str(run) for run in ordered])}"
