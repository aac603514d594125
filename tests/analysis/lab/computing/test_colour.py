"""What the colour methods make of one unit: the value, and the doubts that go with it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from analysis.lab.colour_strength import absorption, reflectance_from_absorption
from analysis.lab.computing.colour import COMPUTE
from analysis.lab.kubelka_munk import FloatArray
from analysis.lab.raw_unit import Computed, RawUnit
from doe.methods.colour import METHODS
from doe.study.curves import Curve
from doe.study.readings import Reading

# The spectral standard of tests/published/test_colour_methods.py.
WAVELENGTHS = np.arange(400.0, 701.0, 10.0)
STANDARD = 0.08 + 0.55 / (1.0 + np.exp(-(WAVELENGTHS - 590.0) / 18.0))
PLAIN = {"saunderson": "no"}


def curve(y: FloatArray | float, x: FloatArray = WAVELENGTHS) -> Curve:
    """Make a curve of a run."""
    return Curve(run=1, x=tuple(x.tolist()), y=tuple(np.broadcast_to(y, x.shape).tolist()))


def tint_of(part: FloatArray | float) -> Curve:
    """Make the curve whose absorption is a part of the standard's."""
    return curve(reflectance_from_absorption(part * absorption(STANDARD, None), None))


def computed(name: str, unit: RawUnit, **options: float | str) -> Computed:
    """Compute a method with its own defaults, as the brief would."""
    method = next(one for one in METHODS if one.name == name)
    defaults = {one.name: one.default for one in method.options if one.default is not None}
    assert set(options) <= {one.name for one in method.options}
    return COMPUTE[name](unit, {**defaults, **options})


def tinted(sample: Curve, **more: object) -> RawUnit:
    """Make a unit with a sample and the standard."""
    held: dict[str, Any] = {"standard": {"": curve(STANDARD)}, **more}
    return RawUnit(label="run 1", curves={"": sample}, **held)


def told(done: Computed) -> str:
    """Join what the findings say."""
    return " ".join(finding.what for finding in done.findings)


def test_every_method_has_its_arithmetic_and_every_arithmetic_its_method() -> None:
    """A name in one list and not the other could be asked for and never answered."""
    assert {method.name for method in METHODS} == set(COMPUTE)


@pytest.mark.parametrize(
    ("name", "options", "strength"),
    [
        ("colour strength", {}, 89.638),
        ("colour strength", {"definition": "maximum"}, 87.00),
        ("colour strength", {"definition": "sum"}, 89.636),
        ("colour strength at the absorption maximum", {}, 87.00),
        ("colour strength, plain sum", {}, 89.636),
        ("colour strength", {"pigment_mass_ratio": 1.1}, 98.602),
    ],
)
def test_each_definition_gives_its_own_strength(
    name: str, options: dict[str, float | str], strength: float
) -> None:
    """Spectral case B of tests/published/test_colour_methods.py; calculated. Tolerance 0.01."""
    unit = tinted(tint_of(0.92 + 0.05 * (WAVELENGTHS - 550.0) / 150.0))

    assert computed(name, unit, **PLAIN, **options).value == pytest.approx(strength, abs=0.011)


def test_a_weighed_tint_overrules_the_ratio_of_the_plan() -> None:
    """2.02 g against 2.00 g of the standard: 92 % becomes 92 · 2.00 / 2.02."""
    unit = tinted(tint_of(0.92), values={"pigment mass": 2.02})
    done = computed("colour strength", unit, **PLAIN, standard_pigment_mass=2.0)

    assert done.value == pytest.approx(92.0 * 2.00 / 2.02, abs=0.001)


def test_residual_difference_is_zero_where_strength_alone_differs() -> None:
    """Spectral case A: the same hue, weaker."""
    unit = tinted(tint_of(0.92))
    as_drawn = computed("colour difference to the standard", unit)

    assert computed("residual colour difference", unit, **PLAIN).value == pytest.approx(0, abs=1e-6)
    assert as_drawn.value == pytest.approx(1.001, abs=0.005)


