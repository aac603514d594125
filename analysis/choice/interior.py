"""Many small concave programmes at once, by a primal-dual interior-point method.

Each of S programmes: maximise Σ φ(r) − g's − ½ s'Bs over steps s (d,) and levels r (q,), subject to
A (s, r) ≤ b. φ is w ln r, continued below a small height as its tangent, or w r.

Source:
    Mehrotra (1992), SIAM Journal on Optimization 2, 575-601, predictor and corrector; Nocedal and
    Wright (2006), Numerical Optimization, 2nd ed., sections 14.2 and 16.6.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.study.settings import BoolArray, FloatArray

MAX_STEPS = 60
# Complementarity and residuals at which a programme counts as solved.
EXACT = 1e-11
# Part of the way to the nearest limit that a step may go.
SHORT_OF_LIMIT = 0.995


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gains:
    """What q levels are worth.

    Attributes:
        weight: Shape (q,), w.
        by_log: Shape (q,), True for w ln r, False for w r.
        tangent: Height below which the logarithm goes on as its tangent.
    """

    weight: FloatArray
    by_log: BoolArray
    tangent: float

    def worth(self, r: FloatArray) -> FloatArray:
        """Give Σ φ(r): (..., q) to (...)."""
        low = np.maximum(r, self.tangent)
        logs = np.log(low) + np.minimum(r / self.tangent - 1.0, 0.0)
        worth: FloatArray = np.where(self.by_log, logs, r) @ self.weight
        return worth

    def slope(self, r: FloatArray) -> FloatArray:
        """Give φ'(r), same shape."""
        slope: FloatArray = self.weight * np.where(
            self.by_log, 1.0 / np.maximum(r, self.tangent), 1.0
        )
        return slope

    def bend(self, r: FloatArray) -> FloatArray:
        """Give −φ''(r), same shape; 0 on the tangent."""
        curved = self.by_log & (r > self.tangent)
        bend: FloatArray = self.weight * np.where(
            curved, 1.0 / np.maximum(r, self.tangent) ** 2, 0.0
        )
        return bend


def maximise(
    gains: Gains, g: FloatArray, B: FloatArray, A: FloatArray, b: FloatArray, x: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve S programmes together.

    Args:
        gains: Worth of the levels.
        g: Shape (S, d).
        B: Shape (S, d, d), positive semidefinite.
        A: Shape (S, m, d + q).
        b: Shape (S, m).
        x: Shape (S, d + q), first guess; need not be feasible.

    Returns:
        Steps and levels (S, d + q), and multipliers of the limits (S, m).
    """
    d = g.shape[1]
    room = np.maximum(b - np.einsum("smn,sn->sm", A, x), 1e-2)
    price = 1.0 / room * np.clip(np.abs(gains.slope(x[:, d:])).max(initial=1e-2), 1e-2, 1.0)
    At = A.transpose(0, 2, 1)
    for _ in range(MAX_STEPS):
        slope = _slope(gains, g, B, x, d)
        dual = slope + np.einsum("snm,sm->sn", At, price)
        primal = np.einsum("smn,sn->sm", A, x) + room - b
        gap = (price * room).mean(axis=1)
        if max(np.abs(dual).max(), np.abs(primal).max(), gap.max()) < EXACT:
            break
        ratio = price / room
        K = (At * ratio[:, None, :]) @ A
        K[:, :d, :d] += B
        levels = np.arange(d, x.shape[1])
        K[:, levels, levels] += gains.bend(x[:, d:])
        diagonal = np.arange(x.shape[1])
        K[:, diagonal, diagonal] += 1e-14 * np.abs(K).max(axis=(1, 2))[:, None]
        parts = (At, A, K, ratio, dual, primal)
        dx, droom, dprice = _step(*parts, room, price, -price * room)
        reach = _reach(room, price, droom, dprice)[:, None]
        left = ((room + reach * droom) * (price + reach * dprice)).mean(axis=1) / gap
        centring = np.clip(left, 0.0, 1.0) ** 3
        aim = (centring * gap)[:, None] - price * room - droom * dprice
        dx, droom, dprice = _step(*parts, room, price, aim)
        reach = SHORT_OF_LIMIT * _reach(room, price, droom, dprice)[:, None]
        x = x + reach * dx
        room = np.maximum(room + reach * droom, 1e-300)
        price = np.maximum(price + reach * dprice, 1e-300)
    return x, price


def _slope(gains: Gains, g: FloatArray, B: FloatArray, x: FloatArray, d: int) -> FloatArray:
    """Slope of what is minimised, −Σ φ(r) + g's + ½ s'Bs."""
    along = g + np.einsum("sij,sj->si", B, x[:, :d])
    return np.hstack([along, -gains.slope(x[:, d:])])


def _step(
    At: FloatArray,
    A: FloatArray,
    K: FloatArray,
    ratio: FloatArray,
    dual: FloatArray,
    primal: FloatArray,
    room: FloatArray,
    price: FloatArray,
    aim: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Newton step to price · room + aim-wise change, with rooms and prices eliminated."""
    right = -dual - np.einsum("snm,sm->sn", At, ratio * primal + aim / room)
    dx = np.linalg.solve(K, right[:, :, None])[:, :, 0]
    droom = -primal - np.einsum("smn,sn->sm", A, dx)
    dprice = (aim - price * droom) / room
    return dx, droom, dprice


def _reach(
    room: FloatArray, price: FloatArray, droom: FloatArray, dprice: FloatArray
) -> FloatArray:
    """How much of a step keeps rooms and prices positive, 0..1, shape (S,)."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        rooms = np.where(droom < 0.0, -room / droom, np.inf).min(axis=1)
        prices = np.where(dprice < 0.0, -price / dprice, np.inf).min(axis=1)
    reach: FloatArray = np.minimum(1.0, np.minimum(rooms, prices))
    return reach
