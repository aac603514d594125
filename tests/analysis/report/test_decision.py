"""What the half page for the decision says is to be done next."""

from __future__ import annotations

from dataclasses import replace

from analysis.report.content import Provenance, ReportContent
from analysis.report.decision import make_decision
from doe.recipe.recipe import Titration
from doe.sheets.wording import grams_text
from doe.study.status import StatusLine
from tests.analysis.fits.adopted_table import range_factor, study_of
from tests.analysis.report.masonry import full_content, masonry


def test_what_the_models_ask_for_comes_before_what_is_waited_for() -> None:
    """Nothing may rest on a model before that is done."""
    content = ReportContent(
        study=study_of(factors=[range_factor("x")]),
        provenance=Provenance(version="0"),
        status=(StatusLine(state="waiting", text="Readings: two runs wait."),),
        model_steps=("Look at run 12.",),
    )

    assert make_decision(content).next_steps == ("Look at run 12.", "Readings: two runs wait.")


def test_what_is_held_back_is_a_step_of_the_weigh_out() -> None:
    """Whoever weighs line by line must not have put all the water in before the base."""
    study = masonry()
    base = Titration(factor="pH", unit="", target=8.85, titrant="ammonia solution")
    recipe = replace(study.batch_recipe(), titrations=(base,), held_back_g=25.0)
    rows = make_decision(replace(full_content(study, ()), batch_recipe=recipe)).recipe
    weighed = [row.name for row in rows if row.grams or "–" in row.name]

    assert weighed[:2] == [
        "water – weigh first", "ammonia solution for pH – add to pH 8.85; note all grams",
    ]  # fmt: skip
    assert weighed[-1] == "water made up – fill up: 25 g held back, less the ammonia solution"
    assert rows[0].grams == grams_text(recipe.balance.as_supplied_g - 25.0)


def test_what_is_weighed_has_the_digits_of_the_bench_cards() -> None:
    """Of a light load two decimals are not enough: 0.2554 g must not be weighed as 0.26 g."""
    study = masonry()
    recipe = study.batch_recipe()
    first, light, *others = recipe.lines
    light = replace(light, as_supplied_g=0.2554)
    recipe = replace(recipe, lines=(first, light, *others))
    rows = make_decision(replace(full_content(study, ()), batch_recipe=recipe)).recipe

    assert "0.255" in [row.grams for row in rows]
