"""Advice from chemistry: who is told what, with which numbers, and who is left in peace."""

from __future__ import annotations

from typing import Any

import pytest

from doe.model.region import region_of
from doe.recipe.chemistry import ADVISERS, chemistry_findings
from doe.recipe.chemistry_scene import Scene
from doe.study.brief import Study
from doe.study.finding import Finding

RED = {"name": "red iron oxide", "kind": "inorganic"}
PH = {"name": "pH", "low": 8.0, "high": 9.5}


def brief(**sections: Any) -> Study:
    """Make a brief of these sections, the title aside."""
    return Study.model_validate({"study": {"title": "t"}, **sections})


def told(adviser: str, study: Study, *, with_region: bool = False) -> list[Finding]:
    """Ask one adviser by the name of its function."""
    advise = next(one for one in ADVISERS if one.__name__ == adviser)
    return list(advise(Scene(study=study, region=region_of(study) if with_region else None)))


def levels(findings: list[Finding]) -> list[str]:
    """Give the levels alone."""
    return [finding.level for finding in findings]


# --- isoelectric point ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("iep", "expected"),
    [(8.5, ["caution"]), (7.5, ["note"]), (6.01, ["note"]), (6.0, []), (11.4, ["note"]), (12, [])],
)
def test_ph_is_compared_with_the_isoelectric_point(iep: float, expected: list[str]) -> None:
    """TRADE.md 4.1 (read): within two units bare particles are usually unstable."""
    study = brief(pigment=RED | {"isoelectric_ph": iep}, factor=[PH])

    assert levels(told("isoelectric_ph", study)) == expected


def test_without_an_isoelectric_point_it_is_asked_for() -> None:
    """TRADE.md 4.1: coatings decide, so that it is an input and never a constant."""
    (finding,) = told("isoelectric_ph", brief(pigment=RED, factor=[PH]))

    assert finding.level == "note"
    assert "isoelectric_ph = …" in finding.advice


def test_charge_of_the_surface_is_no_matter_of_organic_pigments() -> None:
    """Nor is the pH of the paint that of the grind."""
    organic = brief(pigment={"name": "blue", "kind": "organic"}, factor=[PH])
    paint = brief(pigment=RED, factor=[PH | {"name": "pH of the paint", "set_per": "sample"}])

    assert told("isoelectric_ph", organic) == told("isoelectric_ph", paint) == []


# --- coverage ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (2.6, 6.0, ["caution"]),  # 2.6 mg/m² and more: all beyond 2 to 2.5
        (0.2, 0.9, ["caution"]),  # below 1 mg/m²: less than half of 2
        (1.5, 5.5, ["note"]),  # top beyond twice 2.5
        (0.9, 2.5, ["note"]),  # low end below half of 2
        (1.5, 3.0, []),
    ],
)
def test_dose_is_compared_with_a_monolayer(low: float, high: float, expected: list[str]) -> None:
    """TRADE.md 2.2 (read): 2 to 2.5 mg/m²; at 10 m²/g a per cent is a mg/m²."""
    study = brief(
        pigment=RED | {"specific_surface_m2_per_g": 10.0},
        factor=[{"name": "dose", "role": "dose", "low": low, "high": high}],
    )

    assert levels(told("monolayer", study)) == expected


def test_coverage_has_its_number() -> None:
    """TRADE.md 2.1 (calculated): 10 % active on 50 m²/g is 2 mg/m²."""
    study = brief(
        pigment={"name": "blue", "kind": "organic", "specific_surface_m2_per_g": 50.0},
        factor=[{"name": "dose", "role": "dose", "low": 10.0, "high": 30.0}],
    )

    (finding,) = told("monolayer", study)
    assert finding.evidence["lowest coverage, mg/m²"] == 2.0
    assert finding.evidence["highest coverage, mg/m²"] == 6.0


def test_each_chemistry_is_held_against_its_own_monolayer_and_range() -> None:
    """A polyacrylate covers with 0.2 to 1 mg/m² (from memory, uncertain), a polymer with 2."""
    doses = [
        {"when": {"dispersant": "sodium polyacrylate"}, "low": 1.5, "high": 3.0},
        {"when": {"dispersant": "comb polymer"}, "low": 1.5, "high": 3.0},
    ]
    study = brief(
        pigment=RED | {"specific_surface_m2_per_g": 10.0},
        factor=[
            {"name": "dispersant", "levels": ["sodium polyacrylate", "comb polymer"]},
            {"name": "dose", "role": "dose", "range": doses},
        ],
    )

    (finding,) = told("monolayer", study, with_region=True)
    assert finding.level == "caution"
    assert "sodium polyacrylate" in finding.what


