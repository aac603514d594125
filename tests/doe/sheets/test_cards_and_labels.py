"""Cards and labels to print: what they say, what they keep to themselves."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from doe.errors import PlanError
from doe.sheets.cards import cards_pdf
from doe.sheets.fonts import marked_up
from doe.sheets.labels import bench_labels, labels_pdf
from doe.sheets.paper import ELLIPSIS, shortened
from doe.study.brief import Study
from doe.study.plan import Kind, Plan
from doe.study.settings import Settings


def pages(data: bytes) -> int:
    """Count the pages of a PDF."""
    return len(re.findall(rb"/Type /Page\b", data))


def with_settings(plan: Plan, **changes: float) -> Plan:
    """Change a setting in all runs of a plan."""
    values = plan.settings.values.copy()
    for name, value in changes.items():
        values[:, plan.settings.names.index(name)] = value
    settings = Settings(names=plan.settings.names, values=values, labels=plan.settings.labels)
    return replace(plan, settings=settings)


def test_same_study_gives_the_same_cards_and_labels(study: Study, plan: Plan) -> None:
    """No clock inside."""
    assert cards_pdf(study, plan) == cards_pdf(study, plan)
    assert labels_pdf(study, plan) == labels_pdf(study, plan)


def test_each_batch_has_a_card_of_its_own(study: Study, plan: Plan) -> None:
    """Three batches on three pages."""
    assert pages(cards_pdf(study, plan)) == 3


def test_cards_say_what_to_weigh(study: Study, plan: Plan) -> None:
    """Another dose is another card."""
    assert cards_pdf(study, plan) != cards_pdf(study, with_settings(plan, dose=2.0))


def test_cards_hide_the_kind_of_a_run(study: Study, plan: Plan) -> None:
    """Nobody takes more care of a centre point."""
    kinds: tuple[Kind, ...] = ("centre", "check", "axial", "replicate", "control")

    assert cards_pdf(study, replace(plan, kind=kinds)) == cards_pdf(study, plan)


def test_cards_hide_the_name_of_a_control(brief: dict[str, Any], plan: Plan) -> None:
    """It shows as control 1, whatever it is called."""
    before = cards_pdf(Study.model_validate(brief), plan)
    brief["control"][0]["name"] = "secret formula"
    (entry,) = plan.rounds
    renamed = replace(plan, rounds=(replace(entry, controls={5: "secret formula"}),))

    assert cards_pdf(Study.model_validate(brief), renamed) == before


def test_labels_give_no_settings_away(study: Study, plan: Plan) -> None:
    """Other settings, the same labels."""
    assert labels_pdf(study, plan) == labels_pdf(study, with_settings(plan, dose=2.0, pH=9.4))


def test_labels_name_each_jar_once(study: Study, plan: Plan) -> None:
    """The mill base of each batch and the paint of each sample, with where they came from."""
    labels = [(one.name, one.of, one.what) for one in bench_labels(study, plan)]

    assert labels[:3] == [
        ("batch 1", "day 1", "mill base"),
        ("sample 1", "run 1 · batch 1 · day 1", "paint"),
        ("sample 2", "run 2 · batch 1 · day 1", "paint"),
    ]
    assert len(labels) == len(set(labels)) == 8


def test_panels_have_labels_where_a_response_is_read_on_them(
    brief: dict[str, Any], plan: Plan
) -> None:
    """By run where the plan numbers no panels."""
    brief["response"][0]["per"] = "panel"
    labels = list(bench_labels(Study.model_validate(brief), plan))

    assert [one.name for one in labels if one.what == "panel"][:2] == ["run 1", "run 2"]


def test_infeasible_recipe_has_no_card(brief: dict[str, Any], plan: Plan) -> None:
    """Refused with the run named."""
    brief["millbase"]["pigment_percent"] = 99.0

    with pytest.raises(PlanError, match=r"plan.csv, run 1 \(batch 1\)"):
        cards_pdf(Study.model_validate(brief), plan)


def test_long_recipes_go_on_on_a_second_page(brief: dict[str, Any], plan: Plan) -> None:
    """Nothing is dropped: thirty ingredients with long names take more than one page."""
    brief["millbase"]["ingredient"] = [
        {"name": f"ингредиент с очень длинным названием № {i}, 增稠剂", "percent": 0.01}
        for i in range(30)
    ]

    assert pages(cards_pdf(Study.model_validate(brief), plan)) > 3


def test_plan_without_numbers_of_batches_is_carded_by_run(study: Study, plan: Plan) -> None:
    """An adopted table may have runs alone."""
    none = (None,) * 5
    bare = replace(plan, day=none, batch=none, sample=none)

    assert pages(cards_pdf(study, bare)) == 5
    assert [one.name for one in bench_labels(study, bare)][:2] == ["run 1", "run 2"]


def test_wide_letters_get_the_font_of_their_script() -> None:
    """Kana means Japanese, Hangul Korean; Han alone is taken for Chinese."""
    assert "STSong" in marked_up("分散剂")
    assert "Heisei" in marked_up("分散コ")
    assert "HYSMyeongJo" in marked_up("안료")
    assert marked_up("<b> & смачиватель") == "&lt;b&gt; &amp; смачиватель"


def test_cut_texts_are_marked() -> None:
    """A long title ends in an ellipsis, a short one stands."""
    assert shortened("short", 200, 8) == "short"
    assert shortened("a rather long title " * 9, 100, 8).endswith(ELLIPSIS)
