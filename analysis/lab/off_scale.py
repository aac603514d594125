"""Readings that run off the scale, and the part of the region where the millbase gels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.lab.response_data import in_words
from doe.study.brief import Response
from doe.study.finding import Finding
from doe.study.plan import Plan
from doe.study.readings import Flag, Reading
from doe.study.settings import Settings

# A setting tells where runs gel when they share less than this part of what was tried of it.
_NARROW = 0.6


def off_scale_flag(reading: Reading, response: Response) -> Flag | None:
    """Give the flag that keeps a reading out of least squares; None for others.

    Gelled counts as above where the brief says so, else as missing.
    """
    if reading.flag in ("above", "below", "between"):
        return reading.flag
    if reading.flag == "gelled" and response.when_gelled == "above":
        return "above"
    return None


def ends_of(
    lines: Mapping[int, Sequence[Reading]], response: Response, read: Sequence[float]
) -> dict[int, tuple[tuple[float, float], ...]]:
    """Give between which values each reading of the runs off the scale lies.

    Args:
        lines: All readings of those runs.
        response: The response they belong to.
        read: Every value read on the scale.

    Returns:
        By run, low and high of each reading, response unit; −∞ and ∞ where an end is open, both
        equal for a reading on the scale. A gelled sample without a number lies above all that was
        ever read of the response. Runs of which nothing is known are left out.
    """
    known = [r.value for found in lines.values() for r in found if r.value is not None]
    top = max([*known, *read], default=None)
    ends = {
        run: tuple(pair for r in found if (pair := _ends(r, response, top)) is not None)
        for run, found in lines.items()
    }
    return {run: pairs for run, pairs in ends.items() if pairs}


def _ends(reading: Reading, response: Response, top: float | None) -> tuple[float, float] | None:
    flag, value = off_scale_flag(reading, response) or reading.flag, reading.value
    if reading.flag == "gelled" and value is None:
        value = top
    if value is None:
        return None
    if flag == "above":
        return value, float("inf")
    if flag == "below":
        return float("-inf"), value
    if flag == "between":
        return value, reading.value_to if reading.value_to is not None else float("inf")
    return (value, value) if flag == "ok" else None


def off_scale_findings(
    response: Response,
    plan: Plan,
    made: Settings,
    off_scale: Mapping[int, Flag],
    gelled: Sequence[int],
) -> tuple[Finding, ...]:
    """Say which runs are off the scale, what that does to the fit, and where the region gels."""
    findings = []
    of_controls = {run for run, kind in zip(plan.run, plan.kind, strict=True) if kind == "control"}
    if told := [run for run in gelled if run in of_controls]:
        findings.append(_gelled_control(plan, told))
    gelled = [run for run in gelled if run not in of_controls]
    off_scale = {run: flag for run, flag in off_scale.items() if run not in of_controls}
    if off_scale:
        flags = {
            flag: [r for r, f in off_scale.items() if f == flag] for flag in off_scale.values()
        }
        listed = "; ".join(f"{flag}: {in_words('run', runs)}" for flag, runs in flags.items())
        findings.append(
            Finding(
                level="caution",
                what=f"Readings of '{response.name}' off the scale are left out of this fit "
                f"({listed}); the model is biased for want of them, {_bias(off_scale)}.",
                evidence={"runs off the scale": len(off_scale)},
                advice="Trust the model only away from their settings; dilute or change the "
                "geometry to measure them if you can.",
            )
        )
    if gelled:
        tried = [i for i, kind in enumerate(plan.kind) if kind not in ("control", "confirm")]
        own = [i for i in tried if plan.run[i] in set(gelled)]
        where = where_in_words(made, own, tried)
        findings.append(
            Finding(
                level="caution",
                what=f"A region gels: {in_words('run', gelled)}"
                + (f", at {where}." if where else ", at settings with nothing in common."),
                evidence={"runs gelled": len(gelled), "runs planned": len(tried)},
                advice="Keep the compromise well away from it; a forbid or a limit in the brief "
                "keeps later runs out.",
            )
        )
    return tuple(findings)


def where_in_words(made: Settings, rows: Sequence[int], tried: Sequence[int]) -> str:
    """Describe some runs by the settings that they share and others do not.

    Args:
        made: Settings of the runs of a plan.
        rows: The runs to describe, by place.
        tried: All runs to compare with, by place.

    Returns:
        A phrase such as `dose 0.8 to 1 (tried: 0.8 to 2.4) and neutraliser ammonia`; empty if they
        share nothing.
    """
    if not rows:
        return ""
    parts = []
    for name in made.names:
        own = made.column(name)[list(rows)]
        every = made.column(name)[list(tried)]
        own, every = own[~np.isnan(own)], every[~np.isnan(every)]
        if not len(own) or every.max() == every.min():
            continue
        if name in made.labels:
            if len(set(own)) == 1:
                parts.append(f"{name} {made.labels[name][int(own[0])]}")
        elif own.max() - own.min() <= _NARROW * (every.max() - every.min()):
            spread = (
                f"{own.min():.3g}"
                if own.min() == own.max()
                else f"{own.min():.3g} to {own.max():.3g}"
            )
            parts.append(f"{name} {spread} (tried: {every.min():.3g} to {every.max():.3g})")
    return " and ".join(parts)


def _gelled_control(plan: Plan, runs: Sequence[int]) -> Finding:
    names = sorted({plan.control_names.get(run, "control") for run in runs})
    return Finding(
        level="note",
        what=f"Control {' and '.join(repr(name) for name in names)} gelled in "
        f"{in_words('run', runs)}: no number stands for it, and no model is touched by it.",
        evidence={"gelled control runs": len(runs)},
    )


def _bias(off_scale: Mapping[int, Flag]) -> str:
    flags = set(off_scale.values())
    if flags == {"above"}:
        return "towards low values where they lie"
    if flags == {"below"}:
        return "towards high values where they lie"
    return "most where they lie"
