"""The risk in the team's words: batches of ten, what costs them, robust choice, tolerance."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.report.blocks import Block, FiguresBlock, FindingsBlock, TableBlock, WordsBlock
from analysis.report.content import ReportContent
from analysis.report.rounding import fixed, interval_text, percent, plain, with_error
from analysis.report.table import Cell, Table
from analysis.report.words import setting_text, unit_of
from analysis.risk.probability import Risk
from analysis.risk.risk_findings import FORM
from analysis.risk.robust import RobustChoice, Standing, told_alike
from analysis.risk.robust_window import HERE, RobustWindow
from analysis.risk.tolerance import ToleranceBox
from analysis.risk.words import of_hundred, source_words

KINDS = ("joint probability", "probability triangle", "tolerance box", "risk sources")
# A source whose removal gives less than this is not worth a sentence.
WORTH_A_SENTENCE = 0.005
HEADS = {"compromise": "Recommended", "most probable": "Most probable"}


def risk_blocks(content: ReportContent) -> Iterator[Block]:
    """Give what is known of production."""
    risk, robust = content.risk, content.robust
    if risk is None:
        return
    yield WordsBlock(text=risk_sentence(risk))
    yield TableBlock(table=risk_table(risk))
    if robust is not None:
        yield TableBlock(table=robust_table(content, told_alike(robust.choice, risk)))
        yield WordsBlock(text=box_sentence(robust))
        if not robust.box.is_empty:
            yield TableBlock(table=box_table(robust.box))
    figures = tuple(drawn for drawn in content.figures if drawn.kind in KINDS)
    if figures:
        yield FiguresBlock(drawn=figures)
    findings = (*(robust.findings if robust is not None else ()), *risk.findings)
    told = tuple(one for one in findings if one.what != FORM)
    if told:
        yield FindingsBlock(findings=told)


def risk_sentence(risk: Risk) -> str:
    """Say the probability as batches, and what would gain most.

    The words of the report and of the card: whole batches of ten where that is near enough.
    """
    words = chance_sentence(risk)
    weak = min(risk.per_response, key=lambda one: one.probability.value)
    if len(risk.per_response) > 1 and weak.probability.value < 0.995:
        words += f"; {weak.response} is missed most often"
    first = risk.contributions[0] if risk.contributions else None
    if first is not None and first.gain.value >= WORTH_A_SENTENCE:
        words += (
            f". Most would be gained without {source_words(first.source, first.kind)}: "
            f"{100.0 * first.probability_without:.1f} of 100"
        )
    return f"{words}. {FORM}"


def chance_sentence(risk: Risk) -> str:
    """Say the probability alone, without a full stop."""
    tested = risk.probability
    return (
        f"Made like this, {batches_words(tested.value)} meet every limit as tested "
        f"({of_hundred(tested.value, tested.error)} of 100; by their true values "
        f"{of_hundred(risk.probability_true.value, risk.probability_true.error)})"
    )


def batches_words(probability: float) -> str:
    """Say a probability as batches of ten.

    Example:
        >>> batches_words(0.91), batches_words(0.974), batches_words(0.02)
        ('about 9 production batches in 10', 'nearly all production batches', \
'hardly any production batch')
    """
    tens = round(10.0 * probability)
    if tens == 10:
        return "nearly all production batches"
    return f"about {tens} production batches in 10" if tens else "hardly any production batch"


def risk_table(risk: Risk) -> Table:
    """Say for each response how many batches meet its limits and what room is left."""
    return Table(
        name="risk",
        title="How often production meets each limit at the recommended recipe.",
        head=(
            "Response", "Limit", "Middle batch", f"{percent(risk.level)} of batches within",
            "Meet it, of 100", "True", "Room, sd",
        ),
        rows=tuple(
            (
                Cell(text=f"{one.response} ({one.unit})" if one.unit else one.response),
                Cell(text=" and ".join(one.limits)),
                Cell(text=with_error(one.expected, one.production_sd or None), value=one.expected),
                Cell(text=interval_text(*one.production_interval, one.production_sd or None)),
                Cell(
                    text=of_hundred(one.probability.value, one.probability.error),
                    value=one.probability.value,
                ),
                Cell(
                    text=of_hundred(one.probability_true.value, one.probability_true.error),
                    value=one.probability_true.value,
                ),
                Cell(
                    text="–" if one.room_in_sd is None else fixed(one.room_in_sd, 1),
                    value=one.room_in_sd,
                ),
            )
            for one in risk.per_response
        ),
        words=2,
        note=f"{risk.plan.n} batches drawn, seed {risk.plan.seed}.",
    )  # fmt: skip


def robust_table(content: ReportContent, found: RobustChoice) -> Table:
    """Set the recommended recipe and the robust choice side by side."""
    standings = found.standings
    heads = [HEADS.get(one.name, f"Best at {100 * found.level:g} of 100") for one in standings]
    rows = [
        _row(
            "Batches of 100 that meet every limit",
            [of_hundred(s.probability.value, s.probability.error) for s in standings],
        ),
        _row(
            "By their true values",
            [of_hundred(s.probability_true.value, s.probability_true.error) for s in standings],
        ),
        _row("Overall desirability", [fixed(s.recipe.desirability, 3) for s in standings]),
    ]
    for name in content.study.setting_names:
        if any(name in s.recipe.settings for s in standings):
            unit = unit_of(content.study, name)
            head = f"{name} ({unit})" if unit else name
            rows.append(_row(head, [_setting(content, name, s) for s in standings]))
    for i, expected in enumerate(standings[0].recipe.expected):
        unit = f" ({expected.unit})" if expected.unit else ""
        rows.append(_row(f"{expected.response}{unit}", [_expected(s, i) for s in standings]))
    return Table(
        name="robust choice",
        title="The recommended recipe beside the robust choice.",
        head=("What", *heads),
        rows=tuple(rows),
        note="Responses as predicted; on the bench's steps.",
    )


def box_sentence(found: RobustWindow) -> str:
    """Say what the tolerance box is worth."""
    box = found.box
    if box.is_empty:
        return f"There is no tolerance box for {100 * box.level:g} of 100 batches: {box.why_empty}."
    whose = "this recipe" if found.box_is_around == HERE else f"the {found.box_is_around} settings"
    room = " A share moves by its own grams, the others making room at the same dose."
    return (
        f"Around {whose} one may set anywhere in the tolerance box, all settings at once, and at "
        f"least {100 * box.level:g} of 100 production batches meet every limit (least found: "
        f"{of_hundred(box.least.value, box.least.error)})."
        + (room if any(side.is_share for side in box.sides) else "")
    )


def box_table(box: ToleranceBox) -> Table:
    """List the ends of the tolerance box."""
    return Table(
        name="tolerance box",
        title=f"Tolerance box in which {100 * box.level:g} of 100 batches meet every limit.",
        head=("Setting", "Low", "Choice", "High", "The plant holds"),
        rows=tuple(
            (
                Cell(text=f"{side.setting} ({side.unit})" if side.unit else side.setting),
                *(Cell(text=plain(x), value=x) for x in (side.low, side.at, side.high)),
                Cell(text=f"± {side.holds:.2g}" if side.holds else "not stated", value=side.holds),
            )
            for side in box.sides
        ),
        note="Ends are rounded inward to what can be set. The plant holds: ± 2 standard "
        "deviations about the setting, which the probability counts already.",
    )


def _row(head: str, texts: list[str]) -> tuple[Cell, ...]:
    return (Cell(text=head), *(Cell(text=text) for text in texts))


def _setting(content: ReportContent, name: str, one: Standing) -> str:
    value = one.recipe.settings.get(name)
    return "–" if value is None else setting_text(content.study, name, value)


def _expected(one: Standing, i: int) -> str:
    item = one.recipe.expected[i]
    low, high = item.run_interval
    return with_error(item.value, (high - low) / 4.0 or None)
