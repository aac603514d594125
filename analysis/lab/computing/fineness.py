"""What each method of the family makes of raw readings: fineness."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from analysis.lab.computing import grind_kinetics
from analysis.lab.computing.doubts import doubt
from analysis.lab.fineness import Geometry, micrometres_of_hegman, span_of_sizes
from analysis.lab.monotone import monotone_result
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.methods.fineness import (
    D10,
    D50,
    D90,
    FINENESS,
    HEGMAN,
    SECOND_FINENESS,
    SECOND_HEGMAN,
)
from doe.study.finding import Finding


def _mean(raw: Mapping[str, float]) -> float:
    return sum(raw.values()) / len(raw)


def _micrometres(unit: RawUnit, options: OptionValues) -> Computed:
    return _not_zero(monotone_result(unit, {FINENESS: True, SECOND_FINENESS: True}, _mean))


def _from_hegman(unit: RawUnit, options: OptionValues) -> Computed:
    geometry: Geometry = "rounded" if options.get("geometry") == "rounded" else "exact"
    done = monotone_result(
        unit,
        {HEGMAN: False, SECOND_HEGMAN: False},
        lambda raw: float(micrometres_of_hegman(np.array([_mean(raw)]), geometry)[0]),
    )
    return _not_zero(done)


def _hegman(unit: RawUnit, options: OptionValues) -> Computed:
    return monotone_result(unit, {HEGMAN: True, SECOND_HEGMAN: True}, _mean)


def _not_zero(done: Computed) -> Computed:
    """Doubt a fineness of nothing: the gauge ends there, and no logarithm stands for it."""
    if done.value is None or done.flag not in ("ok", "above") or done.value > 0.0:
        return done
    why = doubt(
        "a fineness of 0 µm is the end of the gauge, not a size.",
        advice="Give the finest mark that can be told, as '< 5' µm or '> 7.5' Hegman.",
    )
    return Computed(value=None, findings=(*done.findings, why))


def _size(column: str) -> Compute:
    def compute(unit: RawUnit, options: OptionValues) -> Computed:
        return monotone_result(unit, {column: True}, lambda raw: raw[column], _order(unit))

    return compute


def _span(unit: RawUnit, options: OptionValues) -> Computed:
    if any(name not in unit.values for name in (D10, D50, D90)) or unit.values[D50] <= 0.0:
        why = doubt(
            "the span needs D10, D50 and D90 as numbers above 0.",
            advice="Enter all three from the same measurement.",
        )
        return Computed(value=None, findings=(why,))
    d10, d50, d90 = (unit.values[name] for name in (D10, D50, D90))
    return Computed(value=span_of_sizes(d10, d50, d90), findings=_order(unit))


def _order(unit: RawUnit) -> tuple[Finding, ...]:
    known = {name: unit.values[name] for name in (D10, D50, D90) if name in unit.values}
    sizes = list(known.values())
    if sizes == sorted(sizes):
        return ()
    return (
        Finding(
            level="caution",
            what="D10, D50 and D90 do not ascend.",
            evidence={f"{name}, µm": value for name, value in known.items()},
            advice="Look whether two of them changed places.",
        ),
    )


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "fineness in micrometres": _micrometres,
        "fineness from Hegman": _from_hegman,
        "Hegman": _hegman,
        "particle size D50": _size(D50),
        "particle size D90": _size(D90),
        "particle size span": _span,
        **grind_kinetics.COMPUTE,
    }
)