def test_the_white_comes_off_both_and_goes_back_in() -> None:
    """A tint of twice the pigment over the same white has strength 200 and no residual."""
    white = 0.01 + 0.02 * (WAVELENGTHS < 450.0)
    pigment = absorption(STANDARD, None) - white
    sample = curve(reflectance_from_absorption(2.0 * pigment + white, None))
    unit = tinted(sample, white={"": curve(reflectance_from_absorption(white, None))})
    options = {**PLAIN, "subtract_white": "yes"}

    assert computed("colour strength", unit, **options).value == pytest.approx(200.0)
    assert computed("residual colour difference", unit, **options).value == pytest.approx(
        0.0, abs=1e-6
    )


def test_residual_difference_is_that_of_the_films_with_their_white() -> None:
    """Against a curve made by hand: the tilted pigment scaled to strength 100, white added."""
    white = 0.02 + 0.5 * (WAVELENGTHS < 450.0)
    pigment = absorption(STANDARD, None)
    tilted = pigment * (0.92 + 0.05 * (WAVELENGTHS - 550.0) / 150.0)
    films = [
        curve(reflectance_from_absorption(ratio + white, None))
        for ratio in (tilted, tilted / 0.87, pigment)
    ]
    held = {"standard": {"": films[2]},
            "white": {"": curve(reflectance_from_absorption(white, None))}}  # fmt: skip
    as_drawn = RawUnit(label="run 1", curves={"": films[0]}, **held)
    scaled = RawUnit(label="run 1", curves={"": films[1]}, **held)
    residual = computed(
        "residual colour difference", as_drawn, **PLAIN, subtract_white="yes", definition="maximum"
    )

    assert residual.value == pytest.approx(
        computed("colour difference to the standard", scaled).value
    )


def test_a_film_darker_than_its_surface_has_no_strength() -> None:
    """At R = k1 or below the surface alone would reflect more: nothing is made up."""
    done = computed("colour strength", tinted(curve(0.035)))

    assert done.value is None
    assert "less than its surface alone" in told(done)
    assert computed("colour strength", tinted(curve(0.035)), specular="excluded").value is not None


def test_without_a_standard_there_is_no_strength_and_what_to_do_is_said() -> None:
    """Strength is relative; no default standard is invented."""
    done = computed("colour strength", RawUnit(label="run 1", curves={"": tint_of(1.0)}))

    assert done.value is None
    assert "no curve of the standard" in told(done)
    assert "'standard day 2'" in done.findings[0].advice


def test_a_tint_lighter_than_the_white_is_doubted_and_still_given() -> None:
    """Negative absorption points at the white, not at the arithmetic."""
    unit = tinted(tint_of(0.9), white={"": curve(0.5)})
    done = computed("colour strength", unit, **PLAIN, subtract_white="yes")

    assert done.value is not None
    assert "reflects more than the white" in told(done)


def test_a_white_that_counts_and_is_left_in_is_told() -> None:
    """K/S 0.25 of the white beside 5.29 of the standard's maximum is 4.7 %."""
    unit = tinted(tint_of(0.9), white={"": curve(0.5)})

    assert "left in" in told(computed("colour strength", unit, **PLAIN))
    assert "left in" not in told(
        computed("colour strength", tinted(tint_of(0.9), white={"": curve(0.9)}), **PLAIN)
    )


@pytest.mark.parametrize(("tilt", "is_told"), [(0.0, False), (0.04, False), (0.08, True)])
def test_definitions_that_disagree_by_more_than_three_per_cent_are_told(
    tilt: float, is_told: bool
) -> None:
    """A tilt of 0.05 leaves 2.9 % between them (spectral case B), one of 0.08 more."""
    unit = tinted(tint_of(0.92 + tilt * (WAVELENGTHS - 550.0) / 150.0))

    assert ("disagree" in told(computed("colour strength", unit, **PLAIN))) is is_told