# --- ammonia -------------------------------------------------------------------------------------


def _with_base(base: str, *factors: dict[str, Any], high: float = 9.0) -> Study:
    held = {"name": "neutraliser", "value": base}
    return brief(pigment=RED, factor=[PH | {"high": high}, held, *factors])


def test_the_free_share_of_ammonia_is_told() -> None:
    """TRADE.md 9.1, case 18 (calculated, pKa from memory): 0.360 at pH 9, 0.640 at pH 9.5."""
    (at_9,) = told("ammonia_loss", _with_base("ammonia"))
    (at_9_5,) = told("ammonia_loss", _with_base("ammonia", high=9.5))

    assert (at_9.level, at_9.evidence["free share"]) == ("note", 0.36)
    assert (at_9_5.level, at_9_5.evidence["free share"]) == ("caution", 0.64)


@pytest.mark.parametrize(
    "driver",
    [
        {"name": "grind time", "unit": "min", "low": 10, "high": 60},
        {"name": "mill temperature", "unit": "°C", "value": 50},
    ],
)
def test_long_grinds_and_hot_mills_drive_it_out(driver: dict[str, Any]) -> None:
    """TRADE.md 4.3: a ventilated hot grind is worst."""
    assert levels(told("ammonia_loss", _with_base("ammonia", driver))) == ["caution"]
    assert told("ammonia_loss", _with_base("amine", driver)) == []


def test_a_forbid_on_ammonia_is_seen() -> None:
    """The region of its own level counts, where the brief keeps it off high pH."""
    study = brief(
        pigment=RED,
        factor=[PH, {"name": "neutraliser", "levels": ["ammonia", "amine"]}],
        forbid=[{"settings": {"neutraliser": "ammonia", "pH": "> 9.0"}}],
    )

    (finding,) = told("ammonia_loss", study, with_region=True)
    assert finding.evidence["highest pH"] == pytest.approx(9.0)
    assert finding.evidence["free share"] == 0.36


# --- heat, speed, flakes, anchors ----------------------------------------------------------------


@pytest.mark.parametrize(("high", "expected"), [(45, []), (46, ["caution"])])
def test_a_hot_mill_is_told(high: float, expected: list[str]) -> None:
    """TRADE.md 1.2 and 6.2 (common practice): above about 45 °C."""
    factor = {"name": "mill temperature", "unit": "°C", "low": 25, "high": high}

    assert levels(told("hot_mill", brief(factor=[factor]))) == expected


def test_a_drift_in_production_counts_as_heat() -> None:
    """Mean 40 and two standard deviations of 4 reach 48 °C."""
    noise = {"noise": True, "production": {"mean": 40, "sd": 4}}
    factor = {"name": "mill temperature", "unit": "°C", "low": 25, "high": 45} | noise

    (finding,) = told("hot_mill", brief(factor=[factor]))
    assert finding.evidence["highest, °C"] == 48.0


@pytest.mark.parametrize(("high", "expected"), [(26.0, []), (30.0, ["caution"])])
def test_a_fast_disc_is_told(high: float, expected: list[str]) -> None:
    """TRADE.md 4.7 (read): 4800 to 5200 ft/min, 24.38 to 26.42 m/s (case 74)."""
    factor = {"name": "tip speed", "unit": "m/s", "low": 10, "high": high}

    assert levels(told("tip_speed", brief(factor=[factor]))) == expected


def test_flakes_must_not_be_milled() -> None:
    """TRADE.md 4.7: effect and flake pigments are destroyed by milling."""
    pearl = {"name": "pearl", "kind": "effect"}
    grind = {"name": "grind time", "low": 5, "high": 20}

    assert levels(told("milled_flakes", brief(pigment=pearl, factor=[grind]))) == ["caution"]
    assert told("milled_flakes", brief(pigment=pearl, factor=[grind | {"name": "stirring"}])) == []
    assert told("milled_flakes", brief(pigment=RED, factor=[grind])) == []


def _package(*names: str) -> dict[str, Any]:
    return {"additive": [{"name": name, "low": 0, "high": 1} for name in names]}


def test_a_polyacrylate_alone_anchors_poorly_on_carbon_black() -> None:
    """TRADE.md 2.3 and 4.8 (common practice); a polymer beside it helps."""
    black = {"name": "black", "kind": "carbon black"}
    alone = brief(pigment=black, package=_package("ammonium polyacrylate", "wetting agent"))
    helped = brief(pigment=black, package=_package("ammonium polyacrylate", "comb polymer"))
    oxide = brief(pigment=RED, package=_package("ammonium polyacrylate"))

    assert levels(told("poor_anchor", alone)) == ["caution"]
    assert told("poor_anchor", helped) == told("poor_anchor", oxide) == []


