"""Drift with the order as done: readings of a control that rise or fall as the work goes on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy import stats

from analysis.lab.doubts.bench import Bench, cells_of
from analysis.lab.doubts.on_scale import fitted_scale, on_scale
from analysis.lab.said import reasons_to_leave_out
from doe.study.brief import Response
from doe.study.doubt import Doubt
from doe.study.finding import Finding
from doe.study.names import fold
from doe.study.readings import Reading
from doe.study.settings import FloatArray

LEAST_RUNS = 4
# Common practice, no source: strict, as every control of every response is tried.
ALPHA = 0.01
# A slope below rounding is none, however well it fits.
_ROUNDING = 1e-9


def drifting_controls(bench: Bench) -> Iterator[Doubt]:
    """Find controls, read in four runs or more, whose readings change with the order as done."""
    made = bench.made
    order = dict(zip(bench.plan.run, made.order, strict=True))
    names = bench.plan.control_names
    for response in bench.study.responses:
        left_out = reasons_to_leave_out(bench.choices, bench.plan, made.day, response.name)
        rows = [
            row
            for row in bench.readings.current()
            if fold(row.response) == fold(response.name) and row.run not in left_out
            if row.flag == "ok" and row.value is not None and row.run in names
        ]
        if response.age_d is not None:
            rows = [row for row in rows if row.age_d in (None, response.age_d)]
        for name in sorted(set(names.values())):
            own = [row for row in rows if names[row.run] == name]
            yield from _drift(bench, response, name, own, order)


def slope_on_order(order: FloatArray, z: FloatArray) -> tuple[float, float]:
    """Fit a line over the order as done.

    Args:
        order: Place of each run, shape (n,), n of three or more.
        z: Value of each run, shape (n,).

    Returns:
        Slope per place, unit of z, and the p-value of its t-test with n - 2 degrees of freedom.
    """
    x = order - order.mean()
    slope = float(x @ z / (x @ x))
    if abs(slope) * np.ptp(x) <= _ROUNDING * max(1.0, float(np.abs(z).max())):
        return slope, 1.0
    residual = z - z.mean() - slope * x
    df = len(z) - 2
    # s² (x'x)^-1, the variance of a least-squares slope.
    error = float(np.sqrt(residual @ residual / df / (x @ x)))
    t = np.inf if error == 0 else abs(slope) / error
    return slope, float(2 * stats.t.sf(t, df))


def _drift(
    bench: Bench,
    response: Response,
    name: str,
    rows: Sequence[Reading],
    order: dict[int, float],
) -> Iterator[Doubt]:
    runs = sorted({row.run for row in rows}, key=lambda run: (order[run], run))
    if len(runs) < LEAST_RUNS:
        return
    scale = fitted_scale(response, bench.choices)
    means = [np.mean([row.value for row in rows if row.run == run]) for run in runs]
    z = on_scale(scale, np.array(means, dtype=np.float64))
    places = np.array([order[run] for run in runs], dtype=np.float64)
    if not np.all(np.isfinite(z)) or np.ptp(places) == 0:
        return
    slope, p = slope_on_order(places, z)
    if not p < ALPHA:
        return
    shown = ", ".join(f"{mean:.4g}" for mean in means)
    way = "rises" if slope > 0 else "falls"
    yield Doubt(
        finding=Finding(
            level="caution",
            what=f"'{response.name}' of the control '{name}' {way} with the order as done: {shown} "
            f"in runs {', '.join(map(str, runs))}. Scatter alone looks like this in one control "
            f"of {1 / ALPHA:.0f}, for each response.",
            evidence={
                "response": response.name,
                "control": name,
                "values": shown,
                "slope per run": float(f"{slope:.4g}"),
                "scale": scale.name,
                "p": float(f"{p:.2g}"),
            },
            advice="Look for what changed with time: the instrument, bead wear, the temperature of "
            "the mill, an ageing raw material. Read kept samples again; runs made late are shifted "
            "as the control is, and only the random order keeps that out of the terms. If it is "
            f"known and harmless: 'millbase note STUDY --run {runs[-1]} --response "
            f"{response.name} --says stands --because …'.",
            source="t-test of the slope at 1 %: common practice, no source.",
        ),
        responses=(response.name,),
        # A further reading of the control opens the question again.
        runs=(runs[-1],),
        sources=cells_of(bench, sorted(rows, key=lambda row: (order[row.run], row.repeat))),
    )
