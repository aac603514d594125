"""Many small concave programmes at once, by a primal-dual interior-point method.

Each of S programmes: maximise Σ φ(r) − g's − ½ s'Bs over steps s (d,) and levels r (q,), subject to
A (s, r) ≤ b. φ is w ln r, continued below a small height ε as its tangent, or w r.

The tangent is the logarithm with help at a price: ln r continued at ε is the greatest of
ln(r + e) − e/ε over e ≥ 0. And the logarithm itself is a barrier whose weight does not shrink: the
limit r + e ≥ 0 with price · room = w where other limits have 0. So each programme is a plain
quadratic one, with a target of its own for each limit.

Source:
    Mehrotra (1992), SIAM Journal on Optimization 2, 575-601, predictor and corrector; Nocedal and
    Wright (2006), Numerical Optimization, 2nd ed., section 16.6.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.study.settings import BoolArray, FloatArray, IntArray

MAX_STEPS = 35
# Slopes left over and price · room off target at which one counts as solved; logarithms of
# desirability are near 1. Below the last, rounding errors grow faster than slopes shrink.
FLAT, EXACT, ROUNDING = 1e-6, 1e-9, 1e-11
# Least gap to aim for, as a part of the slopes that are left over.
BALANCE = 1e-4
# Part of the way to the nearest limit that a step may go.
SHORT_OF_LIMIT = 0.995
# The corrector changes no price · room by more than this part of it; a step shorter than the
# next is made again towards the centre.
CORRECTION, SHORT_STEP = 0.5, 0.1
# First price · room of every limit, as a part of the largest weight.
FIRST = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gains:
    """What q levels are worth.

    Attributes:
        weight: Shape (q,), w.
        by_log: Shape (q,), True for w ln r, False for w r.
        tangent: Height ε below which the logarithm goes on as its tangent.
    """

    weight: FloatArray
    by_log: BoolArray
    tangent: float

    def worth(self, r: FloatArray) -> FloatArray:
        """Give Σ φ(r): (..., q) to (...)."""
        logs = np.log(np.maximum(r, self.tangent)) + np.minimum(r / self.tangent - 1.0, 0.0)
        worth: FloatArray = np.where(self.by_log, logs, r) @ self.weight
        return worth


def maximise(
    gains: Gains, g: FloatArray, B: FloatArray, A: FloatArray, b: FloatArray, inside: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve S programmes together.

    Args:
        gains: Worth of the levels.
        g: Shape (S, d).
        B: Shape (S, d, d), positive semidefinite.
        A: Shape (S, m, d + q).
        b: Shape (S, m).
        inside: Shape (S, d), steps that keep every limit without levels, with room to spare.

    Returns:
        Steps s (S, d) and prices of the limits (S, m). A programme without an exact answer after
        many steps gives its last point: callers compare before they take.
    """
    S, m, _ = A.shape
    d = g.shape[1]
    logs = np.flatnonzero(gains.by_log)
    state = _Programmes.of(gains, g, B, A, b, inside, logs)
    s, prices = np.zeros((S, d)), np.zeros((S, m))
    left = np.arange(S)
    for _ in range(MAX_STEPS):
        state.step()
        done = state.solved()
        s[left], prices[left] = state.x[:, :d], state.price[:, :m]
        if done.all():
            break
        if done.any():
            state = state.kept(~done)
            left = left[~done]
    return s, prices