def test_another_hue_is_not_suited_for_strength() -> None:
    """A blue tint against an orange standard."""
    blue = curve(STANDARD[::-1])

    assert "markedly in hue" in told(computed("colour strength", tinted(blue)))
    assert "markedly in hue" not in told(computed("colour strength", tinted(tint_of(0.8))))


def test_a_curve_that_ends_too_early_is_not_compared() -> None:
    """Nothing is guessed beyond the end of a curve."""
    short = np.arange(420.0, 701.0, 10.0)
    done = computed("colour strength", tinted(curve(0.3, short)))

    assert done.value is None
    assert done.findings[0].evidence["first nm"] == 420.0


def test_sample_and_standard_may_come_in_different_steps() -> None:
    """A smooth curve read by 20 nm over 360 to 740 against itself by 10 nm: strength 100."""
    wide = np.arange(360.0, 741.0, 20.0)

    def smooth(x: FloatArray) -> FloatArray:
        return 0.4 + 1e-6 * (x - 500.0) ** 2

    unit = RawUnit(
        label="run 1",
        curves={"": curve(smooth(wide), wide)},
        standard={"": curve(smooth(WAVELENGTHS))},
    )

    assert computed("colour strength", unit).value == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("readings", "options", "strength"),
    [
        ({}, {}, 88.961),
        ({"white reflectance": 88.0}, {"subtract_white": "yes"}, 88.913),
        ({}, {"saunderson": "yes"}, 85.406),
        ({}, {"pigment_mass_ratio": 2.00 / 2.02}, 88.081),
    ],
)
def test_strength_from_readings_at_one_wavelength(
    readings: dict[str, float], options: dict[str, float | str], strength: float
) -> None:
    """19.5 % against 18.0 %, as in tests/published/test_colour_methods.py; calculated."""
    values = {"reflectance": 19.5, "standard reflectance": 18.0, **readings}
    done = computed(
        "colour strength from reflectance at one wavelength",
        RawUnit(label="run 1", values=values),
        **{**PLAIN, **options},
    )

    assert done.value == pytest.approx(strength, abs=5e-4)


@pytest.mark.parametrize(
    ("sample", "standard", "word"),
    [(0.195, 0.18, "look like fractions"), (104.0, 18.0, "above 100 %"), (19.5, 18.0, "")],
)
def test_reflectance_in_the_wrong_unit_is_doubted(
    sample: float, standard: float, word: str
) -> None:
    """Fractions in a column of per cent give 92.28 instead of 88.96, and nothing else shows it."""
    values = {"reflectance": sample, "standard reflectance": standard}
    done = computed(
        "colour strength from reflectance at one wavelength",
        RawUnit(label="run 1", values=values),
        **PLAIN,
    )

    assert word in told(done)
    assert bool(done.findings) == bool(word)


def test_a_pending_white_leaves_the_strength_pending() -> None:
    """Asked to take the white off, the method waits for it."""
    unit = RawUnit(label="run 1", values={"reflectance": 19.5, "standard reflectance": 18.0})
    done = computed(
        "colour strength from reflectance at one wavelength", unit, subtract_white="yes"
    )

    assert done.value is None
    assert "'white reflectance' not read yet" in told(done)


def test_grey_levels_have_their_lightness() -> None:
    """R 0.2 is Y 20: L* 51.8372 (calculated); a grey's hue is noise and said to be."""
    unit = tinted(curve(0.2))

    assert computed("lightness L*", unit).value == pytest.approx(51.8372, abs=5e-5)
    assert computed("chroma C*", unit).value == pytest.approx(0.0, abs=1e-9)
    assert "nearly grey" in told(computed("hue angle", unit))


