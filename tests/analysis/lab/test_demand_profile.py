"""Profile intervals: against a brute-force grid of the profile, and by how often they hold."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from analysis.lab.demand_curve import DemandFit, fit_demand_curve
from analysis.lab.demand_models import MODELS, Span
from analysis.lab.demand_profile import Interval, profile_interval, profile_limit
from analysis.lab.separable_fit import solve_chart
from doe.study.settings import FloatArray

DOSES = np.geomspace(0.4, 3.2, 10)
MARGIN = float(np.log(1.05))


def noisy_lines(rng: np.random.Generator, sd: float = 0.06) -> FloatArray:
    """Give ln viscosity of two lines that meet at 1.2 %, with scatter."""
    x = np.log(DOSES / 1.2)
    truth = 5.7 + 1.3 * np.maximum(-x, 0) + 0.8 * np.maximum(x, 0)
    return np.asarray(truth + sd * rng.standard_normal(len(DOSES)))


def _rss_of(columns: FloatArray, y: FloatArray) -> FloatArray:
    """Give the sum of squares after an intercept and one free column, shape (m,) of (m, n, 2)."""
    Q, _ = np.linalg.qr(columns)
    parts = np.einsum("mnk,mn->mk", Q, y)
    return np.asarray(np.einsum("mn,mn->m", y, y) - np.einsum("mk,mk->m", parts, parts))


def test_interval_of_two_lines_agrees_with_a_brute_grid() -> None:
    """Every break and every pick on a fine grid: the pick ties the slope, the rest is linear."""
    y = noisy_lines(np.random.default_rng(5))
    fit = fit_demand_curve(DOSES, np.exp(y)).of("two lines")
    limit = profile_limit(fit.solved.rss, fit.residual_df, 0.95)
    x = np.log(DOSES)
    breaks = np.linspace(x[0], x[-1], 4001)
    picks = np.linspace(np.log(0.7), np.log(2.0), 400)

    inside = []
    for pick in picks:
        at = breaks[breaks > pick + 1e-9]
        slope = MARGIN / (at - pick)
        rest = y - slope[:, None] * np.maximum(at[:, None] - x, 0)
        rise = np.maximum(x - at[:, None], 0)
        rise[at > x[-2]] += 1e-12 * x  # one dose alone: any rise explains it
        columns = np.stack([np.ones_like(rise), rise], axis=-1)
        if _rss_of(columns, rest).min() <= limit:
            inside.append(np.exp(pick))
    interval = fit.pick_interval()

    assert interval.low == pytest.approx(min(inside), rel=0.006)
    assert interval.high == pytest.approx(max(inside), rel=0.006)


def test_interval_of_a_parabola_agrees_with_a_brute_grid() -> None:
    """Every vertex and every curvature on a fine grid, those inside the limit kept."""
    y = noisy_lines(np.random.default_rng(6))
    fit = fit_demand_curve(DOSES, np.exp(y)).of("parabola")
    limit = profile_limit(fit.solved.rss, fit.residual_df, 0.95)
    x = np.log(DOSES)
    vertex, bend = np.meshgrid(np.linspace(-0.5, 1.0, 1501), np.linspace(0.05, 2.0, 801))
    shape = (x - vertex.ravel()[:, None]) ** 2 * bend.ravel()[:, None]
    rest = y - shape
    rss = ((rest - rest.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    # The lower root of bend·(ln D - vertex)² = ln 1.05.
    picks = np.exp(vertex.ravel() - np.sqrt(MARGIN / bend.ravel()))[rss <= limit]
    vertices = np.exp(vertex.ravel())[rss <= limit]

    assert fit.pick_interval().low == pytest.approx(picks.min(), rel=0.004)
    assert fit.pick_interval().high == pytest.approx(picks.max(), rel=0.004)
    minimum = fit.minimum_interval()
    assert minimum is not None
    assert minimum.low == pytest.approx(vertices.min(), rel=0.004)
    assert minimum.high == pytest.approx(vertices.max(), rel=0.004)


def test_profile_of_fall_and_rise_agrees_with_a_brute_grid() -> None:
    """Five parameters: the least sum of squares of all curves of a grid that pick near a dose."""
    rng = np.random.default_rng(8)
    y = 5.6 + 4.3 * np.exp(-2.3 * DOSES) + 0.46 * np.maximum(0, DOSES - 1.7)
    y = y + 0.05 * rng.standard_normal(len(DOSES))
    fit = fit_demand_curve(DOSES, np.exp(y)).of("fall and rise")
    c, d0, b, d = (
        part.ravel()
        for part in np.meshgrid(
            np.linspace(1.0, 4.0, 25), np.linspace(0.9, 2.6, 29), np.geomspace(1.5, 14, 37),
            np.linspace(0.1, 1.2, 15), indexing="ij",
        )
    )  # fmt: skip
    rss, pick = np.empty(len(c)), np.empty(len(c))
    for part in np.array_split(np.arange(len(c)), 20):
        C, K, B, R = (one[part, None] for one in (c, d0, b, d))
        rest = y - B * np.exp(-C * DOSES) - R * np.maximum(DOSES - K, 0)
        rss[part] = ((rest - rest.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
        looked = np.linspace(0.4, 3.2, 281)
        height = B * np.exp(-C * looked) + R * np.maximum(looked - K, 0)
        is_near = height <= height.min(axis=1, keepdims=True) + MARGIN
        pick[part] = looked[np.argmax(is_near, axis=1)]
    for dose in (1.2, 1.4, 1.6):
        brute = rss[np.abs(pick - dose) < 0.006].min()
        ours = fit.tied_rss(fit.model.at_pick(dose, MARGIN, fit.span))

        # A grid cannot fall below the profile by more than the width of its cell of picks, and
        # what it misses of the least is small beside what an interval turns on.
        turn = profile_limit(fit.solved.rss, fit.residual_df, 0.95) - fit.solved.rss
        assert ours <= brute + 0.15 * turn
        assert ours >= brute - 0.6 * turn


def _holds(fit: DemandFit, truth: float) -> bool:
    limit = profile_limit(fit.solved.rss, fit.residual_df, 0.95)
    return fit.tied_rss(fit.model.at_pick(truth, MARGIN, fit.span)) <= limit


def test_intervals_hold_as_often_as_they_say() -> None:
    """95 % intervals of two lines at ten doses, scatter 6 %: 150 seeded ladders.

    The band is what a true 95 % gives in 150 trials at odds of about 1 in 500 on either side.
    """
    truth = 1.2 * np.exp(-MARGIN / 1.3)
    rng = np.random.default_rng(17)
    model = next(one for one in MODELS if one.name == "two lines")
    span = Span(float(DOSES[0]), float(DOSES[-1]))
    n = 150
    held = 0
    for _ in range(n):
        y = noisy_lines(rng)
        solved = solve_chart(model.fit(span), DOSES, y, quick=True)
        held += _holds(DemandFit(model=model, span=span, solved=solved, x=DOSES, y=y), truth)

    assert 0.89 <= held / n <= 0.995, held / n


def _interval(rss: Callable[[float], float]) -> Interval:
    return profile_interval(rss, estimate=1.2, best=1.0, df=5, doses=DOSES, level=0.95)


def test_interval_reaches_over_all_pieces() -> None:
    """Doses may be possible beyond some that are not: the nearest crossing would leave them out."""
    limit = profile_limit(1.0, 5, 0.95)

    def rss(dose: float) -> float:
        """Possible around 1.2 and again around 0.65, not in between."""
        return float(min(1 + 300 * np.log(dose / 1.2) ** 2, 1.2 + 300 * np.log(dose / 0.65) ** 2))

    low = 0.65 * np.exp(-np.sqrt((limit - 1.2) / 300))
    high = 1.2 * np.exp(np.sqrt((limit - 1.0) / 300))

    assert _interval(rss).low == pytest.approx(low, rel=1e-3)
    assert _interval(rss).high == pytest.approx(high, rel=1e-3)


def test_a_piece_at_the_end_of_the_doses_leaves_the_interval_open() -> None:
    """What is possible at the last dose may be possible beyond it."""

    def rss(dose: float) -> float:
        """Possible around 1.2, and from 2.5 on."""
        return 1.0 if dose > 2.5 else 1 + 300 * np.log(dose / 1.2) ** 2

    assert _interval(rss).high is None
    assert _interval(rss).low is not None