class _Programmes:
    """Programmes under way: minimise c'x + ½ x'Qx, A x + room = b, price · room = target."""

    def __init__(
        self,
        c: FloatArray,
        Q: FloatArray,
        A: FloatArray,
        b: FloatArray,
        target: FloatArray,
        x: FloatArray,
        room: FloatArray,
        price: FloatArray,
    ) -> None:
        self.c, self.Q, self.A, self.b, self.target = c, Q, A, b, target
        self.x, self.room, self.price = x, room, price
        self.At = np.ascontiguousarray(A.transpose(0, 2, 1))

    @classmethod
    def of(
        cls,
        gains: Gains,
        g: FloatArray,
        B: FloatArray,
        A: FloatArray,
        b: FloatArray,
        inside: FloatArray,
        logs: IntArray,
    ) -> _Programmes:
        """Write programmes with helps e behind the levels, and the limits r + e ≥ 0, e ≥ 0."""
        S, m, _ = A.shape
        d, q, n_logs = g.shape[1], len(gains.weight), len(logs)
        n = d + q + n_logs
        helps = np.arange(d + q, n)
        # Columns are now s, r + e, e: a limit on r is one on (r + e) − e.
        full = np.zeros((S, m + 2 * n_logs, n))
        full[:, :m, : d + q] = A
        full[:, :m, helps] = -A[:, :, d + logs]
        full[:, np.arange(m, m + n_logs), d + logs] = -1.0
        full[:, np.arange(m + n_logs, m + 2 * n_logs), helps] = -1.0
        c = np.zeros((S, n))
        c[:, :d] = g
        c[:, d : d + q] = np.where(gains.by_log, 0.0, -gains.weight)
        c[:, helps] = gains.weight[logs] / gains.tangent
        Q = np.zeros((S, n, n))
        Q[:, :d, :d] = B
        target = np.zeros(m + 2 * n_logs)
        target[m : m + n_logs] = gains.weight[logs]
        # A start with room everywhere: levels well below what holds them down, help to match.
        x = np.zeros((S, n))
        x[:, :d] = inside
        over = b - _times(A[:, :, :d], inside)
        held = A[:, :, d:] > 0.0
        r = np.where(held, over[:, :, None], np.inf).min(axis=1) - 1.0
        help_ = np.maximum(1.0, 1.0 - r[:, logs])
        x[:, d : d + q] = r
        x[:, d + logs] += help_
        x[:, helps] = help_
        ends = np.hstack([b, np.zeros((S, 2 * n_logs))])
        room = np.maximum(ends - _times(full, x), 1e-12)
        price = np.maximum(target, FIRST * np.abs(c).max()) / room
        return cls(c, Q, full, ends, target, x, room, price)

    def kept(self, which: BoolArray) -> _Programmes:
        """Keep some of the programmes."""
        return _Programmes(
            self.c[which],
            self.Q[which],
            self.A[which],
            self.b[which],
            self.target,
            self.x[which],
            self.room[which],
            self.price[which],
        )

    def solved(self) -> BoolArray:
        """Tell which programmes are solved."""
        dual, _ = self._residuals()
        steep = np.abs(dual).max(axis=1)
        off = np.abs(self.price * self.room - self.target).max(axis=1)
        solved: BoolArray = ((steep < FLAT) & (off < EXACT)) | (off < ROUNDING)
        return solved

    def step(self) -> None:
        """Take one predictor and corrector step in every programme."""
        dual, primal = self._residuals()
        off = self.price * self.room - self.target
        gap = np.abs(off).mean(axis=1)
        ratio = self.price / self.room
        K = self.Q + (self.At * ratio[:, None, :]) @ self.A
        diagonal = np.arange(K.shape[1])
        K[:, diagonal, diagonal] *= 1.0 + 1e-14
        inverse: FloatArray = np.asarray(np.linalg.inv(K), dtype=np.float64)
        dx, droom, dprice = self._newton(inverse, ratio, dual, primal, -off)
        reach = _reach(self.room, self.price, droom, dprice)[:, None]
        ahead = (self.room + reach * droom) * (self.price + reach * dprice) - self.target
        centring = np.clip(np.abs(ahead).mean(axis=1) / np.maximum(gap, 1e-300), 0.0, 1.0) ** 3
        # The gap may not close long before the slopes do, or rooms stick to their limits.
        kept = np.minimum(gap, BALANCE * np.abs(dual).max(axis=1))
        centre = np.maximum(centring * gap, kept)[:, None]
        most = CORRECTION * (self.price * self.room)
        aim = centre - off - np.clip(droom * dprice, -most, most)
        dx, droom, dprice = self._newton(inverse, ratio, dual, primal, aim)
        reach = SHORT_OF_LIMIT * _reach(self.room, self.price, droom, dprice)[:, None]
        stuck = reach < SHORT_STEP
        if stuck.any():
            # Off centre: bring every price · room to one level before going on.
            again = self._newton(inverse, ratio, dual, primal, gap[:, None] - off)
            dx, droom, dprice = (
                np.where(stuck, new, old)
                for new, old in zip(again, (dx, droom, dprice), strict=True)
            )
            reach = SHORT_OF_LIMIT * _reach(self.room, self.price, droom, dprice)[:, None]
        self.x = self.x + reach * dx
        self.room = np.maximum(self.room + reach * droom, 1e-100)
        self.price = np.maximum(self.price + reach * dprice, 1e-100)

    def _residuals(self) -> tuple[FloatArray, FloatArray]:
        dual = self.c + _times(self.Q, self.x) + _times(self.At, self.price)
        primal = _times(self.A, self.x) + self.room - self.b
        return dual, primal

    def _newton(
        self,
        inverse: FloatArray,
        ratio: FloatArray,
        dual: FloatArray,
        primal: FloatArray,
        aim: FloatArray,
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Newton step that changes price · room by `aim`; rooms and prices are eliminated."""
        right = -dual - _times(self.At, ratio * primal + aim / self.room)
        dx = _times(inverse, right)
        droom = -primal - _times(self.A, dx)
        dprice = (aim - self.price * droom) / self.room
        return dx, droom, dprice


def _times(matrices: FloatArray, vectors: FloatArray) -> FloatArray:
    product: FloatArray = (matrices @ vectors[:, :, None])[:, :, 0]
    return product


def _reach(
    room: FloatArray, price: FloatArray, droom: FloatArray, dprice: FloatArray
) -> FloatArray:
    """How much of a step keeps rooms and prices positive, 0..1, shape (S,)."""
    shrink = np.maximum(-droom / room, -dprice / price).max(axis=1)
    reach: FloatArray = 1.0 / np.maximum(shrink, 1.0)
    return reach
