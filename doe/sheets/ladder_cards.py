"""Cards of a ladder to print: one a pot on A5, in bench order, in the look of the batch cards."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
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

from doe import __version__
from doe.sheets.ladder_form import (
    READING_ADVICE,
    LadderForm,
    joined,
    material_name,
    order_sentence,
)
from doe.sheets.paper import (
    INK,
    RULE,
    SHADE,
    draw_said,
    said,
    shortened,
    text_points,
    with_page_total,
)
from doe.sheets.wording import cautions_for, grams_text, number_text
from doe.study.hashes import region_hash
from doe.study.ladder import Pot
from doe.study.numerals import parse_number

WIDTH, HEIGHT = A5
MARGIN, HEADER, FOOTER = 9 * mm, 20 * mm, 6 * mm
INNER = WIDTH - 2 * MARGIN
BLANK = "______"

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


def ladder_cards(form: LadderForm) -> bytes:
    """Print one card a pot: its weigh-out, what to read, the cautions.

    Returns:
        A PDF; the same bytes for the same input.
    """
    return with_page_total(partial(_build, form))


def _build(form: LadderForm, total: int) -> tuple[bytes, int]:
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=A5, invariant=1, title=form.study.about.title, author="millbase",
        leftMargin=MARGIN, rightMargin=MARGIN, topMargin=0, bottomMargin=0,
    )  # fmt: skip
    story: list[Flowable] = []
    for index, pot in enumerate(form.ladder.pots):
        frame = Frame(
            MARGIN, MARGIN + FOOTER, INNER, HEIGHT - 2 * MARGIN - HEADER - FOOTER,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )  # fmt: skip
        draw = partial(_draw_page, form=form, pot=pot, total=total)
        document.addPageTemplates(PageTemplate(id=str(index), frames=[frame], onPage=draw))
        if index:
            story += [NextPageTemplate(str(index)), PageBreak()]
        story += _card(form, pot)
    document.build(story)
    return out.getvalue(), document.page


def _draw_page(
    canvas: Canvas, document: BaseDocTemplate, *, form: LadderForm, pot: Pot, total: int
) -> None:
    top = HEIGHT - MARGIN
    draw_said(canvas, f"pot {pot.number}", "big", MARGIN, top, INNER * 0.5)
    place = "" if pot.order is None else f"place {pot.order} · "
    notes = f"{place}order as done {BLANK}\ndone on {BLANK * 2} by {BLANK}"
    draw_said(canvas, notes, "right", MARGIN + INNER * 0.5, top, INNER * 0.5)
    title = shortened(f"Dose ladder: {form.study.about.title}", 1.8 * INNER, 8)
    draw_said(canvas, title, "text", MARGIN, top - 20, INNER)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1.2)
    canvas.line(MARGIN, HEIGHT - MARGIN - HEADER + 7, WIDTH - MARGIN, HEIGHT - MARGIN - HEADER + 7)
    foot = f"millbase {__version__} · region {region_hash(form.study)}"
    name = shortened(form.study.about.title, INNER * 0.84 - text_points(f" · {foot} ", 6.3), 6.3)
    draw_said(canvas, f"{name} · {foot}", "small", MARGIN, MARGIN + 8, INNER * 0.84)
    page = f"page {document.page} of {total}"
    draw_said(canvas, page, "small right", MARGIN + INNER * 0.84, MARGIN + 8, INNER * 0.16)


def _card(form: LadderForm, pot: Pot) -> Iterable[Flowable]:
    dose = "none: the control" if pot.dose == 0 else f"{number_text(pot.dose)} % on pigment"
    yield _table(("dose, active", "planned", "actual"), [("dose", dose, "")], (0.4, 0.35, 0.25))
    yield Spacer(0, 6)
    grams = [(material_name(name), pot.made.get(name, "")) for name in form.materials]
    rows = [(str(step), name, _grams(text), "") for step, (name, text) in enumerate(grams, start=1)]
    if rows:
        heads = ("", "weigh, in this order", "target, g", "actual, g")
        yield _table(heads, rows, (0.06, 0.56, 0.19, 0.19))
        yield Spacer(0, 6)
    reads = [("viscosity, mPa·s", ""), ("shear rate, temperature, time after stirring", ""),
             ("foam", ""), ("gelled? other notes", "")]  # fmt: skip
    yield _table(("read", "value"), reads, (0.55, 0.45))
    yield Spacer(0, 6)
    shared = f"All pots alike: {joined(form.shared)}." if form.shared else ""
    lines = [shared, order_sentence(form.order_words), *READING_ADVICE]
    yield said("\n".join(line for line in lines if line), "small")
    yield Spacer(0, 6)
    yield KeepTogether([said("\n".join(cautions_for(form.study)), "small")])


def _grams(text: str) -> str:
    grams = parse_number(text)
    if grams is None:
        return ""
    return grams_text(grams) if grams > 0 else "none"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]], shares: Sequence[float]) -> Table:
    cells = [[said(head, "bold") for head in heads]]
    cells += [[said(text) for text in row] for row in rows]
    return Table(cells, colWidths=[share * INNER for share in shares], style=_RULES, repeatRows=1)