@pytest.mark.parametrize(
    ("name", "of_lab"),
    [
        ("lightness difference", lambda one, two: one[0] - two[0]),
        ("a* difference", lambda one, two: one[1] - two[1]),
        ("b* difference", lambda one, two: one[2] - two[2]),
        ("chroma difference", lambda one, two: np.hypot(*one[1:]) - np.hypot(*two[1:])),
    ],
)
def test_differences_are_sample_less_standard(
    name: str, of_lab: Callable[[list[float], list[float]], float]
) -> None:
    """Against the single numbers of sample and standard, read as units of their own."""
    sample, standard = tinted(tint_of(0.8)), tinted(curve(STANDARD))
    labs = []
    for unit in (sample, standard):
        values = [computed(one, unit).value for one in ("lightness L*", "a*", "b*")]
        labs.append([value for value in values if value is not None])

    assert computed(name, sample).value == pytest.approx(of_lab(labs[0], labs[1]))


@pytest.mark.parametrize(
    ("rubbed", "distance", "word"),
    [((58.0, 20.0, 10.0), 2.0, "darker"), ((61.0, 22.0, 12.0), 3.0, "lighter"),
     ((60.3, 20.0, 10.0), 0.3, "")],
)  # fmt: skip
def test_rub_out_tells_which_pigment_was_flocculated(
    rubbed: tuple[float, float, float], distance: float, word: str
) -> None:
    """ASTM D5326-22, 5.3 [read], wording partly common practice; distances by Pythagoras."""
    values = dict(zip(("L* plain", "a* plain", "b* plain"), (60.0, 20.0, 10.0), strict=True))
    values |= dict(zip(("L* rubbed", "a* rubbed", "b* rubbed"), rubbed, strict=True))
    unit = RawUnit(label="run 1", values=values)
    done = computed("rub-out difference from L*a*b* readings", unit)
    lightness = computed("rub-out lightness difference from L*a*b* readings", unit)

    assert done.value == pytest.approx(distance)
    assert lightness.value == pytest.approx(rubbed[0] - 60.0)
    assert word in told(done)
    assert bool(done.findings) is bool(word)


def test_rub_out_of_curves_agrees_with_rub_out_of_their_readings() -> None:
    """The same film, read as curves and as L*a*b*."""
    plain, rubbed = curve(STANDARD), tint_of(1.2)
    unit = RawUnit(label="run 1", curves={"": plain, "rubbed": rubbed})
    values = {
        f"{letter} {part}": computed(name, RawUnit(label="", curves={"": one})).value or 0.0
        for part, one in (("plain", plain), ("rubbed", rubbed))
        for letter, name in (("L*", "lightness L*"), ("a*", "a*"), ("b*", "b*"))
    }
    read = RawUnit(label="run 1", values=values)

    for name in ("rub-out difference", "rub-out lightness difference"):
        by_hand = computed(f"{name} from L*a*b* readings", read).value
        assert computed(name, unit).value == pytest.approx(by_hand)
    assert "darker" in told(computed("rub-out difference", unit))


@pytest.mark.parametrize(
    ("black", "white", "ratio", "word"),
    [(92.1, 95.3, 96.642, ""), (9.0, 10.0, 90.0, "too dark"), (96.0, 95.0, 101.053, "swapped")],
)
def test_contrast_ratio_of_readings(black: float, white: float, ratio: float, word: str) -> None:
    """92.1 / 95.3 is 96.642 % (calculated); ASTM D2805 needs Y above 15 % [read]."""
    unit = RawUnit(label="run 1", values={"Y over black": black, "Y over white": white})
    done = computed("contrast ratio", unit)

    assert done.value == pytest.approx(ratio, abs=5e-4)
    assert bool(done.findings) is bool(word)
    assert word in told(done) + " ".join(finding.advice for finding in done.findings)


def test_contrast_ratio_of_curves_is_that_of_their_y() -> None:
    """Grey films have Y = 100 R."""
    unit = RawUnit(label="run 1", curves={"over black": curve(0.81), "over white": curve(0.90)})

    assert computed("contrast ratio from curves", unit).value == pytest.approx(90.0)


def test_whiteness_of_what_is_no_white_is_doubted() -> None:
    """An orange tint has a whiteness by the formula, and no meaning."""
    assert "no white" in told(computed("whiteness", tinted(curve(STANDARD))))
    assert computed("whiteness", tinted(curve(0.9))).value == pytest.approx(90.0)
    assert not computed("whiteness", tinted(curve(0.9))).findings


