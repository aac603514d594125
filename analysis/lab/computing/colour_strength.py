"""What the methods of colour strength make of raw readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.lab.colorimetry import lab_of_curves
from analysis.lab.colour_difference import colour_distance, differences
from analysis.lab.colour_library import eye_weights
from analysis.lab.colour_strength import (
    GAP_PERCENT,
    Strengths,
    absorption,
    adjusted_to_standard,
    reflectance_from_absorption,
    strengths,
)
from analysis.lab.computing.colour_options import (
    Whose,
    curves_of,
    formula_of,
    is_yes,
    surface_of,
    viewing_of,
)
from analysis.lab.computing.doubts import doubt, lacking
from analysis.lab.kubelka_munk import FloatArray
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from analysis.lab.spectrum import GRID
from doe.study.finding import Finding

# Hue apart by more than this at equal strength, in units of ΔH*: tints that a strength alone
# cannot compare. Common practice, no source.
LARGEST_HUE_DIFFERENCE = 2.0
# Where the white takes a larger part of the standard's absorption at its maximum, it counts.
# Common practice, no source.
LARGEST_WHITE_PART = 0.03
# Per cents that all lie below it look like fractions of 1: no tint in white is so dark. Own choice.
LOOKS_LIKE_FRACTION = 1.5
_DEFINITIONS = {"weighted": "weighted", "maximum": "maximum", "sum": "plain"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tints:
    """Sample and standard as absorption, the white's taken off if wanted.

    Attributes:
        sample: K/S, shape (w,).
        standard: K/S, shape (w,).
        white: K/S taken off both, shape (w,); zeros where none is.
        findings: Doubts.
    """

    sample: FloatArray
    standard: FloatArray
    white: FloatArray
    findings: tuple[Finding, ...] = ()


def _strength_by(definition: str | None) -> Compute:
    """Make the method of one definition; None takes that of the options."""

    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        tints = _tints_of_curves(unit, options)
        if isinstance(tints, Computed):
            return tints
        ratio = _mass_ratio(unit, options)
        if isinstance(ratio, Computed):
            return ratio
        found = _compared(tints, options, ratio)
        strength = _chosen(found, definition or str(options.get("definition", "weighted")))
        if not np.isfinite(strength):
            return Computed(value=None, findings=(_standard_takes_nothing(),))
        findings = (*tints.findings, *_gap(found), *_hue_shift(tints, options))
        return Computed(value=strength, findings=findings)

    return compute


def _residual(unit: RawUnit, options: OptionValues) -> Computed:
    tints = _tints_of_curves(unit, options)
    if isinstance(tints, Computed):
        return tints
    found = _compared(tints, options, 1.0)
    strength = _chosen(found, str(options.get("definition", "weighted")))
    if not strength > 0.0:
        return Computed(value=None, findings=(*tints.findings, _standard_takes_nothing()))
    sample, standard = _lab_at_equal_strength(tints, strength, options)
    distance = colour_distance(sample, standard, formula_of(options, "CIEDE2000"))
    return Computed(value=float(distance), findings=(*tints.findings, *_gap(found)))


def _at_one_wavelength(unit: RawUnit, options: OptionValues) -> Computed:
    with_white = is_yes(options, "subtract_white")
    columns = ["reflectance", "standard reflectance"]
    columns += ["white reflectance"] if with_white else []
    if (nothing := lacking(unit, columns)) is not None:
        return nothing
    per_cent = [unit.values[name] for name in columns]
    doubts = _per_cent_doubts(per_cent)
    # Percent as read, fractions inside.
    read = np.array([[value / 100.0] for value in per_cent])
    tints = _tints(read, options, with_white=with_white)
    if isinstance(tints, Computed):
        return tints
    ratio = _mass_ratio(unit, options)
    if isinstance(ratio, Computed):
        return ratio
    found = strengths(tints.sample[None], tints.standard, np.ones(1), mass_ratio=ratio)
    strength = float(found.maximum[0])
    if not np.isfinite(strength):
        return Computed(value=None, findings=(*doubts, _standard_takes_nothing()))
    return Computed(value=strength, findings=(*doubts, *tints.findings))


def _per_cent_doubts(read: Sequence[float]) -> tuple[Finding, ...]:
    """Doubt readings that look like fractions, or reflect more than the perfect white."""
    if max(read) < LOOKS_LIKE_FRACTION:
        what = "the reflectances look like fractions of 1, and their columns are in per cent."
        advice = "Write 19.5 for a reflectance of 0.195; fractions give another strength."
        return (doubt(what, advice=advice, greatest_percent=max(read)),)
    if max(read) > 100.0:
        what = "a reflectance above 100 %, as fluorescence or a worn white standard gives it."
        advice = "Calibrate the instrument again; a film that fluoresces has no K/S."
        return (doubt(what, advice=advice, greatest_percent=max(read)),)
    return ()


def _tints_of_curves(unit: RawUnit, options: OptionValues) -> _Tints | Computed:
    with_white = is_yes(options, "subtract_white")
    wanted: list[tuple[Whose, str]] = [("sample", ""), ("standard", "")]
    wanted += [("white", "")] if with_white else []
    curves = curves_of(unit, wanted)
    if isinstance(curves, Computed):
        return curves
    tints = _tints(curves, options, with_white=with_white)
    if isinstance(tints, Computed) or with_white:
        return tints
    return _Tints(
        sample=tints.sample,
        standard=tints.standard,
        white=tints.white,
        findings=(*tints.findings, *_white_left_in(unit, options, tints.standard)),
    )


def _tints(
    reflectance: FloatArray, options: OptionValues, *, with_white: bool
) -> _Tints | Computed:
    """Turn reflectance into absorption.

    Args:
        reflectance: Of sample, standard and, if wanted, white, shape (2 or 3, w), 0..1.
        options: As the brief sets them.
        with_white: Whether the white's absorption comes off.
    """
    surface = surface_of(options)
    q = absorption(reflectance, surface)
    if np.isnan(q).any():
        return Computed(value=None, findings=(_too_dark(reflectance, q),))
    white = q[2] if with_white else np.zeros(q.shape[1])
    sample, standard = q[0] - white, q[1] - white
    findings = []
    if (sample < 0.0).any() or (standard < 0.0).any():
        lowest = float(min(sample.min(), standard.min()))
        findings.append(
            doubt(
                "A tint reflects more than the white alone at some wavelengths: its absorption "
                "comes out negative there, and is used so.",
                advice="Read the white again, on the same card; if it is right, the tint is too "
                "weak or fluoresces.",
                lowest_absorption=float(f"{lowest:.3g}"),
            )
        )
    return _Tints(sample=sample, standard=standard, white=white, findings=tuple(findings))


def _mass_ratio(unit: RawUnit, options: OptionValues) -> float | Computed:
    """Give pigment of the standard over pigment of the sample, weighed if both are known."""
    mass, of_standard = unit.values.get("pigment mass"), options.get("standard_pigment_mass")
    if mass is None or isinstance(of_standard, str) or not of_standard:
        return float(options.get("pigment_mass_ratio", 1.0))
    if mass <= 0.0:
        nothing = lacking(unit, ("pigment mass",), above_zero=("pigment mass",))
        return nothing or 1.0
    return float(of_standard) / mass


def _compared(tints: _Tints, options: OptionValues, ratio: float) -> Strengths:
    weights = eye_weights(viewing_of(options)).sum(axis=1)
    return strengths(tints.sample[None], tints.standard, weights, mass_ratio=ratio)


def _chosen(found: Strengths, definition: str) -> float:
    return float(getattr(found, _DEFINITIONS[definition])[0])


def _lab_at_equal_strength(
    tints: _Tints, strength: float, options: OptionValues
) -> tuple[FloatArray, FloatArray]:
    adjusted = adjusted_to_standard(tints.sample[None], np.array([strength]))[0]
    # The white is in the film at any strength, so it goes back in before the colour is computed.
    both = np.stack([adjusted + tints.white, tints.standard + tints.white])
    curves = reflectance_from_absorption(both, surface_of(options))
    sample, standard = lab_of_curves(curves, viewing_of(options))
    return sample, standard


def _too_dark(reflectance: FloatArray, q: FloatArray) -> Finding:
    dark = np.flatnonzero(np.isnan(q).any(axis=0))
    at = {"first_nm": float(GRID[dark[0]])} if q.shape[1] == len(GRID) else {}
    return doubt(
        "A film reflects less than its surface alone would, so nothing is computed.",
        advice="Check that black and white calibration hold and that 'specular' says how the "
        'instrument reads; else set k1 lower or saunderson = "no".',
        source="R at or below k1; Saunderson (1942), from memory.",
        least_reflectance=float(f"{reflectance.min():.4g}"),
        **at,
    )


def _standard_takes_nothing() -> Finding:
    return doubt(
        "Standard or sample absorbs nothing, so there is no strength to compare.",
        advice="Look whether the white was entered as the standard.",
    )


def _white_left_in(unit: RawUnit, options: OptionValues, standard: FloatArray) -> list[Finding]:
    if "" not in unit.white:
        return []
    white = curves_of(unit, [("white", "")])
    if isinstance(white, Computed):
        return []
    place = int(np.argmax(standard))
    part = float(absorption(white, surface_of(options))[0, place] / standard[place])
    if not part > LARGEST_WHITE_PART:
        return []
    return [
        doubt(
            "The white itself takes a part of the standard's absorption that counts, and it is "
            "left in.",
            advice='Set with = { subtract_white = "yes" }.',
            source="Common practice, no source.",
            part_of_the_white=float(f"{part:.3g}"),
            limit=LARGEST_WHITE_PART,
        )
    ]


def _gap(found: Strengths) -> list[Finding]:
    gap = float(found.gap[0])
    if not gap > GAP_PERCENT:
        return []
    return [
        doubt(
            "The definitions of strength disagree: the hue has shifted, and strength is no single "
            "number.",
            advice="Look at the residual colour difference, and settle on one definition.",
            source="Common practice, no source.",
            at_the_maximum=float(f"{found.maximum[0]:.4g}"),
            weighted=float(f"{found.weighted[0]:.4g}"),
            plain_sum=float(f"{found.plain[0]:.4g}"),
            limit_percent=GAP_PERCENT,
        )
    ]


def _hue_shift(tints: _Tints, options: OptionValues) -> list[Finding]:
    strength = _chosen(_compared(tints, options, 1.0), "weighted")
    if not strength > 0.0:
        return []
    hue = float(differences(*_lab_at_equal_strength(tints, strength, options)).hue)
    if not abs(hue) > LARGEST_HUE_DIFFERENCE:
        return []
    return [
        doubt(
            "The tint differs from the standard markedly in hue, for which strength is not suited.",
            advice="Judge it by its colour difference, or take a standard of the same hue.",
            source="ISO 787-24:1985 [read]; the limit in ΔH* is common practice, no source.",
            hue_difference=float(f"{hue:.3g}"),
            limit=LARGEST_HUE_DIFFERENCE,
        )
    ]


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "colour strength": _strength_by(None),
        "colour strength at the absorption maximum": _strength_by("maximum"),
        "colour strength, plain sum": _strength_by("sum"),
        "colour strength from reflectance at one wavelength": _at_one_wavelength,
        "residual colour difference": _residual,
    }
)
