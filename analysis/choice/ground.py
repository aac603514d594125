"""The ground under many climbers: lines of all aims and binding limits, slopes and curvature."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.choice.chart import Chart
from analysis.choice.objective import Objective
from doe.study.settings import FloatArray, IntArray

# Step of the differences that give curvature, in half ranges; exact for second-order models.
DIFFERENCE = 1e-4


class Ground:
    """What S climbers, each in its chart of dimension d, stand on; l lines, ramps then limits."""

    def __init__(self, objective: Objective, charts: Sequence[Chart]) -> None:
        self.objective = objective
        self.charts = tuple(charts)
        sides = objective.sides + objective.limits
        self._response = np.array([side.response for side in sides])
        self._a = np.array([side.a for side in sides])
        self._c = np.array([side.c for side in sides])
        self.origin = np.stack([chart.origin for chart in charts])
        self.span = np.stack([chart.span for chart in charts])
        self.half = np.stack([chart.half for chart in charts])
        self.log_spaced = charts[0].log_spaced
        # Charts with fewer limits are filled up with limits that always hold: 0 z ≤ 1.
        m = max(len(chart.G) for chart in charts)
        self.G = np.stack([_padded(chart.G, m, 0.0) for chart in charts])
        self.h = np.stack([_padded(chart.h, m, 1.0) for chart in charts])

    def part(self, which: IntArray) -> Ground:
        """Keep some of the climbers."""
        return Ground(self.objective, [self.charts[i] for i in which])

    def lines(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the lines at z, (S, l), and their slopes along z, (S, l, d)."""
        lines, slopes = self._lines_round(z[:, None, :])
        return lines[:, 0], slopes[:, 0]

    def curvature(self, z: FloatArray, prices: FloatArray) -> FloatArray:
        """Give −Σ price · second slopes, (S, d, d), made positive semidefinite.

        Its negative eigenvalues, along which lines bend upwards, are set to 0.
        """
        d = z.shape[1]
        steps = DIFFERENCE * np.eye(d)
        _, slopes = self._lines_round(z[:, None, :] + np.vstack([steps, -steps]))
        bend = np.nan_to_num(slopes[:, :d] - slopes[:, d:]) / (2.0 * DIFFERENCE)
        B = -np.einsum("sl,sjld->sjd", prices, bend)
        values, vectors = np.linalg.eigh((B + B.transpose(0, 2, 1)) / 2.0)
        kept: FloatArray = vectors * np.maximum(values, 0.0)[:, None, :]
        curvature: FloatArray = kept @ vectors.transpose(0, 2, 1)
        return curvature

    def _lines_round(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the lines at c places of each climber, (S, c, d): (S, c, l) and (S, c, l, d)."""
        S, c, d = z.shape
        settings = self.origin[:, None, :] + z @ self.span.transpose(0, 2, 1)
        with np.errstate(all="ignore"):
            half = self.half[:, None, :]
            per_lab = np.where(self.log_spaced, 1.0 / (settings * half), 1.0 / half)
            along = np.nan_to_num(per_lab)[:, :, :, None] * self.span[:, None, :, :]
            values, slopes = self.objective.slopes(
                settings.reshape(S * c, -1), along.reshape(S * c, -1, d)
            )
            lines = self._a + self._c * values[:, self._response]
            line_slopes = self._c[:, None] * slopes[:, self._response]
        return lines.reshape(S, c, -1), line_slopes.reshape(S, c, -1, d)


def _padded(rows: FloatArray, m: int, fill: float) -> FloatArray:
    padded = np.full((m, *rows.shape[1:]), fill)
    padded[: len(rows)] = rows
    return padded
