"""How `agree` looks in the terminal: the state first, then who says what, then the card."""

from __future__ import annotations

import textwrap

from analysis.report.blocks import Block, ListBlock, TableBlock, WordsBlock
from analysis.report.formula_card_words import card_parts, state_words
from analysis.report.table import Cell, Sign, Table
from doe.cli.screen import WIDTH, paragraph, text_table, typed
from doe.steps.agree import AgreeOutcome

_SIGNS: dict[Sign, str] = {"met": "✓ ", "unmet": "✗ ", "doubt": "! ", "": ""}
# Parts that are long, and stand on the card and in agreement.toml.
_ON_PAPER = ("Cautions of the models", "What it rests on")
_DID = {
    "proposed": "Proposed: version {number}.",
    "said": "On record.",
    "made final": "Version {number} is final.",
    "refused": "NOT made final:",
    "shown": "",
}


def show_agree(outcome: AgreeOutcome) -> str:
    """Show where the agreement stands, and what it says."""
    card, study = outcome.card, outcome.session.study
    if card is None:
        return paragraph(
            "No version was proposed yet. Propose one with "
            f"'millbase agree {typed(outcome.session.folder.path)} --propose --because \"…\"'."
        )
    did = _DID[outcome.did].format(number=card.version.number)
    head = f"Version {card.version.number}, proposed {card.version.date}: {card.version.because}"
    parts = [
        "\n".join([did, *(f"  ✗ {words}" for words in outcome.in_the_way)]).strip(),
        paragraph(f"{head.rstrip(': ')}. {state_words(card)}".replace("..", ".")),
    ]
    for part in sorted(card_parts(card, study), key=lambda one: one.title != "Who agrees"):
        if part.title not in _ON_PAPER:
            shown = [_block(block) for block in part.blocks]
            parts.append("\n".join([f"{part.title}:", *shown]))
    files = [str(path) for path in outcome.files]
    parts.append("\n".join(["Written:", *(f"  {name}" for name in files)]) if files else "")
    return "\n\n".join(part for part in parts if part)


def _block(block: Block) -> str:
    if isinstance(block, TableBlock):
        note = f"\n{_indented(block.table.note)}" if block.table.note else ""
        return _table(block.table) + note
    if isinstance(block, ListBlock):
        return "\n".join(_indented(line, "  – ") for line in block.lines)
    return _indented(block.text) if isinstance(block, WordsBlock) else ""


def _table(table: Table) -> str:
    return text_table(table.head, [[_cell(cell) for cell in row] for row in table.rows])


def _cell(cell: Cell) -> str:
    return f"{_SIGNS[cell.sign]}{cell.text}"


def _indented(text: str, first: str = "  ") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first))
