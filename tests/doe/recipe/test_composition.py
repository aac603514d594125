"""The whole paint from a row of settings, and what is said where data are missing."""

from __future__ import annotations

from typing import Any

import pytest

from doe.errors import StudyError
from doe.recipe.actual import actual_package
from doe.recipe.batch_recipe import weigh_batch
from doe.recipe.composition import Part, compose
from doe.recipe.materials import WATER_DENSITY_20C
from doe.recipe.quantities import quantity_of
from doe.study.brief import Study

ROW = {"dispersant": 1.0, "dose": 2.0}


def brief(**more: Any) -> Study:
    """Write 100 g of mill base with half pigment, 20 g of it in 60 g of dispersion."""
    body: dict[str, Any] = {
        "study": {"title": "t"},
        "pigment": {"name": "red", "density_g_per_ml": 5.0},
        "millbase": {"batch_g": 100.0, "pigment_percent": 50.0},
        "letdown": {
            "millbase_g": 20.0,
            "ingredient": [
                {"name": "dispersion", "grams": 60.0, "active_percent": 50.0, "voc_percent": 1.0,
                 "density_g_per_ml": 1.05}
            ],
        },
        "tint": {"letdown_g": 2.0, "white_g": 40.0},
        "package": {
            "additive": [{"name": "dispersant", "low": 1, "high": 1, "active_percent": 40.0}]
        },
        "factor": [{"name": "dose", "role": "dose", "low": 1, "high": 3}],
    }  # fmt: skip
    return Study.model_validate(body | more)


@pytest.mark.parametrize(
    ("part", "mass_g"), [("mill base", 100.0), ("paint", 80.0), ("white reduction", 42.0)]
)
def test_each_part_weighs_what_the_brief_says(part: Part, mass_g: float) -> None:
    """Batch, let-down and white reduction."""
    assert compose(brief(), ROW, part).mass_g == pytest.approx(mass_g)


def test_additives_per_sample_are_added_to_the_paint() -> None:
    """On the pigment in the mill base let down: 10 g at 2 % active of 40 %."""
    additive = {"name": "dispersant", "low": 1, "high": 1, "active_percent": 40.0}
    study = brief(package={"set_per": "sample", "additive": [additive]})
    paint = compose(study, ROW)

    assert paint.package_g == pytest.approx(0.2)
    assert paint.mass_g == pytest.approx(80.5)


def test_water_is_what_is_neither_solids_nor_voc() -> None:
    """Balance 50 − 2.5 g and 1.5 g from the additive in 100 g; 49 % of the dispersion."""
    additive = {"name": "dispersant", "low": 1, "high": 1, "active_percent": 40.0,
                "voc_percent": 0.0}  # fmt: skip
    paint = compose(brief(package={"additive": [additive]}), ROW)

    assert paint.total("water_g") == pytest.approx(0.2 * (47.5 + 1.5) + 0.49 * 60.0)


def test_a_missing_datum_is_named_material_by_material() -> None:
    """All together, each with its table; what is not weighed is not asked for."""
    with pytest.raises(StudyError) as caught:
        quantity_of("cost per kg", {"part": "mill base"}).value(compose(brief(), ROW, "mill base"))
    named = [(fault.where, fault.what) for fault in caught.value.faults]

    assert named == [
        ("study.toml, [millbase]", "balance_price_per_kg is missing"),
        ("study.toml, [[package.additive]] 'dispersant'", "price_per_kg is missing"),
        ("study.toml, [pigment]", "price_per_kg is missing"),
    ]


def test_the_kind_of_a_material_is_asked_for_where_it_decides() -> None:
    """Whether the dispersion is the binder is not guessed from its name."""
    options = {"part": "paint", "additives": "left out"}
    with pytest.raises(StudyError, match=r"\[\[letdown.ingredient\]\] 'dispersion': kind is"):
        quantity_of("pigment volume concentration", options).value(compose(brief(), ROW))


