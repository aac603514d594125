"""Bench cards to print: one a batch on A5, with room to write on."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial

from reportlab.lib.pagesizes import A5
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Spacer,
    Table,
    TableStyle,
)

from doe.sheets.asks import Ask, BatchForm, SampleForm, bench_forms
from doe.sheets.paper import (
    INK,
    RULE,
    SHADE,
    draw_said,
    provenance,
    said,
    shortened,
    text_points,
    with_page_total,
)
from doe.sheets.tests_to_do import tests_to_do
from doe.sheets.wording import cautions_for, grams_text, number_text, task_text, with_unit
from doe.study.brief import Study
from doe.study.plan import Plan

WIDTH, HEIGHT = A5
MARGIN, HEADER, FOOTER = 9 * mm, 20 * mm, 6 * mm
INNER = WIDTH - 2 * MARGIN
BLANK = "______"

# A5 leaves room to write beside so many samples.
SAMPLES_ABREAST = 3

_RULES = TableStyle(
    [
        ("GRID", (0, 0), (-1, -1), 0.4, RULE),
        ("BACKGROUND", (0, 0), (-1, 0), SHADE),
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("TOPPADDING", (0, 0), (-1, -1), 2.8),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.8),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ]
)


def cards_pdf(study: Study, plan: Plan) -> bytes:
    """Print one card a batch: settings, weigh-out, samples, cautions.

    Neither the kind of a run nor the name of a control stands on a card; a control shows its
    number, so that nobody mends its recipe.

    Returns:
        A PDF; the same bytes for the same input.

    Raises:
        PlanError: A recipe cannot be weighed out.
    """
    forms = bench_forms(study, plan)
    return with_page_total(partial(_build, study, plan, forms))


def _build(study: Study, plan: Plan, forms: Sequence[BatchForm], total: int) -> tuple[bytes, int]:
    """Build the cards and give their number of pages."""
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=A5, invariant=1, title=study.about.title, author="millbase",
        leftMargin=MARGIN, rightMargin=MARGIN, topMargin=0, bottomMargin=0,
    )  # fmt: skip
    foot = provenance(study, plan)
    for index, form in enumerate(forms):
        frame = Frame(
            MARGIN, MARGIN + FOOTER, INNER, HEIGHT - 2 * MARGIN - HEADER - FOOTER,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )  # fmt: skip
        draw = partial(_draw_page, study=study, form=form, foot=foot, total=total)
        document.addPageTemplates(PageTemplate(id=str(index), frames=[frame], onPage=draw))
    story: list[Flowable] = []
    for index, form in enumerate(forms):
        if index:
            story += [NextPageTemplate(str(index)), PageBreak()]
        story += _card(study, form)
    document.build(story)
    return out.getvalue(), document.page


def _draw_page(
    canvas: Canvas,
    document: BaseDocTemplate,
    *,
    study: Study,
    form: BatchForm,
    foot: str,
    total: int,
) -> None:
    """Draw what stands on every page of a card."""
    top = HEIGHT - MARGIN
    unit = form.batch.unit + (f" · {form.control}" if form.control else "")
    draw_said(canvas, unit, "big", MARGIN, top, INNER * 0.5)
    day = "" if form.batch.day is None else f"day {form.batch.day} · "
    notes = f"{day}order as done {BLANK}\ndone on {BLANK * 2} by {BLANK}"
    draw_said(canvas, notes, "right", MARGIN + INNER * 0.5, top, INNER * 0.5)
    title = shortened(study.about.title, 1.8 * INNER, 8)
    draw_said(canvas, title, "text", MARGIN, top - 20, INNER)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1.2)
    canvas.line(MARGIN, HEIGHT - MARGIN - HEADER + 7, WIDTH - MARGIN, HEIGHT - MARGIN - HEADER + 7)
    page = f"page {document.page} of {total}"
    room = INNER * 0.84 - text_points(f" · {foot} ", 6.3) - 2
    name = shortened(study.about.title, room, 6.3)
    draw_said(canvas, f"{name} · {foot}", "small", MARGIN, MARGIN + 8, INNER * 0.84)
    draw_said(canvas, page, "small right", MARGIN + INNER * 0.84, MARGIN + 8, INNER * 0.16)


def _card(study: Study, form: BatchForm) -> Iterable[Flowable]:
    for table in (_set_table(study, form), _weighing_table(form), *_sample_tables(form)):
        if table is not None:
            yield table
            yield Spacer(0, 6)
    tests = tests_to_do(study)
    if tests:
        yield said("To read, " + "; ".join(tests) + ".")
        yield Spacer(0, 6)
    yield KeepTogether([said("\n".join(cautions_for(study)), "small")])


def _set_table(study: Study, form: BatchForm) -> Table | None:
    """List what is set for the batch, and what is held throughout."""
    rows = [
        (with_unit(ask.what, ask.measure), _planned(ask.target), "")
        for ask in (*form.day_settings, *form.settings)
    ]
    rows += [
        (with_unit(factor.name, factor.unit), _planned(factor.value), "held")
        for factor in study.factors
        if factor.kind == "held" and factor.role != "dose"
    ]
    return _table(("set", "planned", "actual"), rows, (0.5, 0.25, 0.25)) if rows else None


def _weighing_table(form: BatchForm) -> Table | None:
    rows = [
        (str(step), _task(ask), _weighing_target(ask), "")
        for step, ask in enumerate(form.weighing, start=1)
    ]
    heads = ("", "weigh, in this order", "target, g", "actual, g")
    return _table(heads, rows, (0.06, 0.56, 0.19, 0.19)) if rows else None


def _task(ask: Ask) -> str:
    return task_text(ask.what, "" if ask.how == "weigh" else ask.how)


def _weighing_target(ask: Ask) -> str:
    """Name what is no grams, as the column is of grams."""
    target = _target(ask)
    return target if ask.kind == "grams" or ask.measure else f"{ask.what} {target}"


def _target(ask: Ask) -> str:
    if ask.kind != "grams":
        planned = _planned(ask.target)
        return f"{planned} {ask.measure}" if ask.measure else planned
    if not isinstance(ask.target, float):
        return ""
    return grams_text(ask.target) if ask.target > 0 else "none"


def _planned(value: float | str | None) -> str:
    return number_text(value) if isinstance(value, (int, float)) else value or ""


def _sample_tables(form: BatchForm) -> Iterable[Table]:
    """Give a column a sample and a line a thing to set, draw or weigh."""
    for start in range(0, len(form.samples), SAMPLES_ABREAST):
        samples = form.samples[start : start + SAMPLES_ABREAST]
        asked = [{_label(ask): ask for ask in _column_asks(one)} for one in samples]
        labels = list(dict.fromkeys(label for asks in asked for label in asks))
        rows = [(label, *_targets([asks.get(label) for asks in asked])) for label in labels]
        heads = ("each sample", "target", *(_sample_name(one) for one in samples))
        share = 0.5 / len(samples)
        yield _table(heads, rows, (0.37, 0.13, *(share for _ in samples)))


def _column_asks(form: SampleForm) -> Iterable[Ask]:
    """Give the asks of a sample and, where it carries one run, those of its panel."""
    yield from form.asks
    for run, asks in zip(form.sample.runs, form.panels, strict=True):
        for ask in asks:
            shared = len(form.sample.runs) > 1
            yield replace(ask, what=f"{ask.what}, run {run.run}") if shared else ask


def _label(ask: Ask) -> str:
    return with_unit(ask.what, ask.measure)


def _targets(asks: Sequence[Ask | None]) -> tuple[str, ...]:
    """Give the target that all samples share and blanks, or each sample its own."""
    targets = [
        "" if ask is None else _target(replace(ask, measure="" if ask.kind != "grams" else "g"))
        for ask in asks
    ]
    if len(set(targets)) == 1 and None not in asks:
        return (targets[0], *("" for _ in asks))
    return ("", *(f"{target}  {BLANK}" if target else "–" for target in targets))


def _sample_name(form: SampleForm) -> str:
    sample = form.sample
    runs = [f"run {run.run}" for run in sample.runs]
    panels = [f"panel {run.panel}" for run in sample.runs if run.panel is not None]
    return "\n".join([*([] if sample.number is None else [sample.unit]), *runs, *panels])


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], shares: Sequence[float]) -> Table:
    cells = [[said(head, "bold") for head in heads]]
    cells += [[said(text) for text in row] for row in rows]
    return Table(cells, colWidths=[share * INNER for share in shares], style=_RULES, repeatRows=1)
