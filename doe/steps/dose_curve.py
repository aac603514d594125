"""The part of `dose` that fits a ladder's demand curve and draws it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.lab.demand_advice import SuggestedRange, demand_findings, suggest_range
from analysis.lab.demand_curve import (
    LEVEL,
    WITHIN_PERCENT,
    DemandCurve,
    DemandFit,
    fit_demand_curve,
)
from analysis.lab.demand_models import MODELS
from analysis.lab.demand_profile import Interval
from doe.steps.results import json_bytes
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.ladder import Ladder, viscosity_text

RESULT, FIGURES = "results/dose.json", "results/figures"
LEAST_DOSES = min(model.least_doses for model in MODELS)


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveOptions:
    """How the curve is read.

    Attributes:
        within_percent: Viscosity above the minimum that counts as on the plateau, %.
        model: Name of the model to use; None takes the one of least AICc.
        level: Confidence of the intervals.
        figure: Whether it is drawn.
    """

    within_percent: float = WITHIN_PERCENT
    model: str | None = None
    level: float = LEVEL
    figure: bool = True


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Demand:
    """A fitted ladder.

    Attributes:
        curve: All models.
        fit: The one that is used.
        options: How it is read.
        picks: Lowest dose within the margin, and its interval, by model.
        minimum_interval: Of the minimum; None where the model has none.
        breakpoint_interval: Of the breakpoint; likewise.
        suggested: Range for the study.
        without_number: Doses and words of pots that were left out.
    """

    curve: DemandCurve
    fit: DemandFit
    options: CurveOptions
    picks: Mapping[str, tuple[float, Interval]]
    minimum_interval: Interval | None
    breakpoint_interval: Interval | None
    suggested: SuggestedRange
    without_number: tuple[tuple[float, str], ...]

    @property
    def pick(self) -> float:
        """The lowest dose within the margin of the minimum, by the model that is used."""
        return self.picks[self.fit.model.name][0]

    @property
    def interval(self) -> Interval:
        """Its interval."""
        return self.picks[self.fit.model.name][1]


def demand_of(
    ladder: Ladder, study: Study, options: CurveOptions
) -> tuple[Demand | None, tuple[Finding, ...]]:
    """Fit the curve of a ladder as far as it is read.

    Returns:
        The curve, None where too few doses have a number; and findings.

    Raises:
        FitError: The model asked for was not fitted.
    """
    numbers, without = _readings(ladder)
    doses = {dose for dose, _ in numbers}
    if len(doses) < LEAST_DOSES:
        return None, _waiting(ladder, len(doses)) if numbers or without else ()
    x, viscosity = np.array(numbers).T
    curve = fit_demand_curve(x, viscosity)
    fit = curve.best if options.model is None else curve.of(options.model)
    demand = Demand(
        curve=curve, fit=fit, options=options, without_number=without,
        picks={
            one.model.name: (
                one.pick(options.within_percent),
                one.pick_interval(options.within_percent, options.level),
            )
            for one in curve.fits
        },
        minimum_interval=fit.minimum_interval(options.level),
        breakpoint_interval=fit.breakpoint_interval(options.level),
        suggested=suggest_range(fit, study.dose.step if study.dose else None),
    )  # fmt: skip
    return demand, (*demand_findings(curve, fit, without), *_pending(ladder))


def demand_object(demand: Demand | None) -> dict[str, Any]:
    """Give the part of the contract that a curve fills."""
    if demand is None:
        keys = ("fits", "best", "lowest_dose", "interval", "minimum", "breakpoint", "suggested")
        return {key: [] if key == "fits" else None for key in keys}
    fit, lowest = demand.fit, demand.fit.lowest
    return {
        "fits": [_fit_object(one, demand.picks) for one in demand.curve.fits],
        "left_out": dict(demand.curve.left_out),
        "best": demand.curve.best.model.name,
        "used": fit.model.name,
        "within_percent": demand.options.within_percent,
        "lowest_dose": demand.pick,
        "interval": _interval_object(demand.interval),
        "minimum": {
            "dose": lowest.dose,
            "viscosity": float(np.exp(lowest.value)),
            "is_inside": fit.has_minimum_inside,
            "interval": _interval_object(demand.minimum_interval),
        },
        "breakpoint": None
        if fit.breakpoint_dose is None
        else {
            "dose": fit.breakpoint_dose,
            "interval": _interval_object(demand.breakpoint_interval),
        },
        "suggested": {
            "low": demand.suggested.low,
            "high": demand.suggested.high,
            "reason": demand.suggested.reason,
        },
        "not_fitted": [{"dose": dose, "viscosity": word} for dose, word in demand.without_number],
    }


def demand_files(demand: Demand, study: Study, contract: dict[str, Any]) -> dict[str, bytes]:
    """Make the files of a curve: the result, and its figure if one is wanted."""
    body = {key: value for key, value in contract.items() if key not in ("files", "written")}
    files = {RESULT: json_bytes(body)}
    if demand.options.figure:
        # Drawing loads slowly, and only this command needs it here.
        from analysis.figures.demand_curve import DemandPicture, draw_demand_curve
        from analysis.figures.files import save_figures

        picture = DemandPicture(
            fit=demand.fit, within_percent=demand.options.within_percent, interval=demand.interval,
            suggested=(demand.suggested.low, demand.suggested.high),
            off_scale=tuple(dose for dose, _ in demand.without_number if dose > 0),
        )  # fmt: skip
        drawn = draw_demand_curve(picture)
        made = f"millbase {contract['inputs']['version']}; {study.about.title}"
        saved = save_figures({drawn.name: drawn.figure}, made=made)
        files |= {f"{FIGURES}/{name}": data for name, data in saved.items()}
    return files


def _readings(
    ladder: Ladder,
) -> tuple[list[tuple[float, float]], tuple[tuple[float, str], ...]]:
    """Tell readings that can be fitted from pots that have no number, or no dose."""
    numbers: list[tuple[float, float]] = []
    without: list[tuple[float, str]] = []
    for pot in ladder.pots:
        for one in ladder.of_pot(pot.number):
            read = one.viscosity
            if read is None:
                continue
            if read.flag == "ok" and read.value is not None and pot.dose > 0:
                numbers.append((pot.dose, read.value))
            else:
                without.append((pot.dose, viscosity_text(read)))
    return sorted(numbers), tuple(sorted(without))


def _waiting(ladder: Ladder, n_doses: int) -> tuple[Finding, ...]:
    return (
        Finding(
            level="note",
            what=f"{n_doses} doses above 0 have a viscosity; a curve needs {LEAST_DOSES}.",
            advice="Fill in ladder.csv or sheets/ladder.xlsx as the pots are read.",
        ),
    )


def _pending(ladder: Ladder) -> tuple[Finding, ...]:
    open_pots = [
        pot.number
        for pot in ladder.pots
        if all(one.viscosity is None for one in ladder.of_pot(pot.number))
    ]
    if not open_pots:
        return ()
    said = ", ".join(map(str, open_pots))
    return (Finding(level="note", what=f"Still without a reading: pot {said}."),)


def _fit_object(fit: DemandFit, picks: Mapping[str, tuple[float, Interval]]) -> dict[str, Any]:
    pick, interval = picks[fit.model.name]
    return {
        "model": fit.model.name,
        "formula": fit.model.formula,
        "parameters": fit.parameters,
        "n": fit.n,
        "residual_df": fit.residual_df,
        "residual_sd": fit.residual_sd,
        "rmse": fit.rmse,
        "aicc": fit.aicc,
        "lowest_dose": pick,
        "interval": _interval_object(interval),
        "minimum": {"dose": fit.lowest.dose, "is_inside": fit.has_minimum_inside},
    }


def _interval_object(interval: Interval | None) -> dict[str, Any] | None:
    if interval is None:
        return None
    return {"low": interval.low, "high": interval.high, "level": interval.level}
