"""What the reader of an appraisal ought to know."""

from __future__ import annotations

from doe.appraisal.appraise import Appraisal
from doe.appraisal.freedom_findings import freedom_findings, listed
from doe.appraisal.losses import Loss
from doe.appraisal.sought import WANTED_POWER
from doe.model.coding import Coding
from doe.model.strata import units_word
from doe.model.terms import is_blend
from doe.study.finding import Finding

_SEVERAL = 2


def appraisal_findings(appraisal: Appraisal, coding: Coding) -> tuple[Finding, ...]:
    """Say what is wrong or doubtful with a plan, the gravest first."""
    return (
        *_untold(appraisal),
        *_on_freedom(appraisal),
        *_outside(appraisal),
        *_weak(appraisal),
        *_on_ratio(appraisal),
        *_painful(appraisal),
        *_about_d(appraisal, coding),
        *_fixed(appraisal),
    )


def _untold(appraisal: Appraisal) -> list[Finding]:
    if appraisal.is_estimable:
        return []
    return [
        Finding(
            level="stop",
            what=f"The runs can't tell apart: {listed(appraisal.untold)}.",
            evidence={
                "coefficients not told apart": len(appraisal.untold),
                "runs": appraisal.n_runs,
                "coefficients": appraisal.parameters,
            },
            advice="Take a smaller model (--model), or add runs.",
        )
    ]


def _on_freedom(appraisal: Appraisal) -> tuple[Finding, ...]:
    if not appraisal.is_estimable:
        return ()
    own: dict[str, list[str]] = {}
    for one in appraisal.settings:
        own.setdefault(one.stratum, []).append(one.name)
    return freedom_findings(appraisal.freedom, own)


def _outside(appraisal: Appraisal) -> list[Finding]:
    if not appraisal.outside:
        return []
    runs = listed([str(run) for run in appraisal.outside], 12)
    return [
        Finding(
            level="caution",
            what=f"The settings of run {runs} lie outside the region of the brief; they are taken "
            "as they are, and the prediction is judged inside the region.",
            evidence={"runs outside": len(appraisal.outside)},
        )
    ]


def _weak(appraisal: Appraisal) -> list[Finding]:
    weak = [
        one.name for one in appraisal.terms if one.power is not None and one.power < WANTED_POWER
    ]
    if not weak:
        return []
    return [
        Finding(
            level="note",
            what=f"An effect of the size sought may well be missed in {listed(weak)}.",
            evidence={"terms with power below": WANTED_POWER, "terms": len(weak)},
            source="Cohen (1988), Statistical Power Analysis, 2nd ed., section 2.4",
        )
    ]


def _painful(appraisal: Appraisal) -> list[Finding]:
    found = []
    for unit, losses in appraisal.losses.items():
        lost = [loss for loss in losses if loss.untold]
        if lost:
            found.append(
                Finding(
                    level="caution" if unit == "run" else "note",
                    what=f"The model can't be estimated without {_which(unit, lost)}.",
                    evidence={units_word(unit): len(lost)},
                    advice="Add runs beside them, or be ready to make them again.",
                )
            )
        hardly = [loss for loss in losses if loss.is_gone_in_effect]
        if hardly:
            least = min(loss.average_rise for loss in hardly)
            found.append(
                Finding(
                    level="caution" if unit == "run" else "note",
                    what=f"The model can in effect not be estimated without {_which(unit, hardly)}"
                    ": the standard error of prediction would be more than ten times as large.",
                    evidence={units_word(unit): len(hardly), "average variance, times": least + 1},
                    advice="Add runs beside them, or be ready to make them again.",
                )
            )
    return found


def _which(unit: str, losses: list[Loss]) -> str:
    numbers = listed([str(loss.number) for loss in losses], 12)
    return f"{unit} {numbers}" if len(losses) == 1 else f"any one of {units_word(unit)} {numbers}"


def _on_ratio(appraisal: Appraisal) -> list[Finding]:
    """Say how far the standard errors move with the variance ratio."""
    if len(appraisal.at_ratios) < _SEVERAL:
        return []
    first, last = appraisal.at_ratios[0], appraisal.at_ratios[-1]
    moves = [b / a for a, b in zip(first.std_errors, last.std_errors, strict=True) if a > 0]
    return [
        Finding(
            level="note",
            what=f"The variance ratio is assumed until batches are measured: between "
            f"{first.ratio:g} and {last.ratio:g} the standard errors of coefficients grow "
            f"{min(moves):.2g} to {max(moves):.2g} times.",
            evidence={
                f"average variance at {at.ratio:g}": at.average for at in appraisal.at_ratios
            },
            source="Goos (2002), The Optimal Design of Blocked and Split-Plot Experiments",
        )
    ]


def _about_d(appraisal: Appraisal, coding: Coding) -> list[Finding]:
    if not is_blend(coding):
        return []
    return [
        Finding(
            level="note",
            what="With shares in the model D, A and G only compare plans of the same brief and "
            "model; they are no percentages of anything.",
        )
    ]


def _fixed(appraisal: Appraisal) -> list[Finding]:
    fixed = [stratum.name for stratum in appraisal.runs.strata.fixed]
    if not fixed:
        return []
    return [
        Finding(
            level="note",
            what=f"Differences between {listed([units_word(name) for name in fixed])} are "
            "estimated beside the model: intervals are for the blocks of this study.",
        )
    ]
