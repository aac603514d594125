"""Settings that came out far from the plan, told as soon as the actuals are in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.lab.doubts.bench import Bench
from doe.study.brief import Factor
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.names import fold

# A quarter of a range: further off than bench scatter, and on the way to the next level of a plan.
# Common practice, no source.
FAR = 0.25
# What a titration to pH hits on a bench; common practice, no source.
PH_TOLERANCE = 0.2
# A tolerance is read as ± 2 standard deviations (DESIGN.md, section 2).
_DEVIATIONS = 2.0
# Planned values and actual ones are decimal numbers; rounding is no departure.
_ROUNDING = 1e-9


def far_settings(bench: Bench) -> Iterator[Doubt]:
    """Find units whose actual setting is further from the planned one than is allowed for."""
    for name, (allowed, why) in allowed_departures(bench).items():
        planned, made = bench.plan.settings.column(name), bench.made.settings.column(name)
        gap = np.nan_to_num(np.abs(made - planned))
        units: dict[tuple[str, float, float], list[int]] = {}
        for i in np.flatnonzero(gap > allowed * (1 + _ROUNDING)):
            key = (_unit(bench, name, int(i)), float(planned[i]), float(made[i]))
            units.setdefault(key, []).append(bench.plan.run[int(i)])
        largest = float(f"{gap.max():.4g}") if len(gap) else 0.0
        for (unit, at, came), runs in units.items():
            yield Doubt(
                about=name,
                label=f"{unit} ({came:.4g} for {at:.4g})",
                finding=Finding(
                    level="caution",
                    what=f"came out more than {allowed:.3g} off the plan, {why}; the settings as "
                    "made are fitted.",
                    evidence={"largest departure": largest, "allowed": float(f"{allowed:.4g}")},
                    advice="Check the entry; if it is right, the model is told the truth, and "
                    f"'millbase note STUDY --{_named(bench, runs)} --says stands --because …' "
                    "settles it.",
                ),
                runs=tuple(runs),
                batches=bench.batches_of(runs),
                sources=(f"actuals.csv, {unit}",),
            )


def allowed_departures(bench: Bench) -> dict[str, tuple[float, str]]:
    """Give how far each numeric setting may be off, in its unit, and why that far."""
    study = bench.study
    found: dict[str, tuple[float, str]] = {}
    quarter = "a quarter of its range"
    for additive in study.additives:
        if additive.high > additive.low:
            found[additive.name] = (FAR * (additive.high - additive.low), quarter)
    for factor in study.varied_factors:
        titrated = _titrated(factor) if factor.set_by else None
        if titrated is not None:
            found[factor.name] = titrated
        elif factor.ends is not None and factor.ends[1] > factor.ends[0]:
            found[factor.name] = (FAR * (factor.ends[1] - factor.ends[0]), quarter)
    return {name: one for name, one in found.items() if name in bench.plan.settings.names}


def _titrated(factor: Factor) -> tuple[float, str] | None:
    if factor.tolerance is not None:
        return factor.tolerance, "the brief's tolerance"
    if factor.scatter_sd is not None:
        return _DEVIATIONS * factor.scatter_sd, "twice the brief's scatter"
    if fold(factor.name) == "ph":
        return PH_TOLERANCE, "what a titration hits as a rule (common practice, no source)"
    return None


def _unit(bench: Bench, name: str, row: int) -> str:
    """Name the unit that a setting is set on, as actuals do; additives are set with the package."""
    study, plan = bench.study, bench.plan
    stages = {factor.name: factor.set_per for factor in study.factors}
    package = study.package.set_per if study.package else "batch"
    stage = stages.get(name, package)
    numbers = {"day": plan.day, "batch": plan.batch, "sample": plan.sample, "panel": plan.panel}
    number = numbers[stage][row]
    return f"run {plan.run[row]}" if number is None else f"{stage} {number}"


def _named(bench: Bench, runs: list[int]) -> str:
    batches = bench.batches_of(runs)
    return f"batch {batches[0]}" if len(batches) == 1 and len(runs) > 1 else f"run {runs[0]}"
