"""What stands on the paper after the cover: the decision, then every section."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, MutableMapping

from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    KeepTogether,
    PageBreak,
    Spacer,
    Table,
    TableStyle,
)

from analysis.figures.paper_ink import PaperPicture
from analysis.report.blocks import Block, FiguresBlock, Section
from analysis.report.decision import Decision
from analysis.report.page import Page
from analysis.report.paper.headings import Heading, Place
from analysis.report.paper.looks import DEEP, FAINT, INNER, MARK, RULE, bold, of_markup, said
from analysis.report.paper.pictures import picture_rows
from analysis.report.paper.piece import Piece
from analysis.report.paper.tables import bare_tables, numbered_table
from analysis.report.table import Cell
from analysis.report.table import Table as Values
from analysis.report.words import LEVEL_WORDS, evidence_text
from doe.sheets.fonts import marked_up
from doe.study.finding import Finding

DECISION = Place(anchor="decision", title="For the decision")
LEVEL_ROOM = 54.0
# A heading is never left alone: so much of what follows stands below it, in points.
BELOW_HEADING = 150.0

_FINDING = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 3.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 4.5),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
    ]
)
# Part of a page; where so much is free, what stands above has run over from the page before.
RUN_OVER = 0.55
_STOP = TableStyle([("LINEBEFORE", (0, 0), (0, 0), 2.5, MARK), ("LEFTPADDING", (0, 0), (0, 0), 6)])


def places_of(page: Page) -> tuple[Place, ...]:
    """List what the contents list, in order."""
    places = [DECISION]
    for section in page.sections:
        places.append(Place(anchor=section.anchor, title=section.title, number=section.number))
        places += [
            Place(anchor=part.anchor, title=part.title, number=part.number, level=1)
            for part in section.parts
        ]
    return tuple(places)


def decision_story(decision: Decision, pages: MutableMapping[str, int]) -> Iterator[Flowable]:
    """Set the page for whoever decides."""
    yield Heading(DECISION, pages)
    if decision.question:
        yield said(decision.question, "question")
    if decision.recipe:
        yield from _recipe(decision)
    else:
        yield said("No recipe to recommend yet", "small head")
        yield said(decision.no_recipe)
    for head, lines in (
        ("How sure", decision.how_sure),
        ("What matters", decision.matters or ("Nothing stands against the models.",)),
        ("Do next", decision.next_steps),
    ):
        first, *rest = lines
        yield KeepTogether([said(head, "small head"), _listed(first)])
        yield from map(_listed, rest)


def sections_story(
    page: Page, pictures: Mapping[int, PaperPicture], pages: MutableMapping[str, int]
) -> Iterator[Flowable]:
    """Set every section on a page of its own beginning.

    The first goes on below the last lines of a decision that took a little more than a page.
    """
    for i, section in enumerate(page.sections):
        yield PageBreak() if i else CondPageBreak(RUN_OVER * DEEP)
        yield from _section(section, pictures, pages)


def _section(
    section: Section, pictures: Mapping[int, PaperPicture], pages: MutableMapping[str, int]
) -> Iterator[Flowable]:
    yield Heading(Place(anchor=section.anchor, title=section.title, number=section.number), pages)
    if section.lead:
        yield said(section.lead)
    for part in section.parts:
        heading = Heading(
            Place(anchor=part.anchor, title=part.title, number=part.number, level=1), pages
        )
        pieces = [piece for block in part.blocks for piece in _pieces(block, pictures)]
        first, *rest = pieces or [Piece(flowables=[])]
        yield from first.flow(heading, room=BELOW_HEADING)
        for piece in rest:
            yield from piece.flow()


def _pieces(block: Block, pictures: Mapping[int, PaperPicture]) -> Iterator[Piece]:
    """Give a block in pieces."""
    match block.kind:
        case "words":
            yield Piece(flowables=[said(block.text)], is_whole=False)
        case "list":
            for line in block.lines:
                yield Piece(flowables=[_listed(line)], is_whole=False)
        case "findings":
            for finding in block.findings:
                yield Piece(flowables=[finding_row(finding)])
            yield Piece(flowables=[Spacer(0, 8)])
        case "table":
            yield from numbered_table(block.table, block.number)
        case "figures":
            yield from _figure_pieces(block, pictures)


def _figure_pieces(block: FiguresBlock, pictures: Mapping[int, PaperPicture]) -> Iterator[Piece]:
    shown = [
        (picture, pictures[picture.number], f"{drawn.title}. {drawn.caption}")
        for picture, drawn in zip(block.pictures, block.drawn, strict=True)
    ]
    for row in picture_rows(shown):
        yield Piece(flowables=[row])


def finding_row(finding: Finding) -> Table:
    """Set a finding beside its level."""
    advice = f' <font color="{FAINT.hexval()}">{marked_up(finding.advice)}</font>'
    words = [of_markup(marked_up(finding.what) + advice * bool(finding.advice))]
    if finding.evidence:
        told = [f"{name}: {evidence_text(name, value)}" for name, value in finding.evidence.items()]
        words.append(said("; ".join(told), "note"))
    if finding.source:
        words.append(said(f"Source: {finding.source}", "note"))
    level = LEVEL_WORDS[finding.level]
    mark = said(level, "faint") if finding.level == "note" else of_markup(bold(level, MARK))
    table = Table([[mark, words]], colWidths=[LEVEL_ROOM, INNER - LEVEL_ROOM], splitInRow=1)
    table.setStyle(_FINDING)
    if finding.level == "stop":
        table.setStyle(_STOP)
    return table


def _listed(line: str) -> Flowable:
    return of_markup(f"<bullet>–</bullet>{marked_up(line)}", "list")


def _recipe(decision: Decision) -> Iterator[Flowable]:
    yield said(decision.recipe_head, "small head")
    yield from bare_tables(_recipe_table(decision), 8.6)
    if decision.recipe_note:
        yield Spacer(0, 4)
        yield said(decision.recipe_note, "note")
    yield said("What it gives", "small head")
    yield from bare_tables(decision.gives)
    yield Spacer(0, 5)
    yield of_markup(f"{bold(decision.desirability)} {marked_up(decision.verdict)}")
    yield from map(said, decision.beside)


def _recipe_table(decision: Decision) -> Values:
    heads = ("Set", "To", "Weigh, as supplied") if decision.has_grams else ("Set", "To")
    rows = []
    for line in decision.recipe:
        setting = f"{line.setting} {line.unit}".strip() if line.setting else ""
        cells = (line.name, setting, f"{line.grams} g" if line.grams else "")
        rows.append(tuple(Cell(text=text) for text in cells[: len(heads)]))
    return Values(name="recipe", title="", head=heads, rows=tuple(rows))
