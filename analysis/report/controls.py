"""The recommended recipe beside the controls, in the response's own unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from analysis.choice.beside_controls import compare_with_controls
from analysis.choice.compromise import ExpectedResponse
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.scales import inverse
from analysis.report.against_words import change_words, range_words
from analysis.report.content import ReportContent
from analysis.report.rounding import MISSING, percent, plain, with_error
from analysis.report.table import Cell, Table
from analysis.report.words import run_error
from analysis.surface.against_control import AgainstControl
from analysis.surface.noise import production_of
from doe.study.sentence import listed


def control_table(content: ReportContent) -> Table:
    """Set what the recommended recipe gives beside what each control gave, and the gain."""
    expected = content.compromise.best.expected if content.compromise else ()
    against = _against(content)
    return Table(
        name="controls",
        title="The recommended recipe beside the controls.",
        head=("Response", "Control", "Recommended", "Control gave", "Lies at", "Gain or loss"),
        rows=tuple(
            row
            for entry in expected
            if entry.response in content.fitted
            for row in _rows(
                entry, content.fitted[entry.response], _gelled(content, entry.response), against
            )
        ),
        words=2,
        note=_note(against),
    )


def beside_controls(content: ReportContent) -> tuple[str, ...]:
    """Say in a line a control what the recommended recipe gains on it."""
    ratios: dict[str, list[str]] = {}
    for row in control_table(content).rows:
        response, control, gave, gain = row[0].text, row[1].text, row[3].text, row[5].text
        if gain != MISSING:
            ratios.setdefault(control, []).append(f"{response} {gave} (recipe: {gain})")
    return tuple(f"Control '{name}' gave {listed(told)}." for name, told in ratios.items())


def _against(content: ReportContent) -> dict[tuple[str, str], AgainstControl]:
    """Compare by response and control; the alternatives of the recipe share the level."""
    if content.compromise is None or not content.fitted:
        return {}
    fits = {name: fitted.fit for name, fitted in content.fitted.items()}
    first = next(iter(content.fitted.values()))
    production = production_of(content.study, first.fit.coding)
    level = first.assessment.level
    found = compare_with_controls(content.compromise, fits, production, level=level)
    return {(one.response, one.control): one for one in found.best}


def _gain(one: AgainstControl | None) -> str:
    return MISSING if one is None else f"{change_words(one)}, {range_words(one)}"


def _note(against: Mapping[tuple[str, str], AgainstControl]) -> str:
    note = "Lies at: recommended recipe in per cent of the control, controls by their own mean."
    one = next(iter(against.values()), None)
    if one is None:
        return note
    shared = f", all {one.candidates} recommended and alternative recipes" * (one.candidates > 1)
    return (
        f"{note} Gain or loss: of true values, with the interval at {percent(one.level)}{shared}, "
        "by the model's form; that the recipe was searched for is not allowed for."
    )


def _gelled(content: ReportContent, response: str) -> Mapping[str, str]:
    """Say of each control how many of its runs gelled; a mean of the others flatters it."""
    data, plan = content.data.get(response), content.plan
    if data is None or plan is None:
        return {}
    runs_of: dict[str, list[int]] = {}
    for run, name in plan.control_names.items():
        runs_of.setdefault(name, []).append(run)
    counts = {name: sum(run in data.gelled for run in runs) for name, runs in runs_of.items()}
    return {name: f"; {n} of {len(runs_of[name])} gelled" for name, n in counts.items() if n}


def _rows(
    entry: ExpectedResponse,
    fitted: FittedResponse,
    gelled: Mapping[str, str],
    against: Mapping[tuple[str, str], AgainstControl],
) -> Iterable[tuple[Cell, ...]]:
    unit = f" {entry.unit}" if entry.unit else ""
    error = run_error(entry)
    for control, (mean, std_error) in fitted.fit.control_means.items():
        ends = np.array([mean - std_error, mean, mean + std_error])
        low, middle, high = (float(value) for value in inverse(fitted.fit.scale, ends))
        control_error = abs(high - low) / 2 or None
        ratio = 100 * entry.value / middle if middle > 0 and entry.value > 0 else None
        yield (
            Cell(text=entry.response),
            Cell(text=control),
            Cell(text=f"{with_error(entry.value, error)}{unit}", value=entry.value),
            Cell(
                text=f"{with_error(middle, control_error)}{unit}{gelled.get(control, '')}",
                value=middle,
            ),
            Cell(
                text="–" if ratio is None else f"{plain(ratio, 3)}\N{NO-BREAK SPACE}%", value=ratio
            ),
            Cell(text=_gain(against.get((entry.response, control)))),
        )
