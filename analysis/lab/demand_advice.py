"""What a fitted demand curve says to the formulator: the range for the study, and its doubts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.lab.demand_curve import DemandCurve, DemandFit
from doe.study.finding import Finding

# The study's range begins where viscosity is so far above the minimum: scarce enough for a dose
# effect to show, thin enough to mill. It ends so many times past the minimum, as colour strength
# and gloss level off a little past it (common practice). Both ours.
SCARCE_PERCENT = 50.0
PAST_MINIMUM = 1.5
# A sensible step divides the range at least so often.
STEPS_IN_RANGE = 10
# A model that leaves less than this part of the scatter of the one picked is worth a word.
MUCH_LESS_SCATTER = 0.5
SOURCE = "Rules of the dose ladder: common practice, no source."


@dataclass(frozen=True, slots=True, kw_only=True)
class SuggestedRange:
    """A range of the dose for the study, with its reason; % active on pigment."""

    low: float
    high: float
    reason: str


def suggest_range(fit: DemandFit, step: float | None = None) -> SuggestedRange:
    """Suggest the range of the dose for the study.

    Args:
        fit: The curve.
        step: Smallest difference that the bench sets; None takes a round one.
    """
    low, lowest = fit.pick(SCARCE_PERCENT), fit.lowest.dose
    high = PAST_MINIMUM * lowest
    step = step or round_step(low, high)
    ends = _rounded_out(low, high, step)
    where = "minimum" if fit.has_minimum_inside else "lowest viscosity tried, which is no minimum"
    begin = (
        "at the lowest dose tried"
        if low <= fit.span.low
        else f"where viscosity is {SCARCE_PERCENT:g} % above the {where}"
    )
    return SuggestedRange(
        low=ends[0],
        high=ends[1],
        reason=f"It begins {begin} and ends at {PAST_MINIMUM:g} times the dose of the {where}.",
    )


def round_step(low: float, high: float) -> float:
    """Give a round step that divides a range at least ten times.

    Example:
        >>> round_step(0.93, 2.54)
        0.1
    """
    raw = (high - low) / STEPS_IN_RANGE
    power = 10.0 ** math.floor(math.log10(raw))
    part = next((part for part in (5.0, 2.0, 1.0) if part * power <= raw * (1 + 1e-9)), 1.0)
    return float(f"{part * power:.1g}")


def demand_findings(
    curve: DemandCurve, fit: DemandFit, without_number: Sequence[tuple[float, str]]
) -> tuple[Finding, ...]:
    """Say what is doubtful about a curve.

    Args:
        curve: All models.
        fit: The one that is used.
        without_number: Doses and words of pots that were left out.
    """
    findings = [*_minimum_findings(fit), *_end_findings(fit), *_model_findings(curve, fit)]
    inside = [one for one in without_number if one[0] > fit.span.low]
    if without_number:
        said = ", ".join(f"{dose:g} % ({word})" for dose, word in without_number)
        findings.append(
            Finding(
                level="caution" if inside else "note",
                what=f"Pots without a number are left out of the fit: {said}."
                + (" Not all of them lie below the doses fitted." if inside else ""),
                advice="Make the odd one again: thinner pots stand below it." if inside else "",
            )
        )
    return tuple(findings)


def _minimum_findings(fit: DemandFit) -> list[Finding]:
    low, high = fit.span
    if not np.any(fit.solved.weights > 0):
        return [
            Finding(
                level="caution",
                what="Viscosity does not follow the dose in this ladder, so no dose stands out.",
                advice="Look at the readings and at the order of the pots.",
            )
        ]
    if fit.has_minimum_inside:
        return []
    end, way, more = (
        ("highest", "still falls", "above") if fit.lowest.dose > low else
        ("lowest", "only rises", "below")
    )  # fmt: skip
    return [
        Finding(
            level="caution",
            what=f"The minimum lies outside the doses tried: the curve {way} at the {end} dose, "
            f"{fit.lowest.dose:g} %.",
            evidence={"lowest dose": low, "highest dose": high},
            advice=f"Add pots {more} it before you trust the dose picked.",
            source=SOURCE,
        )
    ]


def _end_findings(fit: DemandFit) -> list[Finding]:
    if not fit.is_at_search_end or not np.any(fit.solved.weights > 0):
        return []
    return [
        Finding(
            level="caution",
            what=f"The curve '{fit.model.name}' lies at the end of what is searched: the doses "
            "tried do not tell all of its parameters.",
            evidence=dict(fit.parameters),
            advice="Use the dose picked, not the parameters; add doses where the curve bends.",
        )
    ]


def _model_findings(curve: DemandCurve, fit: DemandFit) -> list[Finding]:
    closer = [
        one
        for one in curve.fits
        if one is not fit and one.residual_sd < MUCH_LESS_SCATTER * fit.residual_sd
    ]
    if not closer:
        return []
    best = min(closer, key=lambda one: one.residual_sd)
    return [
        Finding(
            level="caution",
            what=f"'{best.model.name}' follows the readings much closer than "
            f"'{fit.model.name}', but {fit.n} readings are few for its "
            f"{best.model.n_parameters} parameters, and AICc does not pay for them.",
            evidence={
                f"scatter of ln viscosity, {one.model.name}": one.residual_sd for one in (fit, best)
            },
            advice=f"Repeat some pots or add doses; see what it says with --curve "
            f"'{best.model.name}'.",
            source="AICc: Hurvich and Tsai (1989), Biometrika 76, 297-307 (from memory).",
        )
    ]


def _rounded_out(low: float, high: float, step: float) -> tuple[float, float]:
    """Round a low end down and a high end up to steps, never to 0."""
    slack = 1e-9
    down = max(math.floor(low / step + slack), 1) * step
    return round(down, 10), round(math.ceil(high / step - slack) * step, 10)
