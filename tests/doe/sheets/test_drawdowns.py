"""Drawdown cards: sides balanced over batches, places in a batch and days."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from doe.methods.raw_columns import bench_tests
from doe.sheets.drawdowns import DrawdownCard, drawdown_cards, drawdown_tests
from doe.study.plan import Plan, Round
from doe.study.settings import Settings
from tests.doe.sheets.raw_study import raw_brief

STUDY = raw_brief([{"name": "strength", "from": "colour strength"}])
(TEST,) = drawdown_tests(bench_tests(STUDY))


def planned(batches: int, samples: int = 2, seed: int = 7) -> Plan:
    """Plan batches of some samples each, four batches a day."""
    n = batches * samples
    row = [0.2, 0.8, 1.6, 8.6, 0, 30, 15]
    labels = {"neutraliser": ("ammonia", "sodium hydroxide")}
    return Plan(
        settings=Settings(names=STUDY.setting_names, values=np.array([row] * n), labels=labels),
        run=tuple(range(1, n + 1)),
        round=(1,) * n,
        day=tuple(1 + i // (4 * samples) for i in range(n)),
        batch=tuple(1 + i // samples for i in range(n)),
        sample=tuple(range(1, n + 1)),
        panel=(None,) * n,
        kind=("design",) * n,
        rounds=(Round(number=1, layout="adopted", models=("linear",), seed=seed),),
    )


def drawn(plan: Plan) -> list[DrawdownCard]:
    """Give the cards of runs, those of the white left out."""
    return [card for card in drawdown_cards(STUDY, plan, TEST) if card.unit is not None]


def test_standard_and_sample_lie_side_by_side() -> None:
    """On every card."""
    assert all(
        {card.left, card.right} == {"standard", f"run {card.unit.run}"}
        for card in drawn(planned(6))
        if card.unit
    )


def test_side_goes_with_neither_day_nor_place_in_the_batch() -> None:
    """Each day, and each of the grind times within a batch, has as many on the left."""
    cards = drawn(planned(8))
    by_day = Counter(card.day for card in cards if card.left == "standard")
    by_place = Counter(i % 2 for i, card in enumerate(cards) if card.left == "standard")

    assert by_day == {1: 4, 2: 4}
    assert by_place == {0: 4, 1: 4}
    assert all(
        (one.left == "standard") != (other.left == "standard")
        for one, other in zip(cards[::2], cards[1::2], strict=True)
    )


def test_which_side_begins_is_drawn_by_lot() -> None:
    """Repeatable by the seed of the plan."""
    patterns = {
        tuple(card.left == "standard" for card in drawn(planned(8, seed=seed)))
        for seed in range(20)
    }

    assert len(patterns) > 4
    assert drawn(planned(8)) == drawn(planned(8))


def test_later_runs_leave_the_cards_before_them() -> None:
    """A card that was drawn keeps its number and its sides."""
    assert drawn(planned(9))[:8] == drawn(planned(4))


def test_white_is_drawn_alone_each_day() -> None:
    """The first card of the day."""
    white = [card for card in drawdown_cards(STUDY, planned(8), TEST) if card.unit is None]

    assert [(card.number, card.day, card.left) for card in white] == [
        (1, 1, "white"),
        (10, 2, "white"),
    ]


def test_plan_without_days_and_batches_has_cards_too() -> None:
    """One white, and sides by turns of two."""
    plan = planned(4)
    bare = replace(plan, day=(None,) * 8, batch=(None,) * 8, sample=(None,) * 8)
    sides = [card.left == "standard" for card in drawn(bare)]

    assert sum(sides) == 4
    assert len(drawdown_cards(STUDY, bare, TEST)) == 9
