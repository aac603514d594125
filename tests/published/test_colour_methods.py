"""Colour: check values for Kubelka-Munk, strength, L*a*b*, differences, indices, hiding and gloss.

Each check carries its mark: read in the source named, from memory, or calculated by plain
arithmetic apart from this code. Tolerance: half a unit of the last digit shown, unless said.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.lab.colorimetry import (
    contrast_ratio,
    lab_of,
    lab_of_curves,
    raw_white_point,
    tint,
    tristimulus,
    white_point,
    whiteness,
    yellowness,
)
from analysis.lab.colour_difference import cielab_distance, colour_distance, differences
from analysis.lab.colour_library import Illuminant, Observer, Viewing, ciede2000, eye_weights
from analysis.lab.colour_strength import (
    Strengths,
    absorption,
    adjusted_to_standard,
    reflectance_from_absorption,
    strengths,
)
from analysis.lab.gloss import fitting_geometry, haze_from_gloss
from analysis.lab.kubelka_munk import (
    FloatArray,
    Surface,
    absorption_over_scattering,
    internal_reflectance,
    measured_reflectance,
    opaque_reflectance,
    surface_reflection,
)
from analysis.lab.spectrum import GRID

PAIRS = Path(__file__).parents[1] / "reference" / "ciede2000-sharma-2005" / "pairs.csv"
D65_10 = Viewing()
SURFACE = Surface(k1=0.04, k2=0.6)
# The spectral check: one standard, and samples whose absorption is a known part of its own.
STANDARD = 0.08 + 0.55 / (1.0 + np.exp(-(GRID - 590.0) / 18.0))
PART_A = np.full_like(GRID, 0.92)
PART_B = 0.92 + 0.05 * (GRID - 550.0) / 150.0


def _one_wavelength(
    sample: float, standard: float, *, white: float | None = None, surface: Surface | None = None
) -> float:
    q, q_standard = (absorption(np.array([R]), surface) for R in (sample, standard))
    taken = 0.0 if white is None else absorption(np.array([white]), surface)
    return float(strengths((q - taken)[None], q_standard - taken, np.ones(1)).maximum[0])


def _spectral(part: FloatArray) -> tuple[FloatArray, Strengths]:
    q = absorption(STANDARD, None)
    sample = (part * q)[None]
    return sample, strengths(sample, q, eye_weights(D65_10).sum(axis=1))


def _distance_to_standard(absorbs: FloatArray, formula: str) -> float:
    lab = lab_of_curves(reflectance_from_absorption(absorbs, None), D65_10)
    standard = np.broadcast_to(lab_of_curves(STANDARD, D65_10), lab.shape)
    return float(
        colour_distance(lab, standard, "CIEDE2000" if formula == "CIEDE2000" else "CIELAB")[0]
    )


@pytest.mark.parametrize(
    ("reflectance", "ratio", "half"),
    [
        (0.05, 9.025, 5e-4),
        (0.10, 4.05, 5e-3),
        (0.20, 1.6, 0.05),
        (0.50, 0.25, 5e-3),
        (0.90, 0.0055556, 5e-8),
    ],
)
def test_absorption_over_scattering_has_the_values_of_the_formula(
    reflectance: float, ratio: float, half: float
) -> None:
    """Kubelka & Munk (1931); calculated."""
    assert absorption_over_scattering(np.array(reflectance)) == pytest.approx(ratio, abs=half)


def test_a_ratio_of_one_reflects_0_268() -> None:
    """Inverse of Kubelka-Munk, 1 + q - sqrt(q² + 2 q) at q = 1; calculated."""
    assert opaque_reflectance(np.array(1.0)) == pytest.approx(0.267949, abs=5e-7)


def test_a_refractive_index_of_1_5_reflects_four_per_cent() -> None:
    """Fresnel at right angles; calculated."""
    assert surface_reflection(1.5) == pytest.approx(0.0400, abs=5e-5)


@pytest.mark.parametrize(
    ("measured", "inside"),
    [(0.10, 0.142857), (0.20, 0.333333), (0.50, 0.696970), (0.90, 0.955556)],
)
def test_the_surface_comes_off_as_saunderson_has_it(measured: float, inside: float) -> None:
    """k1 0.04, k2 0.6, specular included. Form from memory; calculated."""
    assert internal_reflectance(np.array(measured), SURFACE) == pytest.approx(inside, abs=5e-7)


def test_without_the_specular_part_the_surface_only_passes_light() -> None:
    """R_m = (1 - k1)(1 - k2) R_i / (1 - k2 R_i) at R_i 0.5: 0.96 · 0.4 · 0.5 / 0.7.

    Form from memory; calculated.
    """
    excluded = Surface(k1=0.04, k2=0.6, includes_specular=False)

    assert measured_reflectance(np.array(0.5), excluded) == pytest.approx(0.274286, abs=5e-7)


def test_a_dark_film_absorbs_less_once_its_surface_is_off() -> None:
    """Measured 0.10: 2.571429 corrected, 4.05 as it stands; form from memory; calculated."""
    dark = np.array(0.10)

    assert absorption(dark, SURFACE) == pytest.approx(2.571429, abs=5e-7)
    assert absorption(dark, None) == pytest.approx(4.05, abs=5e-3)


@pytest.mark.parametrize(
    ("white", "surface", "strength"),
    [(None, None, 88.961), (0.88, None, 88.913), (None, SURFACE, 85.406)],
)
def test_strength_at_one_wavelength(
    white: float | None, surface: Surface | None, strength: float
) -> None:
    """Standard 0.180, sample 0.195: raw, less a white of 0.88, with the surface off; calculated."""
    found = _one_wavelength(0.195, 0.180, white=white, surface=surface)

    assert found == pytest.approx(strength, abs=5e-4)


def test_more_pigment_in_the_sample_counts_against_it() -> None:
    """2.02 g of pigment against 2.00 g in the standard: 88.961 % becomes 88.081 %; calculated."""
    q, q_standard = absorption(np.array([[0.195]]), None), absorption(np.array([0.180]), None)
    found = strengths(q, q_standard, np.ones(1), mass_ratio=2.00 / 2.02)

    assert found.maximum[0] == pytest.approx(88.081, abs=5e-4)


def test_strength_as_a_plain_sum_over_five_wavelengths() -> None:
    """Sum 91.426 %, at the first wavelength alone 91.814 %; calculated."""
    standard = absorption(np.array([0.08, 0.10, 0.18, 0.52, 0.60]), None)
    sample = absorption(np.array([[0.086, 0.108, 0.192, 0.532, 0.61]]), None)
    found = strengths(sample, standard, np.ones(5))

    assert found.plain[0] == pytest.approx(91.426, abs=5e-4)
    assert found.maximum[0] == pytest.approx(91.814, abs=5e-4)


def test_the_spectral_standard_has_its_lab() -> None:
    """31-point sum, white from the same sum; calculated with an open library. Tolerance 0.02."""
    np.testing.assert_allclose(
        lab_of_curves(STANDARD, D65_10), [53.300, 37.837, 33.061], rtol=0, atol=0.02
    )
    np.testing.assert_allclose(raw_white_point(D65_10), [94.781, 100.0, 107.352], rtol=0, atol=5e-4)


def test_a_sample_of_92_per_cent_has_it_by_all_definitions_and_no_residual() -> None:
    """Spectral case A; calculated. Tolerances 0.01 for strength, 0.02 for colour difference."""
    sample, found = _spectral(PART_A)
    adjusted = adjusted_to_standard(sample, found.weighted)

    for strength in (found.maximum, found.weighted, found.plain):
        assert strength[0] == pytest.approx(92.00, abs=0.01)
    assert _distance_to_standard(sample, "CIELAB") == pytest.approx(1.144, abs=0.02)
    assert _distance_to_standard(sample, "CIEDE2000") == pytest.approx(1.001, abs=0.02)
    assert _distance_to_standard(adjusted, "CIELAB") == pytest.approx(0.0, abs=0.001)


def test_a_tilted_sample_has_another_strength_by_each_definition() -> None:
    """Spectral case B; calculated. Tolerances 0.01 for strength, 0.02 for colour difference."""
    sample, found = _spectral(PART_B)
    residual = [
        _distance_to_standard(adjusted_to_standard(sample, by), "CIELAB")
        for by in (found.maximum, found.weighted)
    ]

    assert found.maximum[0] == pytest.approx(87.00, abs=0.01)
    assert found.plain[0] == pytest.approx(89.636, abs=0.01)
    assert found.weighted[0] == pytest.approx(89.638, abs=0.01)
    assert _distance_to_standard(sample, "CIELAB") == pytest.approx(1.735, abs=0.02)
    assert residual == pytest.approx([1.110, 0.993], abs=0.02)


@pytest.mark.parametrize(
    ("observer", "printed"),
    [("10", (94.811, 100.0, 107.304)), ("2", (95.047, 100.0, 108.883))],
)
def test_the_white_of_d65_has_its_tabulated_values(
    observer: Observer, printed: tuple[float, float, float]
) -> None:
    """ASTM E308 [from memory].

    Tolerance 0.03: the library keeps the white as chromaticities of four or five digits.
    """
    np.testing.assert_allclose(white_point(Viewing(observer=observer)), printed, rtol=0, atol=0.03)


@pytest.mark.parametrize(("y", "lightness"), [(20.0, 51.8372), (50.0, 76.0693), (0.5, 4.5165)])
def test_lightness_follows_y(y: float, lightness: float) -> None:
    """ISO/CIE 11664-4, Yn = 100; the last lies on the straight part; calculated."""
    white = np.array([95.0, 100.0, 108.0])

    assert lab_of(white * y / 100.0, white)[0] == pytest.approx(lightness, abs=5e-5)


def test_lab_of_a_yellow_has_its_printed_values() -> None:
    """XYZ 30, 25, 10 under D65/10° (94.811, 100, 107.304); calculated."""
    found = lab_of(np.array([30.0, 25.0, 10.0]), np.array([94.811, 100.0, 107.304]))

    np.testing.assert_allclose(found, [57.0754, 25.7344, 35.3163], rtol=0, atol=5e-5)


def test_ciede2000_agrees_with_all_34_pairs() -> None:
    """Sharma, Wu & Dalal (2005); see SOURCE.md beside the pairs."""
    with PAIRS.open(encoding="utf-8") as file:
        rows = np.array([[float(cell) for cell in row] for row in list(csv.reader(file))[1:]])

    assert len(rows) == 34
    np.testing.assert_allclose(ciede2000(rows[:, 1:4], rows[:, 4:7]), rows[:, 7], rtol=0, atol=5e-5)
    np.testing.assert_allclose(
        cielab_distance(rows[:, 1:4], rows[:, 4:7]), rows[:, 8], rtol=0, atol=5.1e-5
    )


def test_chroma_and_hue_share_what_lightness_leaves() -> None:
    """(a*, b*) 20, 10 to 22, 7: ΔC* .7261, ΔE*ab 3.6056, |ΔH*| 3.5317; calculated.

    ΔC* is √533 - √500 = 23.08679 - 22.36068.

    The hue angle falls from 26.6° to 17.7°, so ΔH* is negative.
    """
    standard, sample = np.array([50.0, 20.0, 10.0]), np.array([50.0, 22.0, 7.0])
    found = differences(sample, standard)

    assert found.chroma == pytest.approx(0.7261, abs=5e-5)
    assert found.hue == pytest.approx(-3.5317, abs=5e-5)
    assert cielab_distance(sample, standard) == pytest.approx(3.6056, abs=5e-5)


@pytest.mark.parametrize(
    ("degrees", "before", "turn"), [(10.0, 350.0, 20.0), (350.0, 10.0, -20.0), (180.0, 0.0, 180.0)]
)
def test_hue_turns_the_short_way_round(degrees: float, before: float, turn: float) -> None:
    """Across 0° too; of two colours of chroma 20, ΔH* = 2 · 20 · sin(Δh / 2); calculated."""

    def at(hue: float) -> FloatArray:
        return np.array([50.0, 20.0 * np.cos(np.radians(hue)), 20.0 * np.sin(np.radians(hue))])

    found = differences(at(degrees), at(before))

    assert found.hue_angle == pytest.approx(turn)
    assert found.hue == pytest.approx(40.0 * np.sin(np.radians(turn / 2.0)))


@pytest.mark.parametrize(
    ("illuminant", "observer", "index"),
    [("D65", "10", 3.4781), ("D65", "2", 4.9190), ("C", "2", 10.6457)],
)
def test_yellowness_has_its_printed_values(
    illuminant: Illuminant, observer: Observer, index: float
) -> None:
    """ASTM E313, XYZ 80, 84, 88; coefficients read in an open library's source; calculated."""
    viewing = Viewing(illuminant=illuminant, observer=observer)

    found = yellowness(np.array([80.0, 84.0, 88.0]), viewing)

    assert found == pytest.approx(index, abs=5e-5)


