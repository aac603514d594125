"""Worked numbers of the recipe's arithmetic: volumes, VOC, cost, load and neutralisation.

Each number carries its mark: "read" in the source named, "from memory", "common practice, no
source", or "calculated" by hand from the definition. Tolerance: half a unit of the last digit
printed, unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from doe.methods.registry import find_method
from doe.recipe.composition import Composition, Part, compose
from doe.recipe.neutralisation import (
    AMINO_METHYL_PROPANOL_G_PER_MOL,
    AMMONIA_G_PER_MOL,
    SODIUM_HYDROXIDE_G_PER_MOL,
    acid_groups,
    acid_number_of_repeat_unit,
    base_needed,
    free_ammonia_share,
)
from doe.recipe.quantities import quantity_of
from doe.recipe.voc import G_PER_L_OF_LB_PER_GAL, voc_less_water, voc_of_material, voc_of_recipe
from doe.recipe.volumes import (
    critical_pigment_volume_concentration,
    pigment_volume_concentration,
    spreading_rate,
)
from doe.study.brief import Study

ADDITIVES = (
    ("wetting agent", 70.0, 1.04, 0.9),
    ("dispersant", 40.0, 1.20, 0.6),
    ("hydrophobic co-dispersant", 35.0, 1.10, 0.2),
)
ROW = {"wetting agent": 0.15, "dispersant": 0.55, "hydrophobic co-dispersant": 0.30, "dose": 1.8}


def worked_study() -> Study:
    """Write the worked recipe: 1000 g mill base with 600 g pigment, 100 g let down in 300 g."""
    return Study.model_validate(
        {
            "study": {"title": "worked recipe"},
            "pigment": {
                "name": "red",
                "density_g_per_ml": 5.0,
                "oil_absorption_g_per_100g": 22.0,
                "price_per_kg": 2.4,
            },
            "millbase": {
                "batch_g": 1000.0,
                "pigment_percent": 60.0,
                "balance_price_per_kg": 0.0,
                "ingredient": [
                    {"name": "defoamer", "percent": 0.3, "kind": "other", "active_percent": 100.0,
                     "density_g_per_ml": 0.95, "price_per_kg": 6.0},
                    # Neither water nor solids nor VOC in the worked numbers.
                    {"name": "biocide", "percent": 0.2, "kind": "other", "solids_percent": 0.0,
                     "voc_percent": 0.0, "voc_exempt_percent": 100.0, "density_g_per_ml": 1.05,
                     "price_per_kg": 9.0},
                ],
            },
            "letdown": {
                "millbase_g": 100.0,
                "ingredient": [
                    {"name": "dispersion", "grams": 300.0, "kind": "binder",
                     "active_percent": 45.0, "voc_percent": 0.0, "solids_density_g_per_ml": 1.1,
                     "price_per_kg": 1.5}
                ],
            },
            "package": {
                "additive": [
                    {"name": name, "low": 0.0, "high": 1.0, "active_percent": active,
                     "voc_percent": 0.0, "solids_density_g_per_ml": density,
                     "hydrophilic_fraction": hydrophilic, "price_per_kg": 4.0}
                    for name, active, density, hydrophilic in ADDITIVES
                ]
            },
            "factor": [{"name": "dose", "role": "dose", "low": 0.5, "high": 3.0}],
        }
    )  # fmt: skip


def of_worked_recipe(method: str, **asked: float | str) -> float:
    """Compute a quantity of the worked recipe."""
    known = find_method(method)
    assert known is not None
    defaults = {one.name: one.default for one in known.options if one.default is not None}
    quantity = quantity_of(known.name, {**defaults, **asked})
    return quantity.value(compose(worked_study(), ROW, quantity.part))


@pytest.mark.parametrize(
    ("method", "asked", "value", "half_digit"),
    [
        ("density of the mill base", {}, 1.9253, 5e-5),
        ("pigment volume fraction", {"part": "mill base"}, 23.10, 5e-3),
        ("solids of the recipe", {"part": "mill base"}, 61.38, 5e-3),
        ("pigment volume concentration", {}, 8.907, 5e-4),
        ("pigment volume concentration", {"additives": "counted"}, 8.824, 5e-4),
        ("solids of the recipe", {}, 49.10, 5.001e-3),
        ("volume solids", {}, 40.00, 5e-3),
        ("density of the paint", {}, 1.1766, 5e-5),
        ("active on film solids", {}, 0.550, 5e-4),
        ("hydrophilic load", {}, 0.2887, 5e-5),
        ("critical pigment volume concentration", {}, 45.946, 5e-4),
        ("reduced pigment volume concentration", {}, 8.907 / 45.946, 2e-5),
        ("spreading rate", {"film_thickness_um": 30.0}, 400.0 / 30.0, 5e-3),
    ],
)
def test_worked_recipe(
    method: str, asked: dict[str, float | str], value: float, half_digit: float
) -> None:
    """The trade brief's worked mill base and let-down. Mark: calculated.

    Λ and the spreading rate follow from the printed PVC, CPVC and volume solids.
    """
    assert of_worked_recipe(method, **asked) == pytest.approx(value, abs=half_digit)


def test_worked_paint_holds_50_86_percent_water() -> None:
    """Water of the mill base and of the dispersion, % by mass of the paint. Mark: calculated."""
    paint = compose(worked_study(), ROW)

    assert 100 * paint.total("water_g") / paint.mass_g == pytest.approx(50.86, abs=5.001e-3)


@pytest.mark.parametrize(("part", "mass_g"), [("mill base", 1000.0), ("paint", 400.0)])
def test_worked_masses(part: Part, mass_g: float) -> None:
    """A batch is its 1000 g whatever the dose; the paint is 100 g and 300 g."""
    assert compose(worked_study(), ROW, part).mass_g == pytest.approx(mass_g)


def test_cost_of_the_worked_mill_base() -> None:
    """600 g at 2.4, 26.4214 g at 4, 3 g at 6, 2 g at 9 per kg. Mark: calculated."""
    by_hand = 0.6 * 2.4 + 0.0264214286 * 4.0 + 0.003 * 6.0 + 0.002 * 9.0

    assert of_worked_recipe("cost per kg", part="mill base") == pytest.approx(by_hand, rel=1e-9)
    assert of_worked_recipe("cost per litre", part="mill base") == pytest.approx(
        by_hand * 1.9253, rel=5e-5
    )


# --- volumes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("oil", "density", "cpvc"), [(20, 4.1, 53.276), (22, 5.0, 45.946)])
def test_critical_concentration(oil: float, density: float, cpvc: float) -> None:
    """1 / (1 + OA ρ / 93.5). Mark: form read, 0.935 from memory, numbers calculated."""
    assert critical_pigment_volume_concentration(oil, density) == pytest.approx(cpvc, abs=5e-4)


def test_pigment_volume_concentration() -> None:
    """12.000 mL of pigment, 122.7273 mL of polymer. Mark: calculated."""
    assert pigment_volume_concentration(12.0, 122.7273) == pytest.approx(8.907, abs=5e-4)


def test_spreading_rate() -> None:
    """38 % volume solids at 30 µm. Mark: calculated."""
    assert spreading_rate(38.0, 30.0) == pytest.approx(12.667, abs=5e-4)


# --- VOC ------------------------------------------------------------------------------------------


def test_first_published_case_of_voc() -> None:
    """Solids 20.8 %, water 53.0 %, 8.52 lb/gal, water 8.33 lb/gal. Mark: read, 2.23 and 4.87.

    The worked example on a US regional agency's VOC page; 584.1 g/L calculated from it.
    """
    density, water = 8.52 * G_PER_L_OF_LB_PER_GAL, 8.33 * G_PER_L_OF_LB_PER_GAL
    voc = voc_of_material(density, 0.208, 0.530)
    less = voc_less_water(voc, density, 0.530, water_density_g_per_l=water)

    assert voc / G_PER_L_OF_LB_PER_GAL == pytest.approx(2.23, abs=5e-3)
    assert less / G_PER_L_OF_LB_PER_GAL == pytest.approx(4.87, abs=5.001e-3)
    assert less == pytest.approx(584.1, abs=0.05)


def test_second_published_case_of_voc() -> None:
    """33.2 lb of solvent and 62.4 gal of water in 100 gal. Mark: read, 0.332 and 0.883 lb/gal."""
    # Any density serves: water is 62.4 % of the volume, so its mass fraction is 62.4 % × ρ_w / ρ.
    density, water = 1200.0, 1000.0
    fraction = 0.624 * water / density
    less = voc_less_water(0.332, density, fraction, water_density_g_per_l=water)

    assert less == pytest.approx(0.883, abs=5e-4)


def test_pound_in_a_gallon() -> None:
    """1 lb/gal. Mark: read as 119.83 g/L, calculated as 119.826."""
    assert G_PER_L_OF_LB_PER_GAL == pytest.approx(119.826, abs=5e-4)


def test_voc_of_the_recipe() -> None:
    """1.2 % of VOC at 1.25 g/mL, 42 % water of 0.9971 g/mL. Mark: calculated, 15.0 and 31.681."""
    voc = voc_of_recipe(1.25, 0.012)

    assert voc == pytest.approx(15.0, abs=0.05)
    assert voc_less_water(voc, 1250.0, 0.42, water_density_g_per_l=997.1) == pytest.approx(
        31.681, abs=5e-4
    )


def with_coalescent() -> Composition:
    """Add 12 g of a coalescent and 4 g of an exempt solvent to the worked let-down."""
    plain = worked_study().model_dump(mode="json", by_alias=True, exclude_unset=True)
    plain["letdown"]["ingredient"] += [
        {"name": "coalescent", "grams": 12.0, "kind": "other", "solids_percent": 0.0,
         "voc_percent": 100.0, "density_g_per_ml": 0.95},
        {"name": "exempt solvent", "grams": 4.0, "kind": "other", "solids_percent": 0.0,
         "voc_percent": 0.0, "voc_exempt_percent": 100.0, "density_g_per_ml": 0.8},
    ]  # fmt: skip
    return compose(Study.model_validate(plain), ROW)


@pytest.mark.parametrize("method", ["VOC of the recipe", "VOC of the recipe less water"])
def test_voc_of_a_recipe_agrees_with_the_formulas_of_the_standard(method: str) -> None:
    """Sums over materials against the mass-fraction formulas. Mark: equation from memory."""
    paint = with_coalescent()
    mass, volume = paint.mass_g, paint.total("volume_ml")
    density = 1000.0 * mass / volume
    water, exempt = paint.total("water_g") / mass, paint.total("exempt_g") / mass
    by_formula = voc_of_material(density, paint.total("solids_g") / mass, water, exempt)
    if method.endswith("less water"):
        exempt_density = 1000.0 * paint.total("exempt_g") / paint.total("exempt_ml")
        by_formula = voc_less_water(
            by_formula, density, water, exempt, exempt_density_g_per_l=exempt_density
        )

    assert quantity_of(method, {"part": "paint"}).value(paint) == pytest.approx(by_formula)


# --- neutralisation -------------------------------------------------------------------------------


def test_acid_groups() -> None:
    """10 g at 200 mg KOH/g. Mark: calculated, 35.647 mmol."""
    assert acid_groups(10.0, 200.0) == pytest.approx(35.647, abs=5e-4)


@pytest.mark.parametrize(
    ("molar_mass", "purity", "grams", "half_digit"),
    [
        (AMMONIA_G_PER_MOL, 0.25, 2.428, 5e-4),
        (AMINO_METHYL_PROPANOL_G_PER_MOL, 1.0, 3.178, 5.001e-4),
        # 35.6468 mmol × 39.997 / 0.5; with 56.11 for KOH it is printed as 2.851.
        (SODIUM_HYDROXIDE_G_PER_MOL, 0.50, 2.8515, 5e-5),
    ],
)
def test_base_needed(molar_mass: float, purity: float, grams: float, half_digit: float) -> None:
    """All of 10 g at 200 mg KOH/g. Mark: calculated."""
    needed = base_needed(acid_groups(10.0, 200.0), molar_mass, purity=purity)

    assert needed == pytest.approx(grams, abs=half_digit)


def test_acid_number_of_poly_acrylic_acid() -> None:
    """56106 / 72.06. Mark: calculated, 778.60 (with 56.10 for KOH it comes out as 778.5)."""
    assert acid_number_of_repeat_unit() == pytest.approx(778.60, abs=5e-3)


@pytest.mark.parametrize(("ph", "share"), [(8.5, 0.15098), (9.0, 0.35994), (9.5, 0.64006)])
def test_free_ammonia(ph: float, share: float) -> None:
    """1 / (1 + 10^(9.25 − pH)). Mark: pKa from memory, numbers calculated."""
    assert free_ammonia_share(ph) == pytest.approx(share, abs=5e-6)


# --- doses ----------------------------------------------------------------------------------------

DOSES: list[tuple[str, Callable[[], float], float, float]] = [
    ("active mass", lambda: compose(worked_study(), ROW, "mill base").package_g, 10.8, 5e-2),
    ("active on paint", lambda: of_worked_recipe("active on paint"), 100 * 1.08 / 400, 5e-6),
    (
        "active on the mill base",
        lambda: of_worked_recipe("active on paint", part="mill base"),
        1.08,
        5e-6,
    ),
]


@pytest.mark.parametrize(("compute", "value", "half_digit"), [row[1:] for row in DOSES])
def test_dose(compute: Callable[[], float], value: float, half_digit: float) -> None:
    """600 g of pigment at 1.8 % active. Mark: calculated."""
    assert compute() == pytest.approx(value, abs=half_digit)
