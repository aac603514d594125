"""Drawdown cards: standard and sample side by side, each as often on the left as on the right."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from openpyxl.worksheet.worksheet import Worksheet

from doe.methods.raw_columns import BenchTest
from doe.sheets.book_form import (
    CARD,
    CARD_HEADS,
    CARD_USED,
    DRAWDOWNS,
    film_record,
)
from doe.sheets.book_look import FIRST_LOOKS, LOOKS, fit_columns, put, put_note, put_wide
from doe.sheets.raw_lines import ReadUnit, read_units
from doe.study.brief import Study
from doe.study.names import fold
from doe.study.plan import Plan
from doe.study.readings import Actual

STANDARD, WHITE = "standard", "white"
_HEAD_ROW = 4
_SAYS = (
    "One card a line: draw both side by side in one stroke, as the line has them, and read both. "
    "Sides change from card to card by lot, so that the place on the card tells nothing. Note the "
    "card's own number or lot where it matters."
)
_WHITE_SAYS = "The white alone goes on a card of its own each day."


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawdownCard:
    """One card.

    Attributes:
        number: Its number among the cards of the test, from 1.
        test: The test that it is drawn for.
        unit: The unit beside the standard; None where the white is drawn alone.
        day: The day it is drawn; None in a plan without days.
        left: What lies on the left.
        right: What lies on the right; empty where nothing does.
    """

    number: int
    test: str
    unit: ReadUnit | None
    day: int | None
    left: str
    right: str


def drawdown_tests(tests: Sequence[BenchTest]) -> tuple[BenchTest, ...]:
    """Pick the tests whose films are drawn beside a standard, or with a white."""
    return tuple(test for test in tests if {STANDARD, WHITE} & set(test.table.references))


def drawdown_cards(study: Study, plan: Plan, test: BenchTest) -> tuple[DrawdownCard, ...]:
    """Lay the films of a test out on cards, in bench order.

    Two neighbours of a batch lie on different sides, and so do the same places of two batches in a
    row; which begins is drawn by lot, so that neither batch nor grind time nor day goes with a
    side. Runs that are added later leave the cards before them as they are.
    """
    seed = next((one.seed for one in plan.rounds if one.seed is not None), 0)
    cards: list[DrawdownCard] = []
    batch, place, day_above = -1, 0, object()
    for unit in read_units(study, plan, test.per):
        batch, place = (batch + 1, 0) if unit.is_first else (batch, place + 1)
        day = unit.numbers["day"]
        if WHITE in test.table.references and day != day_above:
            cards.append(_card(cards, test, None, day, (WHITE, "")))
        day_above = day
        sample = f"run {unit.run}"
        sides = (sample, "")
        if STANDARD in test.table.references:
            lot = int(np.random.default_rng([seed, batch // 2, place // 2]).integers(2))
            is_left = (lot + batch + place) % 2 == 0
            sides = (STANDARD, sample) if is_left else (sample, STANDARD)
        cards.append(_card(cards, test, unit, day, sides))
    return tuple(cards)


def write_drawdowns(
    sheet: Worksheet,
    study: Study,
    plan: Plan,
    tests: Sequence[BenchTest],
    known: Mapping[tuple[str, str], Actual],
) -> int:
    """Write a line a card and give the row of the headers."""
    put(sheet, 1, 1, DRAWDOWNS, "title")
    cards = [card for test in tests for card in drawdown_cards(study, plan, test)]
    heads = _heads(plan, tests)
    for place, head in enumerate(heads, start=1):
        put(sheet, _HEAD_ROW, place, head, "head")
    day_above: object = None
    for row, card in enumerate(cards, start=_HEAD_ROW + 1):
        said, entry = FIRST_LOOKS if (card.test, card.day) != day_above else LOOKS
        day_above = (card.test, card.day)
        for place, value in enumerate(_shown(card, heads), start=1):
            put(sheet, row, place, value, said)
        what = fold(film_record(card.test, CARD))
        noted = known.get((fold(card.unit.name), what)) if card.unit else None
        if card.unit is None:
            put(sheet, row, len(heads), None, "closed")
        else:
            put_note(sheet, row, len(heads), noted.value if noted else "", entry)
    fit_columns(sheet, _HEAD_ROW, least=(*(8.0 for _ in heads[:-3]), 14.0, 14.0, 22.0))
    has_white = any(WHITE in test.table.references for test in tests)
    width = sum(float(one.width) for one in sheet.column_dimensions.values())
    put_wide(sheet, 2, f"{_SAYS} {_WHITE_SAYS}" if has_white else _SAYS, width, len(heads))
    return _HEAD_ROW


def _card(
    cards: Sequence[DrawdownCard],
    test: BenchTest,
    unit: ReadUnit | None,
    day: int | None,
    sides: tuple[str, str],
) -> DrawdownCard:
    left, right = sides
    return DrawdownCard(
        number=len(cards) + 1, test=test.table.name, unit=unit, day=day, left=left, right=right
    )


def _heads(plan: Plan, tests: Sequence[BenchTest]) -> list[str]:
    """Name the columns, those of numbers that the plan does not have left out."""
    there = {
        "test": True, "card": True, "run": True, "left": True, "right": True, CARD_USED: True,
        "day": any(plan.day),
        "batch": any(plan.batch),
        "sample": any(plan.sample) and any(test.per != "batch" for test in tests),
        "panel": any(plan.panel) and any(test.per == "panel" for test in tests),
    }  # fmt: skip
    return [head for head in CARD_HEADS if there[head]]


def _shown(card: DrawdownCard, heads: Sequence[str]) -> Iterator[float | str | None]:
    numbers: Mapping[str, int | None] = {} if card.unit is None else card.unit.numbers
    said: dict[str, float | str | None] = {
        "test": card.test, "card": card.number, "day": card.day, "left": card.left,
        "right": card.right,
    }  # fmt: skip
    for head in heads:
        yield said.get(head, numbers.get(head)) or None