def test_whiteness_and_tint_have_their_printed_values() -> None:
    """ASTM E313, Y 88, x .3150, y .3330, D65/10° (.3138, .3310): 83.640, tint +0.22; calculated."""
    x, y, white = 0.3150, 0.3330, (0.3138, 0.3310)
    xyz = 88.0 / y * np.array([x, y, 1.0 - x - y])

    assert whiteness(xyz, white) == pytest.approx(83.640, abs=5e-4)
    assert tint(xyz, white, "10") == pytest.approx(0.22, abs=5e-3)


def test_contrast_ratio_has_its_printed_value() -> None:
    """92.1 over black, 95.3 over white: 96.642 %; calculated."""
    assert contrast_ratio(np.array(92.1), np.array(95.3)) == pytest.approx(96.642, abs=5e-4)


def test_the_perfect_white_is_white_by_every_index() -> None:
    """By definition: L* 100, a* and b* 0, whiteness 100, tint 0; yellowness 0 to its four digits.

    The coefficients of E313 have four decimals, which leaves 0.01 of an index open.
    """
    xyz = tristimulus(np.ones(31), D65_10)
    x, y, _ = white_point(D65_10) / white_point(D65_10).sum()

    np.testing.assert_allclose(lab_of(xyz, white_point(D65_10)), [100, 0, 0], atol=1e-9)
    assert whiteness(xyz, (x, y)) == pytest.approx(100.0)
    assert tint(xyz, (x, y), "10") == pytest.approx(0.0, abs=1e-9)
    assert yellowness(xyz, D65_10) == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(
    ("gloss_60", "geometry"),
    [(70.0, "60°"), (70.1, "20°"), (10.0, "60°"), (9.9, "85°")],
)
def test_the_geometry_follows_the_gloss_at_60(gloss_60: float, geometry: str) -> None:
    """ASTM D523, summary of the method: above 70 use 20°, below 10 use 85° [read]."""
    assert fitting_geometry(gloss_60) == geometry


def test_haze_is_what_60_degrees_has_over_20() -> None:
    """ASTM D4039 [from memory]: 88 at 60° and 75 at 20° leave 13."""
    assert haze_from_gloss(75.0, 88.0) == pytest.approx(13.0)
