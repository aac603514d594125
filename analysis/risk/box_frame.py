"""What a tolerance box is laid in: the settings that can be moved, each on its own scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.risk.scatter import Scatter
from analysis.risk.smooth import SmoothChance
from analysis.surface.lines import own_range
from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.model.region import Region
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoxGround:
    """What a box is laid in.

    Attributes:
        chance: The probability, few draws, for searching.
        fine: The same with more draws, for telling.
        region: Settings that the brief allows.
        scatter: What the plant holds.
        noise: Columns of the noise factors.
        seed: Of the points that are tried.
    """

    chance: SmoothChance
    fine: SmoothChance
    region: Region
    scatter: Scatter
    noise: tuple[int, ...]
    seed: int = 1

    @property
    def coding(self) -> Coding:
        """The axes."""
        return self.region.coding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoxFrame:
    """Settings that the box moves, on their own scales: u = 0 at the choice, ± in ranges.

    Attributes:
        coding: The axes.
        around: The choice, shape (k,).
        columns: Shape (d,), which settings.
        centre: Shape (d,), the choice on each scale (ln where spacing is log).
        span: Shape (d,), width of the range on it.
        low: Shape (d,), furthest the box may go down, in ranges, 0 or below.
        high: Shape (d,).
    """

    coding: Coding
    around: FloatArray
    columns: tuple[int, ...]
    centre: FloatArray
    span: FloatArray
    low: FloatArray
    high: FloatArray

    @classmethod
    def of(cls, ground: BoxGround, around: FloatArray) -> BoxFrame:
        """Frame what can be moved from a choice, shape (k,)."""
        coding = ground.coding
        columns, centre, span, low, high = [], [], [], [], []
        for j, axis in enumerate(coding.axes):
            ends = None if j in ground.noise else own_range(coding, around, j)
            if ends is None or getattr(axis, "levels", None) or ends[1] <= ends[0]:
                continue
            log = is_log_spaced(coding, j)
            a, b, at = (float(np.log(x) if log else x) for x in (*ends, around[j]))
            columns.append(j)
            centre.append(at)
            span.append(b - a)
            low.append(min((a - at) / (b - a), 0.0))
            high.append(max((b - at) / (b - a), 0.0))
        arrays = [np.array(x, dtype=np.float64) for x in (centre, span, low, high)]
        return cls(
            coding=coding, around=around, columns=tuple(columns),
            centre=arrays[0], span=arrays[1], low=arrays[2], high=arrays[3],
        )  # fmt: skip

    def settings(self, u: FloatArray) -> FloatArray:
        """Turn places in the frame, shape (n, d), into settings, (n, k), shares adding up."""
        values = np.repeat(self.around[None, :], len(u), axis=0)
        for i, j in enumerate(self.columns):
            scaled = self.centre[i] + u[:, i] * self.span[i]
            values[:, j] = np.exp(scaled) if is_log_spaced(self.coding, j) else scaled
        return self.closed(values)

    def closed(self, values: FloatArray) -> FloatArray:
        """Let additives make room: shares to the sum that they have at the choice."""
        shares = [j for j, axis in enumerate(self.coding.axes) if isinstance(axis, ShareAxis)]
        if shares:
            total = values[:, shares].sum(axis=1, keepdims=True)
            whole = float(self.around[shares].sum())
            # Nothing is divided where nothing moved: rounding would leave the region's edge.
            moved = np.abs(total - whole) > 1e-12
            values[:, shares] = np.where(
                moved, values[:, shares] / np.maximum(total, 1e-12) * whole, values[:, shares]
            )
        return values

    def lab(self, ends: FloatArray) -> FloatArray:
        """Turn ends in the frame, shape (2, d), into lab units, (2, d), no room made."""
        scaled: FloatArray = self.centre + ends * self.span
        by_log = np.array([is_log_spaced(self.coding, j) for j in self.columns], dtype=np.bool_)
        found: FloatArray = np.where(by_log, np.exp(np.minimum(scaled, 700.0)), scaled)
        return found

    def from_lab(self, ends: FloatArray) -> FloatArray:
        """Turn ends in lab units, shape (2, d), into the frame."""
        by_log = np.array([is_log_spaced(self.coding, j) for j in self.columns], dtype=np.bool_)
        scaled = np.where(by_log, np.log(np.where(by_log, ends, 1.0)), ends)
        found: FloatArray = (scaled - self.centre) / self.span
        return found


def is_log_spaced(coding: Coding, j: int) -> bool:
    """Tell whether a setting is coded by its logarithm."""
    axis = coding.axes[j]
    return isinstance(axis, NumericAxis) and axis.spacing == "log"


def held_by_plant(scatter: Scatter, j: int, at: float) -> float | None:
    """Give what the plant holds a setting to, ± 2 standard deviations; None where none is stated.

    An additive's weighing error is taken of its share.
    """
    own = next((one for one in scatter.sources if one.axis == j and one.kind == "setting"), None)
    if own is not None:
        return 2.0 * own.sd
    name = f"weighing of {scatter.coding.axes[j].name}"
    weighed = next((one for one in scatter.sources if one.name == name), None)
    return 2.0 * weighed.sd / 100.0 * at if weighed is not None and at > 0.0 else None
