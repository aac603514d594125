"""The recommended recipe beside the controls, in the response's own unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from analysis.choice.compromise import ExpectedResponse
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.scales import inverse
from analysis.report.content import ReportContent
from analysis.report.rounding import interval_error, plain, with_error
from analysis.report.table import Cell, Table
from analysis.report.words import listed


def control_table(content: ReportContent) -> Table:
    """Set what the recommended recipe gives beside what each control gave.

    The difference has no interval here: covariances of surface and controls are not in a `Fit`.
    """
    expected = content.compromise.best.expected if content.compromise else ()
    return Table(
        name="controls",
        title="The recommended recipe beside the controls.",
        head=("Response", "Control", "Recommended", "Control gave", "Lies at"),
        rows=tuple(
            row
            for entry in expected
            if entry.response in content.fitted
            for row in _rows(
                entry, content.fitted[entry.response], _gelled(content, entry.response)
            )
        ),
        words=2,
        note="Lies at: recommended recipe in per cent of the control, controls by their own mean.",
    )


def beside_controls(content: ReportContent) -> tuple[str, ...]:
    """Say in a line a control what the recommended recipe gains on it."""
    ratios: dict[str, list[str]] = {}
    for row in control_table(content).rows:
        response, control, gave, ratio = row[0].text, row[1].text, row[3].text, row[4].text
        if row[4].value is not None:
            ratios.setdefault(control, []).append(f"{response} {gave} (recipe: {ratio} of it)")
    return tuple(f"Control '{name}' gave {listed(told)}." for name, told in ratios.items())


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
    entry: ExpectedResponse, fitted: FittedResponse, gelled: Mapping[str, str]
) -> Iterable[tuple[Cell, ...]]:
    unit = f" {entry.unit}" if entry.unit else ""
    error = interval_error(*entry.mean_interval)
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
        )
