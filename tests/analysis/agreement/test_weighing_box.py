"""The tolerance box in kg: whatever is weighed within its ends gives shares and dose of the box."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import product
from typing import Any

import numpy as np
import pytest

from analysis.agreement.formula import agreed_settings, make_formula
from analysis.agreement.formula_card import CardSubject, FormulaCard, make_card
from analysis.report.blocks import TableBlock
from analysis.report.formula_card_weighing import weigh_blocks
from doe.recipe.actual import actual_package
from doe.study.agreement import Agreement, Version
from doe.study.brief import Study

SETTINGS: dict[str, float | str] = {
    "wetter": 0.2,
    "dispersant": 0.5,
    "hydrophobe": 0.3,
    "dose": 1.3,
}
BOX = {
    "wetter": (0.18, 0.28), "dispersant": (0.4, 0.55), "hydrophobe": (0.25, 0.32),
    "dose": (1.25, 1.36),
}  # fmt: skip
BATCH_KG = 250.0


def brief(**pigment: Any) -> Study:
    """Write a brief of three additives of different strength on a mill base of half pigment."""
    actives = {"wetter": 70, "dispersant": 40, "hydrophobe": 35}
    return Study.model_validate(
        {
            "study": {"title": "invented"},
            "pigment": {"name": "red oxide", **pigment},
            "millbase": {"batch_g": 1000 * BATCH_KG, "pigment_percent": 50},
            "package": {
                "additive": [
                    {"name": name, "low": 0, "high": 1, "active_percent": active}
                    for name, active in actives.items()
                ]
            },
            "factor": [{"name": "dose", "role": "dose", "low": 1, "high": 3}],
            "response": [{"name": "gloss"}],
        }
    )


def card_of(
    study: Study, box: dict[str, tuple[float, float]], settings: dict[str, float | str] = SETTINGS
) -> FormulaCard:
    """Weigh a version with that box out."""
    version = Version(
        number=1, date=date(2026, 3, 2), settings=agreed_settings(study, settings, box), inputs={},
        seed=1, level=0.95, batch_kg=BATCH_KG, formula=make_formula(study, settings).lines,
        window_probability=0.9,
    )  # fmt: skip
    subject = CardSubject(
        title="t", pigment="", agreement=Agreement(versions=(version,)), roles=(), dose="dose"
    )
    return make_card(subject, version)


def is_in_box(study: Study, kg: dict[str, float], box: dict[str, tuple[float, float]]) -> bool:
    """Work kg back by the recipe's own arithmetic and look whether the box holds them.

    The box bounds each additive's amount and then makes room: shares are in it if some multiple of
    them lies between all ends.
    """
    actual = actual_package(study, {name: 1000 * one for name, one in kg.items()})
    assert actual.dose is not None
    parts = [(box[name][0] / share, box[name][1] / share) for name, share in actual.shares.items()]
    shares = max(low for low, _ in parts) <= min(high for _, high in parts) + 1e-9
    return shares and box["dose"][0] - 1e-9 <= actual.dose <= box["dose"][1] + 1e-9


@pytest.mark.parametrize("weighing_percent", [None, 0.5])
def test_every_combination_of_weigh_outs_stays_in_the_box(weighing_percent: float | None) -> None:
    """All corners, a dense sample, and the pigment at the ends of its own weighing error."""
    study = brief(**({} if weighing_percent is None else {"weighing_percent": weighing_percent}))
    card = card_of(study, BOX)
    ends = {line.name: line.window_kg for line in card.lines if line.window_kg is not None}
    pigment = next(line for line in card.lines if line.kind == "pigment")
    off = (pigment.tolerance_percent or 0.0) / 100.0
    pigments = [pigment.kg * (1.0 - off), pigment.kg, pigment.kg * (1.0 + off)]
    low, high = np.array(list(ends.values())).T
    corners = np.array(list(product(*ends.values())))
    inside = low + np.random.default_rng(1).random((300, 3)) * (high - low)

    assert list(ends) == ["wetter", "dispersant", "hydrophobe"]
    assert np.all(high - low > 0.001)
    for row, oxide in product([*corners, *inside], pigments):
        kg = dict(zip(ends, map(float, row), strict=True)) | {"red oxide": float(oxide)}
        assert is_in_box(study, kg, BOX)


def test_the_ends_by_proportion_would_leave_the_dose() -> None:
    """The fault this guards against: all additives at the low ends of their shares, less dose."""
    study = brief()
    lines = {line.name: line.kg for line in card_of(study, BOX).lines}
    shares = {name: value for name, value in SETTINGS.items() if name != "dose"}
    kg = {name: lines[name] * BOX[name][0] / float(share) for name, share in shares.items()}

    assert not is_in_box(study, kg, BOX)


def test_what_is_shown_to_weigh_lies_within_its_ends() -> None:
    """A share at the end of its box: rounded to the nearest it would lie beyond."""
    box = BOX | {"hydrophobe": (0.25, 0.3)}
    for line in card_of(brief(), box).lines:
        if line.window_kg is not None:
            assert line.window_kg[0] <= line.shown_kg <= line.window_kg[1]


@pytest.mark.parametrize(
    "box",
    [
        {name: ends for name, ends in BOX.items() if name != "dose"},
        BOX | {"dose": (1.3, 1.3)},
        BOX | {"wetter": (0.2, 0.2)},
    ],
)
def test_a_box_too_narrow_to_weigh_is_given_in_shares_and_dose_only(
    box: dict[str, tuple[float, float]],
) -> None:
    """Where the dose may not move, no additive may be weighed off by itself."""
    card = card_of(brief(), box)

    assert all(line.window_kg is None for line in card.lines)
    assert card.too_narrow
    assert "in shares and dose only" in str(list(weigh_blocks(card)))


def test_an_additive_alone_may_move_as_far_as_the_dose() -> None:
    """Its share is the whole whatever it weighs: 1.25 and 1.36 on 1.3, by hand on 2.321 kg."""
    settings: dict[str, float | str] = {"wetter": 1.0, "dispersant": 0.0, "hydrophobe": 0.0}
    box = {"wetter": (0.9, 1.0), "dose": (1.25, 1.36)}
    card = card_of(brief(), box, settings | {"dose": 1.3})

    (ends,) = [line.window_kg for line in card.lines if line.window_kg is not None]
    assert ends == pytest.approx((2.233, 2.428))


def test_a_load_below_a_kilogram_is_told_in_grams() -> None:
    """0.04643 kg on 5 kg of mill base is no number for a balance that shows grams."""
    card = card_of(brief(), BOX)
    fine = replace(
        card.lines[1], kg=0.1277, decimals=4, tolerance_kg=0.0013, window_kg=(0.1201, 0.1302)
    )
    (block,) = [
        one
        for one in weigh_blocks(replace(card, lines=(card.lines[0], fine)))
        if isinstance(one, TableBlock)
    ]

    assert [cell.text for cell in block.table.rows[1][2:]] == [
        "127.7 g",
        "1.3 g",
        "120.1 to 130.2 g",
    ]
    assert block.table.rows[0][2].text.endswith(" kg")
    # The file keeps to one unit, which its heading names.
    heads, _, row = block.table.csv().splitlines()
    assert heads == "step,material,kg,± kg,box"
    assert row.split(",")[2:4] == ["0.1277", "0.0013"]
