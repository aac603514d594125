"""How `dose` looks in the terminal."""

from __future__ import annotations

from analysis.lab.demand_profile import Interval
from analysis.report.rounding import interval_error, plain, with_error
from doe.cli.screen import paragraph, text_table, typed
from doe.recipe.dose_window import DoseWindow
from doe.sheets.wording import FOLLOW
from doe.steps.dose import DoseOutcome
from doe.steps.dose_curve import Demand
from doe.steps.dose_ladder import PlannedLadder
from doe.study.ladder import LadderMerge, viscosity_text

UNIT = "% active on pigment"


def show_dose(outcome: DoseOutcome) -> str:
    """Show the estimates, the ladder, its readings, its curve, and what was written."""
    parts = [_window_text(outcome.window)]
    if outcome.planned:
        parts.append(_planned_text(outcome.planned))
    if outcome.merged:
        parts.append(_merged_text(outcome.merged))
    if outcome.demand:
        parts.append(_demand_text(outcome.demand))
    if outcome.inserted:
        lines = "\n".join(f"  + {line}" for line in outcome.inserted.lines)
        parts.append(f"Put into study.toml behind line {outcome.inserted.after}:\n{lines}")
    if outcome.files:
        parts.append("Written: " + ", ".join(str(file) for file in outcome.files))
    parts.append(_next_text(outcome))
    return "\n\n".join(part for part in parts if part)


def interval_words(interval: Interval) -> str:
    """Say an interval that may be open.

    Example:
        >>> interval_words(Interval(low=1.1, high=None, level=0.95))
        'from 1.1, no upper end in the doses tried'
    """
    low, high = interval.low, interval.high
    if low is None and high is None:
        return "open at both ends in the doses tried"
    if high is None:
        return f"from {plain(low, 3)}, no upper end in the doses tried"
    if low is None:
        return f"up to {plain(high, 3)}, no lower end in the doses tried"
    error = interval_error(low, high)
    return f"{with_error(low, error)} to {with_error(high, error)}"


def _window_text(window: DoseWindow) -> str:
    if not window.estimates:
        return ""
    rows = [
        [
            one.basis, one.family or "any", _ends(one.low, one.high), one.how, one.mark,
        ]
        for one in window.estimates
    ]  # fmt: skip
    table = text_table(("rests on", "dispersant", UNIT, "how", "mark"), rows)
    assert window.low is not None
    assert window.high is not None
    said = f"To start with: {_ends(window.low, window.high)} {UNIT}. {window.reason}"
    return f"{table}\n\n{paragraph(said)}"


def _planned_text(planned: PlannedLadder) -> str:
    rows = [[str(pot.order), str(pot.number), plain(pot.dose)] for pot in planned.ladder.pots]
    table = text_table(("order", "pot", UNIT), rows)
    shared = f"All pots alike: {'; '.join(planned.shared)}." if planned.shared else ""
    return "\n".join(
        [
            f"Ladder of {len(rows)} pots, order {planned.order_words}:",
            table,
            *([paragraph(shared)] if shared else []),
            paragraph("Pigment and total water are the same in every pot. " + FOLLOW),
        ]
    )


def _merged_text(merged: LadderMerge) -> str:
    lines = [f"{len(merged.added)} readings taken in; {len(merged.same)} were known already."]
    for old, new in merged.corrected:
        change = f"{viscosity_text(old.viscosity)} → {viscosity_text(new.viscosity)}"
        lines.append(f"  corrected: pot {old.pot}, reading {old.repeat}: {change}")
    return "\n".join(lines)


def _demand_text(demand: Demand) -> str:
    within = f"within {demand.options.within_percent:g} %"
    rows = [
        [
            ("→ " if one is demand.fit else "  ") + one.model.name,
            plain(one.aicc, 3),
            plain(one.residual_sd, 2),
            plain(demand.picks[one.model.name][0], 3),
            interval_words(demand.picks[one.model.name][1]),
            plain(one.lowest.dose, 3) if one.has_minimum_inside else "outside",
        ]
        for one in demand.curve.fits
    ]
    heads = ("  model", "AICc", "scatter of ln", within, "interval", "minimum")
    return "\n\n".join(
        [
            paragraph(
                f"Lowest dose whose fitted viscosity is {within} of the minimum: "
                f"{plain(demand.pick, 3)} {UNIT}; {100 * demand.options.level:g} % interval: "
                f"{interval_words(demand.interval)}."
            ),
            text_table(heads, rows),
            "\n".join(_places(demand)),
            paragraph(
                f"Range for the study: {_ends(demand.suggested.low, demand.suggested.high)} "
                f"{UNIT}. {demand.suggested.reason}"
            ),
        ]
    )


def _places(demand: Demand) -> list[str]:
    fit = demand.fit
    parameters = ", ".join(f"{name} = {plain(value)}" for name, value in fit.parameters.items())
    lines = [f"{fit.model.formula}; y = ln viscosity", f"{parameters}"]
    if fit.has_minimum_inside and demand.minimum_interval:
        words = interval_words(demand.minimum_interval)
        lines.append(f"Minimum at {plain(fit.lowest.dose, 3)} ({words})")
    if fit.breakpoint_dose is not None and demand.breakpoint_interval:
        words = interval_words(demand.breakpoint_interval)
        lines.append(f"Breakpoint at {plain(fit.breakpoint_dose, 3)} ({words})")
    return lines


def _next_text(outcome: DoseOutcome) -> str:
    study = typed(outcome.folder.path)
    if outcome.inserted:
        return f"Next: millbase plan {study}"
    if outcome.demand:
        return f"Next: put the range into the brief, or: millbase dose {study} --write"
    if outcome.ladder is not None:
        return f"Next: make the pots, then: millbase dose {study} --enter FILE"
    return f"Next: millbase dose {study} --ladder"


def _ends(low: float, high: float) -> str:
    return plain(low, 3) if low == high else f"{plain(low, 3)} to {plain(high, 3)}"
