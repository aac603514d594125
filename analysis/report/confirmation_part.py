"""Confirmation batches in the report: verdict, means, batches, the plant, reasons if they fail."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.agreement.confirmation import BatchOutcome, ResponseOutcome
from analysis.agreement.judged_round import JudgedRound
from analysis.agreement.plant import PlantOutcome
from analysis.report.blocks import Block, FiguresBlock, ListBlock, TableBlock, WordsBlock
from analysis.report.content import ReportContent
from analysis.report.rounding import fixed, interval_error, interval_text, percent, with_error
from analysis.report.table import Cell, Sign, Table


def confirmation_blocks(content: ReportContent) -> Iterator[Block]:
    """Give every round of confirmation batches, the latest first."""
    for judged in reversed(content.confirmations):
        yield WordsBlock(text=judged.verdict_words())
        if judged.changed:
            changed = ", ".join(judged.changed)
            yield WordsBlock(
                text=f"Changed since it was planned: {changed}. It is judged by what was frozen."
            )
        if judged.outcome.state != "judged":
            continue
        name = f"round {judged.entry.round}"
        figures = tuple(
            drawn
            for drawn in content.figures
            if drawn.kind == "confirmation" and drawn.subject == name
        )
        if figures:
            yield FiguresBlock(drawn=figures)
        yield TableBlock(table=means_table(judged))
        yield TableBlock(table=batches_table(judged))
        if judged.plant:
            yield TableBlock(table=plant_table(judged))
        yield ListBlock(lines=judged.entry.rule.words)
        yield from _reasons(judged)
        if judged.taken_in:
            yield WordsBlock(text="The models of this report are built on these batches, too.")


def means_table(judged: JudgedRound) -> Table:
    """Set the means beside what was foretold."""
    plant = judged.entry.where == "plant"
    return Table(
        name=f"confirmation-{judged.entry.number}",
        title="What was foretold and what came out, as the mean of the batches.",
        head=(
            "Response", "Foretold", "Laboratory's interval" if plant else "The mean must lie in",
            "Mean", "Off by, sd", "Inside?", "Every batch within limits?",
        ),
        rows=tuple(_mean_row(one) for one in judged.outcome.responses),
        note="Frozen when the batches were planned; later models do not move it. Medians on a "
        "transformed scale.",
    )  # fmt: skip


def batches_table(judged: JudgedRound) -> Table:
    """List every batch of every response."""
    return Table(
        name=f"confirmation-{judged.entry.number}-batches",
        title="The batches one by one, as tested.",
        head=("Response", "Batch", "Runs", "Tested", "Within limits?", "Remark"),
        rows=tuple(
            _batch_row(one, batch) for one in judged.outcome.responses for batch in one.batches
        ),
    )


def plant_table(judged: JudgedRound) -> Table:
    """Say how far the plant lies off the laboratory, and where its batches lie."""
    level = percent(judged.entry.rule.level)
    return Table(
        name=f"confirmation-{judged.entry.number}-plant",
        title="The plant beside the laboratory.",
        head=(
            "Response", "Batches", "Off the laboratory by", f"Interval, {level}",
            f"Next batch, {level}", "95 % of batches", "Next within limits",
        ),
        rows=tuple(_plant_row(one) for one in judged.plant),
        note="By the plant's own scatter, which is never put to the laboratory's. The last "
        "interval but one holds 95 % of plant batches with 95 % confidence.",
    )  # fmt: skip


def _mean_row(one: ResponseOutcome) -> tuple[Cell, ...]:
    frozen = one.frozen
    error = interval_error(*one.interval) if one.interval else None
    name = f"{one.response} ({frozen.unit})" if frozen.unit else one.response
    return (
        Cell(text=name),
        Cell(text=with_error(frozen.value, error), value=frozen.value),
        Cell(text=interval_text(*one.interval, error) if one.interval else "–"),
        Cell(text=with_error(one.mean, error), value=one.mean),
        Cell(text=fixed(one.t, 1), value=one.t),
        _yes(one.inside),
        _yes(one.within),
    )


def _batch_row(one: ResponseOutcome, batch: BatchOutcome) -> tuple[Cell, ...]:
    error = interval_error(*one.interval) if one.interval else None
    remarks = [batch.flag] if batch.flag else []
    remarks += ["apart from the others"] if batch.apart else []
    return (
        Cell(text=one.response),
        Cell(text=str(batch.batch), value=batch.batch),
        Cell(text=", ".join(map(str, batch.runs))),
        Cell(text=with_error(batch.value, error), value=batch.value),
        _yes(batch.within),
        Cell(text=", ".join(remarks) or "–"),
    )


def _plant_row(one: PlantOutcome) -> tuple[Cell, ...]:
    error = interval_error(*one.offset_interval) if one.offset_interval else None
    own = interval_error(*one.next_batch) if one.next_batch else None

    def ends(pair: tuple[float, float] | None, digits: float | None) -> Cell:
        return Cell(text=interval_text(*pair, digits) if pair else "–")

    return (
        Cell(text=f"{one.response} ({one.unit})" if one.unit else one.response),
        Cell(text=str(one.batches), value=one.batches),
        Cell(text=f"{with_error(one.offset, error)} ({one.offset_is})", value=one.offset),
        ends(one.offset_interval, error),
        ends(one.next_batch, own),
        ends(one.tolerance, own),
        Cell(text=percent(one.next_within), value=one.next_within),
    )


def _yes(answer: bool | None) -> Cell:
    if answer is None:
        return Cell(text="–")
    sign: Sign = "met" if answer else "unmet"
    return Cell(text="yes" if answer else "no", sign=sign)


def _reasons(judged: JudgedRound) -> Iterator[Block]:
    if not judged.reasons:
        return
    yield WordsBlock(text="Possible reasons for the miss, the likeliest first:")
    yield ListBlock(lines=tuple(f"{one.title}: {' '.join(one.evidence)}" for one in judged.reasons))
    if judged.next is not None:
        why = judged.next.why
        yield WordsBlock(
            text=f"Best next: millbase {judged.next.command}. {why[:1].upper()}{why[1:]}."
        )
