"""What each method of the family makes of raw readings: colour."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from analysis.lab.colorimetry import (
    LARGEST_TINT,
    LEAST_WHITENESS,
    contrast_ratio,
    lab_of_curves,
    tint,
    tristimulus,
    whiteness,
    yellowness,
)
from analysis.lab.colour_difference import (
    Differences,
    chroma,
    colour_distance,
    differences,
    hue_angle,
)
from analysis.lab.colour_library import chromaticity_of_white
from analysis.lab.computing import colour_strength, gloss
from analysis.lab.computing.colour_options import Whose, curves_of, formula_of, viewing_of
from analysis.lab.computing.doubts import doubt, lacking
from analysis.lab.kubelka_munk import FloatArray
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.study.finding import Finding

# Below, the hue of a film is hardly seen and its angle is noise. Common practice, no source.
_LEAST_CHROMA = 2.0
# Good rub-out by common practice, no source; below, the sign of ΔL* is scatter.
_GOOD_RUB_OUT = 0.5
# ASTM D2805 holds for films above 15 % [read].
_LEAST_Y = 15.0
_D5326 = "ASTM D5326-22, 5.3 [read]; the wording of the sign is partly common practice."


def _of_lab(take: Callable[[FloatArray], FloatArray], *, is_hue: bool = False) -> Compute:
    """Make a method that reads one number off the L*a*b* of the plain curve."""

    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        lab = _lab(unit, options, [("sample", "")])
        if isinstance(lab, Computed):
            return lab
        findings = _grey(lab) if is_hue else ()
        return Computed(value=float(take(lab[0])), findings=findings)

    return compute


def _difference(take: Callable[[Differences], FloatArray]) -> Compute:
    """Make a method that reads one part of the difference between sample and standard."""

    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        lab = _lab(unit, options, [("sample", ""), ("standard", "")])
        if isinstance(lab, Computed):
            return lab
        return Computed(value=float(take(differences(lab[0], lab[1]))))

    return compute


def _to_standard(unit: RawUnit, options: OptionValues) -> Computed:
    lab = _lab(unit, options, [("sample", ""), ("standard", "")])
    if isinstance(lab, Computed):
        return lab
    return Computed(value=float(colour_distance(lab[0], lab[1], formula_of(options, "CIEDE2000"))))


def _rub_out(unit: RawUnit, options: OptionValues) -> Computed:
    lab = _rub_out_lab(unit, options)
    return lab if isinstance(lab, Computed) else _rubbed(lab, options)


def _rub_out_read(unit: RawUnit, options: OptionValues) -> Computed:
    lab = _rub_out_read_lab(unit)
    return lab if isinstance(lab, Computed) else _rubbed(lab, options)


def _rub_out_lightness(unit: RawUnit, options: OptionValues) -> Computed:
    lab = _rub_out_lab(unit, options)
    return lab if isinstance(lab, Computed) else Computed(value=float(lab[1, 0] - lab[0, 0]))


def _rub_out_lightness_read(unit: RawUnit, options: OptionValues) -> Computed:
    lab = _rub_out_read_lab(unit)
    return lab if isinstance(lab, Computed) else Computed(value=float(lab[1, 0] - lab[0, 0]))


def _contrast(unit: RawUnit, options: OptionValues) -> Computed:
    columns = ("Y over black", "Y over white")
    if (nothing := lacking(unit, columns, above_zero=("Y over white",))) is not None:
        return nothing
    black, white = (unit.values[name] for name in columns)
    return _hiding(black, white)


def _contrast_from_curves(unit: RawUnit, options: OptionValues) -> Computed:
    curves = curves_of(unit, [("sample", "over black"), ("sample", "over white")])
    if isinstance(curves, Computed):
        return curves
    black, white = tristimulus(curves, viewing_of(options))[:, 1]
    return _hiding(float(black), float(white))


def _whiteness(unit: RawUnit, options: OptionValues) -> Computed:
    curves = curves_of(unit, [("sample", "")])
    if isinstance(curves, Computed):
        return curves
    viewing = viewing_of(options)
    xyz, white = tristimulus(curves[0], viewing), chromaticity_of_white(viewing)
    index, shade = float(whiteness(xyz, white)), float(tint(xyz, white, viewing.observer))
    inside = LEAST_WHITENESS < index < 5.0 * xyz[1] - 280.0 and abs(shade) < LARGEST_TINT
    findings = [] if inside else [_no_white(index, shade)]
    return Computed(value=index, findings=tuple(findings))


def _yellowness(unit: RawUnit, options: OptionValues) -> Computed:
    curves = curves_of(unit, [("sample", "")])
    if isinstance(curves, Computed):
        return curves
    viewing = viewing_of(options)
    return Computed(value=float(yellowness(tristimulus(curves[0], viewing), viewing)))


def _undertone(unit: RawUnit, options: OptionValues) -> Computed:
    lab = _lab(unit, options, [("sample", ""), ("sample", "masstone")])
    if isinstance(lab, Computed):
        return lab
    found = differences(lab[0], lab[1])
    if options.get("as", "hue angle") == "b*":
        return Computed(value=float(found.b))
    return Computed(value=float(found.hue_angle), findings=_grey(lab))


def _lab(
    unit: RawUnit, options: OptionValues, wanted: list[tuple[Whose, str]]
) -> FloatArray | Computed:
    curves = curves_of(unit, wanted)
    if isinstance(curves, Computed):
        return curves
    return lab_of_curves(curves, viewing_of(options))


def _rub_out_lab(unit: RawUnit, options: OptionValues) -> FloatArray | Computed:
    """Give L*, a*, b* of the plain and the rubbed part, shape (2, 3)."""
    return _lab(unit, options, [("sample", ""), ("sample", "rubbed")])


def _rub_out_read_lab(unit: RawUnit) -> FloatArray | Computed:
    parts = [[f"{letter}* {part}" for letter in "Lab"] for part in ("plain", "rubbed")]
    if (nothing := lacking(unit, [name for part in parts for name in part])) is not None:
        return nothing
    return np.array([[unit.values[name] for name in part] for part in parts])


def _rubbed(lab: FloatArray, options: OptionValues) -> Computed:
    distance = float(colour_distance(lab[1], lab[0], formula_of(options, "CIELAB")))
    lightness = float(lab[1, 0] - lab[0, 0])
    if distance <= _GOOD_RUB_OUT or lightness == 0.0:
        return Computed(value=distance)
    darker = "darker: the coloured pigment was flocculated, or had floated"
    told = darker if lightness < 0.0 else "lighter: the white pigment was flocculated"
    finding = Finding(
        level="note",
        what=f"The rubbed part is {told}.",
        evidence={"lightness difference": float(f"{lightness:.3g}")},
        advice="Both pigments may be flocculated at once; keep ΔL* as a response of its own.",
        source=_D5326,
    )
    return Computed(value=distance, findings=(finding,))


def _hiding(black: float, white: float) -> Computed:
    if white <= 0.0:
        why = doubt("Nothing is reflected over white.", advice="Read the card again.")
        return Computed(value=None, findings=(why,))
    findings = []
    if white <= _LEAST_Y:
        findings.append(
            doubt(
                "The film is too dark for a contrast ratio: it hides by its own absorption.",
                advice="Judge hiding by the colour difference over black and white.",
                source="ASTM D2805, Y above 15 % [read].",
                Y_over_white=float(f"{white:.4g}"),
            )
        )
    if black > white:
        findings.append(
            doubt(
                "The film is lighter over black than over white, which cannot be.",
                advice="Look whether the two were swapped.",
                Y_over_black=float(f"{black:.4g}"),
                Y_over_white=float(f"{white:.4g}"),
            )
        )
    ratio = float(contrast_ratio(np.array(black), np.array(white)))
    return Computed(value=ratio, findings=tuple(findings))


def _no_white(index: float, shade: float) -> Finding:
    return doubt(
        "The film is no white as the index means it.",
        advice="Use yellowness or b* instead.",
        source="CIE 15:2004, section 9, from memory: whiteness above 40 and below 5 Y - 280, "
        "tint within ±3.",
        whiteness=float(f"{index:.4g}"),
        tint=float(f"{shade:.3g}"),
    )


def _grey(lab: FloatArray) -> tuple[Finding, ...]:
    least = float(chroma(lab).min())
    if least >= _LEAST_CHROMA:
        return ()
    why = doubt(
        "The film is nearly grey, and its hue angle is noise.",
        advice="Use a* and b* instead.",
        source="Common practice, no source.",
        chroma=float(f"{least:.3g}"),
        limit=_LEAST_CHROMA,
    )
    return (why,)


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        **colour_strength.COMPUTE,
        "colour difference to the standard": _to_standard,
        "lightness L*": _of_lab(lambda lab: lab[..., 0]),
        "a*": _of_lab(lambda lab: lab[..., 1]),
        "b*": _of_lab(lambda lab: lab[..., 2]),
        "chroma C*": _of_lab(chroma),
        "hue angle": _of_lab(hue_angle, is_hue=True),
        "lightness difference": _difference(lambda found: found.lightness),
        "a* difference": _difference(lambda found: found.a),
        "b* difference": _difference(lambda found: found.b),
        "chroma difference": _difference(lambda found: found.chroma),
        "hue difference": _difference(lambda found: found.hue),
        "rub-out difference": _rub_out,
        "rub-out difference from L*a*b* readings": _rub_out_read,
        "rub-out lightness difference": _rub_out_lightness,
        "rub-out lightness difference from L*a*b* readings": _rub_out_lightness_read,
        "contrast ratio": _contrast,
        "contrast ratio from curves": _contrast_from_curves,
        "whiteness": _whiteness,
        "yellowness": _yellowness,
        "undertone": _undertone,
        **gloss.COMPUTE,
    }
)