def test_yellowness_rises_as_blue_is_taken() -> None:
    """A film that absorbs below 450 nm is yellower than one that does not."""
    yellowish = curve(0.85 - 0.1 * (WAVELENGTHS < 450.0))
    greyish = computed("yellowness", tinted(curve(0.85))).value or 0.0

    assert greyish == pytest.approx(0.0, abs=0.01)
    assert (computed("yellowness", tinted(yellowish)).value or 0.0) > greyish


def test_undertone_is_tint_less_mass_tone() -> None:
    """Hue angles as the method 'hue angle' gives them, and b* likewise."""
    tint, masstone = tint_of(0.3), tint_of(2.0)
    unit = RawUnit(label="run 1", curves={"": tint, "masstone": masstone})
    hues = [
        computed("hue angle", RawUnit(label="", curves={"": one})).value or 0.0
        for one in (tint, masstone)
    ]
    yellows = [
        computed("b*", RawUnit(label="", curves={"": one})).value or 0.0 for one in (tint, masstone)
    ]

    assert computed("undertone", unit).value == pytest.approx(hues[0] - hues[1])
    assert computed("undertone", unit, **{"as": "b*"}).value == pytest.approx(
        yellows[0] - yellows[1]
    )


@pytest.mark.parametrize(
    ("name", "gloss_60", "is_told"),
    [
        ("gloss at 60°", 85.0, True),
        ("gloss at 60°", 40.0, False),
        ("gloss at 60°", 5.0, True),
        ("gloss at 20°", 85.0, False),
        ("gloss at 20°", 40.0, True),
        ("gloss at 85°", 5.0, False),
        ("gloss at 85°", 85.0, True),
    ],
)
def test_gloss_names_the_geometry_that_fits(name: str, gloss_60: float, is_told: bool) -> None:
    """ASTM D523, summary [read]: above 70 use 20°, below 10 use 85°."""
    values = {"gloss 20°": 50.0, "gloss 60°": gloss_60, "gloss 85°": 90.0}
    done = computed(name, RawUnit(label="run 1", values=values))

    assert done.value == values[name.replace("at ", "")]
    assert bool(done.findings) is is_told


def test_gloss_off_the_scale_stays_off_the_scale() -> None:
    """Above the instrument's end is a reading, not a hole."""
    off = Reading(id=1, run=1, response="gloss 20°", value=100.0, flag="above")
    done = computed("gloss at 20°", RawUnit(label="run 1", off_scale={"gloss 20°": off}))

    assert (done.value, done.flag) == (100.0, "above")


def test_haze_needs_both_glosses_and_a_glossy_film() -> None:
    """88 at 60° less 75 at 20° is 13; a matt film is doubted."""
    glossy = RawUnit(label="run 1", values={"gloss 20°": 75.0, "gloss 60°": 88.0})
    matt = RawUnit(label="run 1", values={"gloss 20°": 3.0, "gloss 60°": 30.0})
    half = RawUnit(label="run 1", values={"gloss 60°": 88.0})

    assert computed("haze", glossy) == Computed(value=13.0)
    assert "not glossy" in told(computed("haze", matt))
    assert computed("haze", half).value is None


def test_log_haze_of_no_haze_is_nothing() -> None:
    """1285 log10(1) = 0; below zero nothing is computed."""
    assert computed("log haze", RawUnit(label="", values={"linear haze": 0.0})).value == 0.0
    assert computed("log haze", RawUnit(label="", values={"linear haze": -25.0})).value is None


@pytest.mark.parametrize("eye", ["2", 2.0])
def test_the_observer_may_be_a_word_or_a_number(eye: float | str) -> None:
    """A brief may write either."""
    found = computed("a*", tinted(curve(STANDARD)), observer=eye).value

    assert found != pytest.approx(computed("a*", tinted(curve(STANDARD))).value, abs=0.1)
