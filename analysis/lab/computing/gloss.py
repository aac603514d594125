"""What gloss and haze make of raw readings."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from analysis.lab.computing.doubts import doubt, lacking, passed_on
from analysis.lab.gloss import (
    GLOSSY_AT_60,
    MATT_AT_60,
    Geometry,
    fitting_geometry,
    haze_from_gloss,
    log_haze,
)
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.study.finding import Finding

_AT_60 = "gloss 60°"


def _gloss_at(angle: Geometry) -> Compute:
    column = f"gloss {angle}"

    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        found = passed_on(unit, column)
        if found is None:
            return lacking(unit, (column,)) or Computed(value=None)
        return Computed(
            value=found.value,
            value_to=found.value_to,
            flag=found.flag,
            findings=tuple(_misfit(unit, angle)),
        )

    return compute


def _haze(unit: RawUnit, options: OptionValues) -> Computed:
    columns = ("gloss 20°", _AT_60)
    if (nothing := lacking(unit, columns)) is not None:
        return nothing
    gloss_20, gloss_60 = (unit.values[name] for name in columns)
    findings = []
    if gloss_20 > gloss_60:
        findings.append(
            doubt(
                "Gloss at 20° is above gloss at 60°: the haze comes out negative.",
                advice="Look whether the two readings were swapped; a metallic or very clear film "
                "can do so.",
                gloss_at_20=gloss_20,
                gloss_at_60=gloss_60,
            )
        )
    if gloss_60 <= GLOSSY_AT_60:
        findings.append(
            doubt(
                "The film is not glossy, and the difference of two glosses says little of its "
                "haze.",
                advice="Read haze on films above 70 GU at 60°.",
                source="Common practice, no source.",
                gloss_at_60=gloss_60,
            )
        )
    return Computed(value=haze_from_gloss(gloss_20, gloss_60), findings=tuple(findings))


def _log_haze(unit: RawUnit, options: OptionValues) -> Computed:
    if (nothing := lacking(unit, ("linear haze",))) is not None:
        return nothing
    haze = unit.values["linear haze"]
    if haze < 0.0:
        why = doubt(
            "A linear haze below zero cannot be.",
            advice="Look at the raw reading: it may be a logarithm already.",
            linear_haze=haze,
        )
        return Computed(value=None, findings=(why,))
    return Computed(value=log_haze(haze))


def _misfit(unit: RawUnit, angle: Geometry) -> list[Finding]:
    gloss_60 = unit.values.get(_AT_60)
    if gloss_60 is None:
        return []
    fitting = fitting_geometry(gloss_60)
    # Next to the fitting geometry, 60° is still read on every film.
    if fitting == angle:
        return []
    return [
        Finding(
            level="note" if angle == "60°" else "caution",
            what=f"{angle} is not the geometry that tells films of this gloss apart; {fitting} is.",
            evidence={
                "gloss at 60": gloss_60,
                "20° above": GLOSSY_AT_60,
                "85° below": MATT_AT_60,
            },
            advice=f"Read {fitting} too, as a response of its own.",
            source="ASTM D523, summary of the method [read].",
        )
    ]


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "gloss at 20°": _gloss_at("20°"),
        "gloss at 60°": _gloss_at("60°"),
        "gloss at 85°": _gloss_at("85°"),
        "haze": _haze,
        "log haze": _log_haze,
    }
)
