"""The formula on 100 g of mill base, and the card that weighs it out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest

from analysis.agreement.end_points import end_points, laboratory_settings
from analysis.agreement.formula import agreed_settings, make_formula
from analysis.agreement.formula_card import CardSubject, FormulaCard, make_card, scale_decimals
from analysis.agreement.standing import role_standings
from analysis.report.formula_card_pdf import formula_card_pdf
from analysis.report.formula_card_words import card_parts, state_words
from doe.study.agreement import AgreedReading, Agreement, RoleLine, Version
from doe.study.brief import Study

DAY = date(2026, 3, 2)
SETTINGS: dict[str, float | str] = {
    "wetting agent": 0.25, "dispersant": 0.75, "dose": 2.0, "pH": 9.0, "grind time": 30.0,
}  # fmt: skip
READING = AgreedReading(
    response="paint viscosity", unit="mPa·s", value=400.0, value_is="median", run_low=350.0,
    run_high=460.0, limits=("at most 500 mPa·s",), verdict="met",
)  # fmt: skip


def brief(**more: Any) -> Study:
    """Write a brief of two additives in a mill base of half pigment."""
    plain: dict[str, Any] = {
        "study": {"title": "invented", "roles": ["formulator", "production"]},
        "pigment": {"name": "red oxide", "weighing_percent": 0.1},
        "millbase": {
            "batch_g": 500, "pigment_percent": 50,
            "ingredient": [{"name": "defoamer", "percent": 0.4}],
        },
        "package": {
            "additive": [
                {"name": "wetting agent", "low": 0, "high": 1, "active_percent": 50,
                 "weighing_percent": 0.5},
                {"name": "dispersant", "low": 0, "high": 1, "active_percent": 40},
            ]
        },
        "factor": [
            {"name": "dose", "role": "dose", "unit": "% on pigment", "low": 1, "high": 3,
             "scatter_sd": 0.02},
            {"name": "pH", "low": 8, "high": 10, "set_by": "ammonia solution", "tolerance": 0.2},
            {"name": "grind time", "unit": "min", "low": 15, "high": 45, "set_per": "sample"},
            {"name": "mill temperature", "unit": "°C", "low": 25, "high": 45, "noise": True,
             "production": {"mean": 35, "sd": 4}},
        ],
        "response": [
            {"name": "paint viscosity", "unit": "mPa·s", "accept": {"at_most": 500}},
            {"name": "gloss"},
        ],
    }  # fmt: skip
    return Study.model_validate(plain | more)


def card_of(study: Study, batch_kg: float, settings: Mapping[str, float | str]) -> FormulaCard:
    """Make a card of a draft that the formulator agrees on."""
    formula = make_formula(study, settings)
    version = Version(
        number=1, date=DAY, because="thin", settings=agreed_settings(study, settings),
        inputs={"region": "ab"}, seed=1, level=0.95, batch_kg=100.0, formula=formula.lines,
        titrations=formula.titrations, end_points=end_points(study, (READING,)),
        laboratory=laboratory_settings(study, settings), readings=(READING,),
        not_tested=("Storage: nothing was tried.",),
        lines=(RoleLine(role="formulator", says="agrees", date=DAY),),
    )  # fmt: skip
    subject = CardSubject(
        title="invented", pigment="red oxide", agreement=Agreement(versions=(version,)),
        roles=role_standings(version, study.about.roles),
    )  # fmt: skip
    return make_card(subject, version, batch_kg)


def test_the_formula_is_that_of_the_weigh_out() -> None:
    """By hand: 50 g pigment, 1 g active on it; 0.25 g / 0.5 and 0.75 g / 0.4 as supplied."""
    lines = {line.name: line for line in make_formula(brief(), SETTINGS).lines}

    assert list(lines) == ["water", "wetting agent", "dispersant", "defoamer", "red oxide"]
    assert lines["wetting agent"].percent == pytest.approx(0.5)
    assert lines["dispersant"].percent == pytest.approx(1.875)
    assert lines["red oxide"].percent == pytest.approx(50.0)
    assert sum(line.percent for line in lines.values()) == pytest.approx(100.0)


def test_a_tolerance_is_two_standard_deviations_of_what_the_brief_states() -> None:
    """Weighing errors first; for an additive without one the scatter of the dose, 0.02 of 2 %."""
    lines = {line.name: line for line in make_formula(brief(), SETTINGS).lines}

    assert lines["wetting agent"].tolerance_percent == pytest.approx(1.0)
    assert lines["dispersant"].tolerance_percent == pytest.approx(2.0)
    assert lines["red oxide"].tolerance_percent == pytest.approx(0.2)
    assert lines["defoamer"].tolerance_percent is lines["water"].tolerance_percent is None
    settings = {one.name: one.tolerance for one in agreed_settings(brief(), SETTINGS)}
    assert settings["dose"] == pytest.approx(0.04)
    assert settings["pH"] == pytest.approx(0.2)


def test_the_card_weighs_out_any_batch_and_holds_water_back_for_the_base() -> None:
    """What is weighed and what is held back add to the batch; half a per cent of 250 kg by hand."""
    card = card_of(brief(), 250.0, SETTINGS)
    held = card.titrations[0].held_back_kg

    assert sum(line.kg for line in card.lines) + held == pytest.approx(250.0)
    assert held == pytest.approx(12.5)
    wetting = card.lines[1]
    assert wetting.kg == pytest.approx(1.25)
    assert wetting.decimals == 3
    assert wetting.tolerance_kg == pytest.approx(0.0125, abs=0.0005)


def test_a_tolerance_below_the_scale_is_told() -> None:
    """0.2 % of 5 g is 0.01 g: no plant scale shows that, and ± 0 would be a lie."""
    card = card_of(brief(), 0.01, SETTINGS)

    assert card.lines[-1].is_finer_than_scale
    text = str(card_parts(card, brief())[0])
    assert "finer scale" in text


@pytest.mark.parametrize(("kg", "decimals"), [(137.5, 1), (99.996, 1), (9.9994, 3), (0.02, 4)])
def test_a_scale_shows_four_digits_and_no_more_than_a_tenth_of_a_gram(
    kg: float, decimals: int
) -> None:
    """Rounding first: 99.996 kg is shown as 100.0, one decimal less than its own size asks."""
    assert scale_decimals(kg) == decimals


def test_additives_let_down_with_the_sample_stand_apart() -> None:
    """On 25 g of mill base, 12.5 g pigment: 0.0625 g / 0.5 of wetting agent is 0.5 on 100 g."""
    package = brief().model_dump(by_alias=True)["package"] | {"set_per": "sample"}
    study = brief(package=package, letdown={"millbase_g": 25})
    late = [line for line in make_formula(study, SETTINGS).lines if line.part == "let-down"]

    assert [line.name for line in late] == ["wetting agent", "dispersant"]
    assert late[0].percent == pytest.approx(0.5)


def test_without_a_mill_base_the_card_says_so() -> None:
    """Many old tables know nothing of grams."""
    study = brief(millbase=None)
    card = card_of(study, 100.0, SETTINGS)

    assert card.lines == ()
    assert "nothing can be weighed out" in str(card_parts(card, study))


def test_end_points_come_first_and_minutes_are_not_transferable() -> None:
    """Another mill reaches the same fineness, strength, viscosity and heat in other minutes."""
    study = brief()
    titles = [part.title for part in card_parts(card_of(study, 100.0, SETTINGS), study)]
    ends = end_points(study, (READING,))
    (minutes,) = laboratory_settings(study, SETTINGS)

    first, second = (next(i for i, title in enumerate(titles) if word in title)
                     for word in ("End point", "not transferable"))  # fmt: skip
    assert first < second
    assert [(one.kind, one.at_most) for one in ends] == [("viscosity", 500), ("temperature", 43)]
    assert (minutes.name, minutes.value) == ("grind time", 30.0)
    assert "NOT TRANSFERABLE" in str(card_parts(card_of(study, 100.0, SETTINGS), study))


def test_the_state_is_told_first() -> None:
    """A draft must not be taken for what was agreed."""
    words = state_words(card_of(brief(), 100.0, SETTINGS))

    assert words.startswith("DRAFT.")
    assert "Not spoken yet: production" in words


def test_the_card_on_paper_is_the_same_bytes_each_time() -> None:
    """Nothing in it comes from a clock."""
    study = brief()
    card = card_of(study, 250.0, SETTINGS)

    pdf = formula_card_pdf(card, study)
    assert pdf.startswith(b"%PDF")
    assert pdf == formula_card_pdf(card, study)