def test_active_matter_that_nobody_stated_is_no_solids() -> None:
    """The brief's default of 100 % active serves the weigh-out, and is no statement on the film."""
    letdown = {"millbase_g": 20.0, "ingredient": [{"name": "dispersion", "grams": 60.0}]}
    with pytest.raises(StudyError, match="'dispersion': solids_percent is missing"):
        compose(brief(letdown=letdown), ROW).total("solids_g")


def test_water_as_balance_brings_its_density() -> None:
    """50 g of pigment of 5 g/mL, 50 g of water."""
    assert compose(brief(), {}, "mill base").total("volume_ml") == pytest.approx(
        10.0 + 50.0 / WATER_DENSITY_20C
    )


def test_another_balance_needs_data_of_its_own() -> None:
    """Under the name of the balance; nothing is taken for water."""
    millbase = {"batch_g": 100.0, "pigment_percent": 50.0, "balance": "resin solution"}
    known = [{"name": "resin solution", "active_percent": 30.0, "density_g_per_ml": 1.02}]
    with pytest.raises(StudyError, match=r"\[\[material\]\] 'resin solution': density_g_per_ml is"):
        compose(brief(millbase=millbase), {}, "mill base").total("volume_ml")
    told = compose(brief(millbase=millbase, material=known), {}, "mill base")

    assert told.total("volume_ml") == pytest.approx(10.0 + 50.0 / 1.02)
    assert told.total("solids_g") == pytest.approx(50.0 + 15.0)


def test_no_let_down_is_a_fault_that_says_how_to_go_on() -> None:
    """The mill base alone can still be computed."""
    with pytest.raises(StudyError, match=r"no \[letdown\].*part = \"mill base\""):
        compose(brief(letdown=None), ROW)


# --- a dose without a package ---------------------------------------------------------------------


def bare(**material: Any) -> Study:
    """Write a dose of whatever the chemistry is, with data of one level."""
    return brief(
        package=None,
        material=[{"name": "New", "active_percent": 25.0, **material}],
        factor=[
            {"name": "dose", "role": "dose", "low": 1, "high": 3},
            {"name": "chemistry", "levels": ["old", "new"]},
        ],
    )


def test_a_level_with_data_is_weighed_as_supplied() -> None:
    """50 g at 2 % are 1 g active, 4 g as supplied; the balance gives way, without a caution."""
    recipe = weigh_batch(bare(), {"dose": 2.0, "chemistry": "new"})

    assert recipe.line("New").as_supplied_g == pytest.approx(4.0)
    assert recipe.water_to_weigh_g == pytest.approx(46.0)
    assert not recipe.findings


def test_a_level_without_data_stays_pure_active_matter() -> None:
    """As before, with a caution that says so."""
    recipe = weigh_batch(bare(), {"dose": 2.0, "chemistry": "old"})

    assert recipe.additives[0].as_supplied_g == pytest.approx(1.0)
    assert "pure active" in recipe.findings[0].what


def test_grams_of_a_level_tell_its_dose() -> None:
    """5 g weighed of 25 % active on 50 g of pigment are 2.5 %."""
    row = {"dose": 2.0, "chemistry": "new"}

    assert actual_package(bare(), {"New": 5.0}, row).dose == pytest.approx(2.5)


def test_cost_hangs_on_the_level() -> None:
    """4 g as supplied at 10 per kg, the rest free."""
    pigment, millbase = brief().pigment, brief().millbase
    assert pigment is not None
    assert millbase is not None
    study = bare(price_per_kg=10.0).model_copy(
        update={
            "pigment": pigment.model_copy(update={"price_per_kg": 0.0}),
            "millbase": millbase.model_copy(update={"balance_price_per_kg": 0.0}),
        }
    )
    batch = compose(study, {"dose": 2.0, "chemistry": "new"}, "mill base")

    assert batch.total("cost") == pytest.approx(0.04)
