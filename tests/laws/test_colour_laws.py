"""Laws of colour: what must hold for any reflectance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.lab.colorimetry import lab_of_curves
from analysis.lab.colour_difference import cielab_distance, differences
from analysis.lab.colour_library import Viewing, eye_weights
from analysis.lab.colour_strength import absorption, reflectance_from_absorption, strengths
from analysis.lab.kubelka_munk import (
    FloatArray,
    Surface,
    absorption_over_scattering,
    internal_reflectance,
    measured_reflectance,
    opaque_reflectance,
)
from analysis.lab.spectrum import GRID, on_grid
from doe.study.curves import Curve

SURFACES = st.builds(
    Surface,
    k1=st.floats(0.0, 0.08),
    k2=st.floats(0.0, 0.7),
    includes_specular=st.booleans(),
)
CURVES = st.lists(st.floats(0.1, 0.95), min_size=31, max_size=31).map(np.array)


@given(st.floats(1e-3, 1.0))
def test_absorption_over_scattering_turns_back_into_reflectance(reflectance: float) -> None:
    """K/S and its inverse undo each other."""
    there = absorption_over_scattering(np.array(reflectance))

    assert opaque_reflectance(there) == pytest.approx(reflectance, rel=1e-7)


@given(st.floats(1e-3, 1.0), SURFACES)
def test_a_surface_taken_off_and_put_on_again_changes_nothing(
    inside: float, surface: Surface
) -> None:
    """Saunderson both ways, specular included and excluded."""
    measured = measured_reflectance(np.array(inside), surface)

    assert internal_reflectance(measured, surface) == pytest.approx(inside, rel=1e-9)


@given(CURVES, SURFACES)
def test_a_curve_against_itself_has_all_of_its_strength(
    curve: FloatArray, surface: Surface
) -> None:
    """By any definition."""
    q = absorption(curve, surface)
    found = strengths(q[None], q, eye_weights(Viewing()).sum(axis=1))

    for strength in (found.maximum, found.weighted, found.plain):
        assert strength[0] == pytest.approx(100.0)


@given(CURVES, st.floats(0.3, 3.0))
def test_strength_by_every_definition_follows_a_factor_on_absorption(
    curve: FloatArray, part: float
) -> None:
    """Absorption times a factor, at every wavelength, is strength times that factor."""
    q = absorption(curve, None)
    sample = absorption(reflectance_from_absorption(part * q, None), None)
    found = strengths(sample[None], q, eye_weights(Viewing()).sum(axis=1))

    for strength in (found.maximum, found.weighted, found.plain):
        assert strength[0] == pytest.approx(100.0 * part)


@given(CURVES, CURVES, st.floats(1e-3, 1e3))
def test_strength_ignores_the_scale_of_the_weights(
    sample: FloatArray, standard: FloatArray, scale: float
) -> None:
    """Only the shape of what the eye takes matters."""
    q, q_standard = absorption(sample, None)[None], absorption(standard, None)
    weights = eye_weights(Viewing()).sum(axis=1)
    once, again = (strengths(q, q_standard, w).weighted for w in (weights, scale * weights))

    np.testing.assert_allclose(again, once)


@given(CURVES, CURVES)
def test_lightness_chroma_and_hue_make_up_the_whole_difference(
    sample: FloatArray, standard: FloatArray
) -> None:
    """ΔL*² + ΔC*² + ΔH*² = ΔE*ab²."""
    one, two = (lab_of_curves(curve, Viewing()) for curve in (sample, standard))
    found = differences(one, two)
    made_up = np.sqrt(found.lightness**2 + found.chroma**2 + found.hue**2)

    assert made_up == pytest.approx(cielab_distance(one, two), abs=1e-6)


@given(st.floats(0.01, 1.0))
def test_a_grey_has_neither_hue_nor_chroma(reflectance: float) -> None:
    """A film that reflects all wavelengths alike is grey under any light."""
    lab = lab_of_curves(np.full(31, reflectance), Viewing(illuminant="A", observer="2"))

    np.testing.assert_allclose(lab[1:], 0.0, atol=1e-9)


@given(st.sampled_from([1.0, 5.0, 10.0, 20.0]), st.floats(0.1, 0.5), st.floats(-1.5, 1.5))
def test_every_step_of_an_instrument_gives_the_same_smooth_curve(
    step: float, level: float, slope: float
) -> None:
    """A parabola is read the same off 1, 5, 10 and 20 nm: a cubic spline loses none of it."""
    x = np.arange(360.0, 741.0, step)

    def smooth(at: FloatArray) -> FloatArray:
        shifted = (at - 550.0) / 1000.0
        return np.asarray(level + slope * shifted**2, dtype=np.float64)

    found = on_grid([Curve(x=tuple(x), y=tuple(smooth(x)))])

    np.testing.assert_allclose(found[0], smooth(GRID), atol=1e-9)
