"""The formula card on paper: A4, plain as the bench cards are, with room to write on."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    PageTemplate,
    Spacer,
    TableStyle,
)
from reportlab.platypus import Table as PaperTable

from analysis.agreement.formula_card import FormulaCard
from analysis.report.blocks import Block, ListBlock, Part, TableBlock, WordsBlock
from analysis.report.formula_card_weighing import WEIGH
from analysis.report.formula_card_words import (
    ENDS,
    READINGS,
    ROLES,
    card_parts,
    state_words,
)
from analysis.report.table import Cell, Sign, Table
from doe.sheets.fonts import BOLD
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
from doe.sheets.wording import FOLLOW, cautions_for
from doe.study.brief import Study
from doe.study.hashes import content_hash

WIDTH, HEIGHT = A4
MARGIN, HEADER, FOOTER = 15 * mm, 21 * mm, 8 * mm
INNER = WIDTH - 2 * MARGIN
# Columns that are left to write in, by table, and how wide each is.
BLANKS: Mapping[str, tuple[str, ...]] = {
    WEIGH: ("weighed, kg or g", "lot"),
    ENDS: ("reached",),
    READINGS: ("this batch",),
    ROLES: ("signature",),
}
BLANK_WIDTH = 26 * mm
PADDING, LETTERS = 7.0, 8.0
# A head stands with at least so much of its part, in points.
TOGETHER = 70.0
_SIGNS: Mapping[Sign, str] = {"met": "✓ ", "unmet": "✗ ", "doubt": "! ", "": ""}
_LOOK: list[Any] = [
    ("GRID", (0, 0), (-1, -1), 0.4, RULE),
    ("BACKGROUND", (0, 0), (-1, 0), SHADE),
    ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
    ("TOPPADDING", (0, 0), (-1, -1), 2.8),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2.8),
    ("LEFTPADDING", (0, 0), (-1, -1), PADDING / 2),
    ("RIGHTPADDING", (0, 0), (-1, -1), PADDING / 2),
]


def formula_card_pdf(card: FormulaCard, study: Study) -> bytes:
    """Print the card.

    Args:
        card: The card.
        study: The brief, for digits and for cautions of work safety.

    Returns:
        A PDF; the same bytes for the same card. Dates in it are those on record.
    """
    return with_page_total(partial(_build, card, study))


def _build(card: FormulaCard, study: Study, total: int) -> tuple[bytes, int]:
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=A4, invariant=1, title=f"Formula card: {card.title}", author="millbase",
        leftMargin=MARGIN, rightMargin=MARGIN, topMargin=0, bottomMargin=0,
    )  # fmt: skip
    frame = Frame(
        MARGIN, MARGIN + FOOTER, INNER, HEIGHT - 2 * MARGIN - HEADER - FOOTER,
        leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
    )  # fmt: skip
    draw = partial(_draw_page, card=card, total=total)
    document.addPageTemplates(PageTemplate(id="card", frames=[frame], onPage=draw))
    document.build(list(_story(card, study)))
    return out.getvalue(), document.page


def _draw_page(canvas: Canvas, document: BaseDocTemplate, *, card: FormulaCard, total: int) -> None:
    """Draw what stands on every page."""
    top, version = HEIGHT - MARGIN, card.version
    draw_said(canvas, "Formula card", "big", MARGIN, top, INNER * 0.5)
    notes = f"version {version.number} · {card.state} · proposed {version.date}"
    if card.pigment:
        notes += f"\n{shortened(card.pigment, INNER * 0.48, LETTERS)}"
    draw_said(canvas, notes, "right", MARGIN + INNER * 0.5, top, INNER * 0.5)
    draw_said(canvas, shortened(card.title, INNER, LETTERS), "text", MARGIN, top - 24, INNER)
    line = HEIGHT - MARGIN - HEADER + 10
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1.2)
    canvas.line(MARGIN, line, WIDTH - MARGIN, line)
    mark = content_hash(*(f"{key} {value}\n".encode() for key, value in version.inputs.items()))
    made = version.inputs.get("version", "")
    foot = f"version {version.number} · {card.state} · millbase {made} · inputs {mark}"
    room = INNER * 0.84 - text_points(f" · {foot}", 6.3) - 2
    name = shortened(card.title, room, 6.3)
    draw_said(canvas, f"{name} · {foot}", "small", MARGIN, MARGIN + 8, INNER * 0.84)
    page = f"page {document.page} of {total}"
    draw_said(canvas, page, "small right", MARGIN + INNER * 0.84, MARGIN + 8, INNER * 0.16)


def _story(card: FormulaCard, study: Study) -> Iterator[Flowable]:
    words = state_words(card)
    if card.invented:
        words = f"INVENTED DATA: no knowledge of a real pigment, additive or paint. {words}"
    yield _band(words)
    yield Spacer(0, 4)
    yield said(f"{FOLLOW} Cautions of work safety stand at the end of this card.")
    yield Spacer(0, 6)
    for part in card_parts(card, study):
        yield from _part(part)
    yield from _head("Work safety")
    for caution in cautions_for(study):
        yield said(f"– {caution}")


def _band(words: str) -> PaperTable:
    """Set the state of the card in a box that nobody overlooks."""
    look: list[Any] = [
        ("BOX", (0, 0), (-1, -1), 1.2, INK),
        ("BACKGROUND", (0, 0), (-1, -1), SHADE),
        ("TOPPADDING", (0, 0), (-1, -1), 4),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
        ("LEFTPADDING", (0, 0), (-1, -1), 6),
    ]
    return PaperTable([[said(words, "bold")]], colWidths=[INNER], style=TableStyle(look))


def _part(part: Part) -> Iterator[Flowable]:
    yield from _head(part.title)
    for block in part.blocks:
        yield from _block(block)
    yield Spacer(0, 6)


def _head(title: str) -> Iterator[Flowable]:
    yield CondPageBreak(TOGETHER)
    yield said(title, "head")
    yield Spacer(0, 3)


def _block(block: Block) -> Iterator[Flowable]:
    if isinstance(block, TableBlock):
        yield _table(block.table)
        if block.table.note:
            yield Spacer(0, 2)
            yield said(block.table.note, "small")
        yield Spacer(0, 4)
    elif isinstance(block, WordsBlock):
        yield said(block.text)
        yield Spacer(0, 3)
    elif isinstance(block, ListBlock):
        for line in block.lines:
            yield said(f"– {line}")
        yield Spacer(0, 3)


def _table(table: Table) -> PaperTable:
    blanks = BLANKS.get(table.name, ())
    heads = [said(head, "bold") for head in (*table.head, *blanks)]
    rows = [
        [*(_cell(cell, i < table.words) for i, cell in enumerate(row)), *("" for _ in blanks)]
        for row in table.rows
    ]
    widths = _widths(table, INNER - len(blanks) * BLANK_WIDTH)
    look: list[Any] = [*_LOOK, ("ALIGN", (table.words, 0), (-1, -1), "RIGHT")]
    return PaperTable(
        [heads, *rows], colWidths=[*widths, *(BLANK_WIDTH for _ in blanks)],
        style=TableStyle(look), repeatRows=1,
    )  # fmt: skip


def _cell(cell: Cell, is_words: bool) -> Flowable:
    return said(f"{_SIGNS[cell.sign]}{cell.text}", "text" if is_words else "right")


def _widths(table: Table, room: float) -> list[float]:
    """Share the room out: what a column would like, the longest giving way first."""
    wishes = [_wish(table, i) for i in range(len(table.head))]
    if sum(wishes) <= room:
        # Spare room goes to the first column of words with text in it.
        wide = max(range(min(table.words, len(wishes))), key=wishes.__getitem__)
        wishes[wide] += room - sum(wishes)
        return wishes
    return _narrowed(wishes, room)


def _wish(table: Table, i: int) -> float:
    cells = [text_points(_SIGNS[row[i].sign] + row[i].text, LETTERS) for row in table.rows]
    return max(text_points(table.head[i], LETTERS, BOLD), *cells, 0.0) + PADDING + 1


def _narrowed(wishes: Sequence[float], room: float) -> list[float]:
    """Cap the widest columns at one width, so that all fit."""
    cap, rest, columns = room, room, sorted(wishes)
    for place, wish in enumerate(columns):
        cap = rest / (len(columns) - place)
        if wish > cap:
            break
        rest -= wish
    return [min(wish, cap) for wish in wishes]