# --- resin, pH by stage, ions, nothing -----------------------------------------------------------


def test_binder_in_the_grind_asks_for_dose_and_order() -> None:
    """TRADE.md 4.6 (common practice): always include resin by dose, and the order of addition."""
    binder = {"name": "acrylic dispersion", "percent": 20.0}
    batch = {"batch_g": 500, "pigment_percent": 45, "ingredient": [binder]}
    dose = {"name": "dose", "role": "dose", "low": 1, "high": 3}
    order = {"name": "order of addition", "levels": ["package first", "resin first"]}

    assert levels(told("resin_in_grind", brief(millbase=batch, factor=[PH]))) == ["caution"]
    assert levels(told("resin_in_grind", brief(millbase=batch, factor=[dose, order]))) == ["note"]
    assert told("resin_in_grind", brief(factor=[dose, order])) == []


@pytest.mark.parametrize(
    ("name", "stage", "expected"),
    [
        ("pH", "batch", []),
        ("pH", "sample", ["note"]),
        ("grind pH", "sample", ["caution"]),
        ("pH of the paint", "sample", []),
        ("pH of the paint", "batch", ["note"]),
    ],
)
def test_a_ph_belongs_to_the_stage_that_it_is_named_for(
    name: str, stage: str, expected: list[str]
) -> None:
    """TRADE.md 1.2: adjusted after the grind, the factor has moved to another stratum."""
    factor = PH | {"name": name, "set_per": stage}

    assert levels(told("ph_after_the_grind", brief(factor=[factor]))) == expected


@pytest.mark.parametrize(("response", "level"), [("gloss", "caution"), ("water uptake", "note")])
def test_sodium_is_held_against_the_tests_on_water(response: str, level: str) -> None:
    """TRADE.md 4.3 (read): it stays, and the film remains water sensitive."""
    study = brief(
        factor=[{"name": "base", "levels": ["sodium hydroxide", "amine"]}],
        response=[{"name": response}],
    )

    assert levels(told("permanent_ion", study)) == [level]


def test_hard_ions_are_told_and_weigh_more_beside_a_salt() -> None:
    """TRADE.md 4.4: 1/64 by Schulze and Hardy (case 21, from memory)."""
    chalk = {"batch_g": 500, "pigment_percent": 45, "ingredient": [{"name": "chalk", "percent": 5}]}
    polymer = brief(millbase=chalk, package=_package("comb polymer"))
    salt = brief(millbase=chalk, package=_package("sodium polyacrylate"))

    assert levels(told("divalent_ions", polymer)) == ["note"]
    (finding,) = told("divalent_ions", salt)
    assert finding.level == "caution"
    assert finding.evidence["coagulation, divalent over monovalent"] == 0.015625
    assert told("divalent_ions", brief(package=_package("sodium polyacrylate"))) == []


def test_a_choice_of_nothing_is_told() -> None:
    """At a dose of 0 all dispersants are one recipe."""
    study = brief(
        material=[{"name": "comb polymer", "active_percent": 40}],
        factor=[
            {"name": "dispersant", "levels": ["comb polymer", "other"]},
            {"name": "dose", "role": "dose", "low": 0, "high": 3},
        ],
    )

    assert levels(told("dose_of_nothing", study)) == ["caution"]


def test_advice_has_reason_numbers_source_and_mark_and_never_stops() -> None:
    """A rule without its source could not be doubted."""
    study = brief(
        pigment={"name": "zinc white", "kind": "inorganic", "specific_surface_m2_per_g": 10.0,
                 "isoelectric_ph": 9.0},
        millbase={"batch_g": 500, "pigment_percent": 45,
                  "ingredient": [{"name": "latex", "percent": 5}]},
        package=_package("sodium polyacrylate"),
        factor=[PH, {"name": "dose", "role": "dose", "low": 3, "high": 9},
                {"name": "base", "levels": ["ammonia", "amine"]},
                {"name": "grind temperature", "unit": "°C", "value": 50}],
    )  # fmt: skip

    findings = chemistry_findings(study)
    assert len(findings) >= 6
    marks = ("(read", "memory", "practice", "both read", ", read")
    for finding in findings:
        assert finding.level in ("note", "caution")
        assert finding.evidence
        assert finding.advice
        assert any(mark in finding.source for mark in marks), finding.source
