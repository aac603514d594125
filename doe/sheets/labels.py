"""Jar and panel labels to print: numbers only, so that nobody reads settings off a jar."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from doe.recipe.batches import BenchBatch, BenchSample, bench_batches
from doe.sheets.paper import RULE, draw_said, said, shortened
from doe.sheets.wording import HAZARD_REMINDER
from doe.study.brief import Study
from doe.study.plan import Plan

# Two columns of seven on A4: 99 × 38 mm, a size that label stock comes in.
COLUMNS, ROWS = 2, 7
LABEL_WIDTH, LABEL_HEIGHT = 99.1 * mm, 38.1 * mm
PADDING = 3.5 * mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What one label says.

    Attributes:
        name: The unit, in large letters.
        of: The units it came from.
        what: Mill base, paint or panel.
    """

    name: str
    of: str
    what: str


def labels_pdf(study: Study, plan: Plan) -> bytes:
    """Print labels for every mill base, every sample let down, and every panel.

    Returns:
        A PDF on A4; the same bytes for the same input.
    """
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1)
    canvas.setTitle(study.about.title)
    canvas.setAuthor("millbase")
    labels = list(bench_labels(study, plan))
    for index, label in enumerate(labels):
        place = index % (COLUMNS * ROWS)
        if index and place == 0:
            canvas.showPage()
        _draw_label(canvas, study, label, place)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def bench_labels(study: Study, plan: Plan) -> Iterator[Label]:
    """List the labels of a plan in bench order: batch by batch, then its samples and panels."""
    has_panels = any(plan.panel) or any(one.per == "panel" for one in study.responses)
    jar = "paint" if study.letdown else "mill base"
    for batch in bench_batches(study, plan):
        day = "" if batch.day is None else f"day {batch.day}"
        if batch.number is not None:
            yield Label(name=batch.unit, of=day, what="mill base")
        for sample in batch.samples:
            yield Label(name=sample.unit, of=_joined(_runs(sample), _batch(batch), day), what=jar)
            for run in sample.runs if has_panels else ():
                number = f"run {run.run}" if run.panel is None else f"panel {run.panel}"
                runs = "" if run.panel is None else f"run {run.run}"
                own = "" if sample.number is None else sample.unit
                yield Label(name=number, of=_joined(runs, own, _batch(batch), day), what="panel")


def _runs(sample: BenchSample) -> str:
    if sample.number is None:
        return ""
    numbers = [str(run.run) for run in sample.runs]
    return f"run{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"


def _batch(batch: BenchBatch) -> str:
    return "" if batch.number is None else batch.unit


def _joined(*parts: str) -> str:
    return " · ".join(part for part in parts if part)


def _draw_label(canvas: Canvas, study: Study, label: Label, place: int) -> None:
    """Draw one label; the cutting line is thin and grey."""
    row, column = divmod(place, COLUMNS)
    x = (A4[0] - COLUMNS * LABEL_WIDTH) / 2 + column * LABEL_WIDTH
    top = A4[1] - (A4[1] - ROWS * LABEL_HEIGHT) / 2 - row * LABEL_HEIGHT
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.3)
    canvas.rect(x, top - LABEL_HEIGHT, LABEL_WIDTH, LABEL_HEIGHT)
    left, width = x + PADDING, LABEL_WIDTH - 2 * PADDING
    y = top - PADDING
    y -= draw_said(canvas, label.name, "big", left, y, width * 0.6)
    draw_said(canvas, label.what, "right", left + width * 0.6, top - PADDING - 4, width * 0.4)
    y -= draw_said(canvas, shortened(label.of, width, 8) or " ", "text", left, y - 1, width) + 2
    title = shortened(study.about.title, 1.8 * width, 8)
    draw_said(canvas, title, "text", left, y - 1, width)
    bottom = top - LABEL_HEIGHT + PADDING
    draw_said(canvas, "date ________________", "text", left, bottom + 11, width * 0.45)
    reminder = said(HAZARD_REMINDER, "small right")
    _, height = reminder.wrap(width * 0.55, 100)
    reminder.drawOn(canvas, left + width * 0.45, bottom + 11 - height)
