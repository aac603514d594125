"""Many small concave programmes at once, by a primal-dual interior-point method.

Each of S programmes: maximise Σ φ(r) − g's − ½ s'Bs over steps s (d,) and levels r (q,), subject to
A (s, r) ≤ b. φ is w ln r, continued below a small height ε as its tangent, or w r.

The tangent is the logarithm with help at a price: ln r continued at ε is the greatest of
ln(r + e) − e/ε over e ≥ 0. And the logarithm itself is a barrier whose weight does not shrink: the
limit r + e ≥ 0 with price · room = w where other limits have 0. So each programme is a plain
quadratic one, with a target of its own for each limit.

No limit holds two levels down. So levels and help are eliminated one by one, and the steps alone
are left to solve for.

Source:
    Mehrotra (1992), SIAM Journal on Optimization 2, 575-601, predictor and corrector; Nocedal and
    Wright (2006), Numerical Optimization, 2nd ed., section 16.6.
"""

from __future__ import annotations

from copy import copy
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
        A: Shape (S, m, d + q); a limit holds at most one level, by 1, the same in all programmes.
        b: Shape (S, m).
        inside: Shape (S, d), steps that keep every limit without levels, with room to spare.

    Returns:
        Steps s (S, d) and prices of the limits (S, m). A programme without an exact answer after
        many steps gives its last point: callers compare before they take.
    """
    S, m, _ = A.shape
    d = g.shape[1]
    state = _Programmes.of(gains, g, B, A, b, inside)
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
    """Programmes under way: minimise c'x + ½ s'Bs within limits, price · room = target.

    Unknowns x are the steps s, then r + e for levels by logarithm and r for others, then the help
    e. Limits are the m rows of A, then r + e ≥ 0, then e ≥ 0.

    Attributes:
        dual: Shape (S, d + q + n), slopes that are left over.
        primal: Shape (S, m + 2 n), by how much rooms miss their limits.
        off: Shape (S, m + 2 n), price · room less its target.
    """

    def __init__(
        self,
        shared: _Shared,
        c: FloatArray,
        B: FloatArray,
        A: FloatArray,
        b: FloatArray,
        x: FloatArray,
        room: FloatArray,
        price: FloatArray,
    ) -> None:
        self.shared, self.c, self.B, self.A, self.b = shared, c, B, A, b
        self.x, self.room, self.price = x, room, price
        self._note()

    @classmethod
    def of(
        cls,
        gains: Gains,
        g: FloatArray,
        B: FloatArray,
        A: FloatArray,
        b: FloatArray,
        inside: FloatArray,
    ) -> _Programmes:
        """Write programmes with helps e behind the levels, and the limits r + e ≥ 0, e ≥ 0."""
        S, m, _ = A.shape
        d, q, logs = g.shape[1], len(gains.weight), np.flatnonzero(gains.by_log)
        n = len(logs)
        steps, held = np.ascontiguousarray(A[:, :, :d]), A[0, :, d:]
        target = np.concatenate([np.zeros(m), gains.weight[logs], np.zeros(n)])
        shared = _Shared.of(held, logs, target, d)
        c = np.zeros((S, d + q + n))
        c[:, :d] = g
        c[:, d : d + q] = np.where(gains.by_log, 0.0, -gains.weight)
        c[:, d + q :] = gains.weight[logs] / gains.tangent
        # A start with room everywhere: levels well below what holds them down, help to match.
        over = b - _times(steps, inside)
        r = np.where(held > 0.0, over[:, :, None], np.inf).min(axis=1) - 1.0
        e = np.maximum(1.0, 1.0 - r[:, logs])
        x = np.hstack([inside, r, e])
        x[:, d + logs] += e
        room = np.maximum(np.hstack([over - r @ held.T, x[:, d + logs], e]), 1e-12)
        price = np.maximum(target, FIRST * np.abs(c).max()) / room
        return cls(shared, c, B, steps, b, x, room, price)

    def kept(self, which: BoolArray) -> _Programmes:
        """Keep some of the programmes."""
        kept = copy(self)
        for name in ("c", "B", "A", "b", "x", "room", "price", "dual", "primal", "off"):
            setattr(kept, name, getattr(self, name)[which])
        return kept

    def solved(self) -> BoolArray:
        """Tell which programmes are solved."""
        steep = np.abs(self.dual).max(axis=1)
        off = np.abs(self.off).max(axis=1)
        solved: BoolArray = ((steep < FLAT) & (off < EXACT)) | (off < ROUNDING)
        return solved

    def step(self) -> None:
        """Take one predictor and corrector step in every programme."""
        off = self.off
        gap = np.abs(off).mean(axis=1)
        reduced = _Reduced(self)
        dx, droom, dprice = reduced.newton(-off)
        reach = _reach(self.room, self.price, droom, dprice)[:, None]
        ahead = (self.room + reach * droom) * (self.price + reach * dprice) - self.shared.target
        centring = np.clip(np.abs(ahead).mean(axis=1) / np.maximum(gap, 1e-300), 0.0, 1.0) ** 3
        # The gap may not close long before the slopes do, or rooms stick to their limits.
        kept = np.minimum(gap, BALANCE * np.abs(self.dual).max(axis=1))
        centre = np.maximum(centring * gap, kept)[:, None]
        most = CORRECTION * (self.price * self.room)
        aim = centre - off - np.clip(droom * dprice, -most, most)
        dx, droom, dprice = reduced.newton(aim)
        reach = SHORT_OF_LIMIT * _reach(self.room, self.price, droom, dprice)[:, None]
        stuck = reach < SHORT_STEP
        if stuck.any():
            # Off centre: bring every price · room to one level before going on.
            again = reduced.newton(gap[:, None] - off)
            dx, droom, dprice = (
                np.where(stuck, new, old)
                for new, old in zip(again, (dx, droom, dprice), strict=True)
            )
            reach = SHORT_OF_LIMIT * _reach(self.room, self.price, droom, dprice)[:, None]
        self.x = self.x + reach * dx
        self.room = np.maximum(self.room + reach * droom, 1e-100)
        self.price = np.maximum(self.price + reach * dprice, 1e-100)
        self._note()

    def _note(self) -> None:
        """Note slopes left over, limits missed, and how far price · room is off target."""
        one = self.shared
        m, d = self.A.shape[1:]
        s, r, e = self.x[:, :d], self.x[:, d : one.helps].copy(), self.x[:, one.helps :]
        limits = self.price[:, :m]
        pull = limits @ one.held
        dual = self.c.copy()
        dual[:, :d] += _times(self.B, s) + _combined(limits, self.A)
        dual[:, d : one.helps] += pull
        dual[:, one.logs_of_x] -= self.price[:, m : m + one.n]
        dual[:, one.helps :] -= pull[:, one.logs] + self.price[:, m + one.n :]
        primal = self.room.copy()
        primal[:, m : m + one.n] -= r[:, one.logs]
        primal[:, m + one.n :] -= e
        r[:, one.logs] -= e
        primal[:, :m] += _times(self.A, s) + r @ one.held.T - self.b
        self.dual, self.primal = dual, primal
        self.off = self.price * self.room - one.target


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shared:
    """What all programmes share.

    Attributes:
        held: Shape (m, q), 1 where a limit holds a level down.
        holding: The h limits that hold one.
        target: Shape (m + 2 n,), of every limit.
        n: How many levels count by logarithm.
        logs: Which of the q levels these are.
        logs_of_x: Where they stand among the unknowns.
        logs_of_rows: Where they stand behind the m limits.
        helps: Where help begins among the unknowns.
    """

    held: FloatArray
    holding: IntArray | slice
    target: FloatArray
    n: int
    logs: IntArray | slice
    logs_of_x: IntArray | slice
    logs_of_rows: IntArray | slice
    helps: int

    @classmethod
    def of(cls, held: FloatArray, logs: IntArray, target: FloatArray, d: int) -> _Shared:
        m, q = held.shape
        return cls(
            held=held,
            holding=_slice_of(np.flatnonzero(held.any(axis=1))),
            target=target,
            n=len(logs),
            logs=_slice_of(logs),
            logs_of_x=_slice_of(d + logs),
            logs_of_rows=_slice_of(m + logs),
            helps=d + q,
        )


def _slice_of(places: IntArray) -> IntArray | slice:
    """Write neighbouring places as a slice, which needs no copies."""
    if not len(places):
        return slice(0, 0)
    first, last = int(places[0]), int(places[-1])
    return slice(first, last + 1) if last - first == len(places) - 1 else places


class _Reduced:
    """Newton's equations of programmes as they stand, with all but the steps eliminated.

    Each limit weighs price / room. Those on one level together weigh `weight`, what the worth of
    the level bends included, and their mean slope is a row of its own behind the m limits; the
    limits themselves are counted from that mean, so that no digits go where weights are huge.
    """

    def __init__(self, state: _Programmes) -> None:
        m, d = state.A.shape[1:]
        one = state.shared
        self.state, self.ratio = state, state.price / state.room
        up, down = self.ratio[:, m : m + one.n], self.ratio[:, m + one.n :]
        self.both = up + down
        self.up, self.down = up / self.both, down / self.both
        limits = self.ratio[:, :m]
        weights = np.zeros((len(up), m + one.helps - d, 1))
        weights[:, :m, 0] = limits
        weights[:, one.logs_of_rows, 0] = up * self.down
        self.weight = limits @ one.held + weights[:, m:, 0]
        holds = one.held[one.holding]
        pulling = weights[:, :m][:, one.holding] * state.A[:, one.holding]
        slope = (holds.T @ pulling) / self.weight[:, :, None]
        self.rows = np.concatenate([state.A, slope], axis=1)
        self.rows[:, one.holding] -= holds @ slope
        K = state.B + (self.rows * weights).transpose(0, 2, 1) @ self.rows
        K.reshape(len(K), -1)[:, :: d + 1] *= 1.0 + 1e-14
        self.inverse: FloatArray = np.asarray(np.linalg.inv(K), dtype=np.float64)

    def newton(self, aim: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Step that changes price · room by `aim`: of unknowns, rooms and prices."""
        state, one = self.state, self.state.shared
        m, d = state.A.shape[1:]
        push = self.ratio * state.primal + aim / state.room
        # What is left over of levels and help, once their own limits have pushed.
        right = -state.dual
        right[:, one.logs_of_x] += push[:, m : m + one.n]
        of_level, of_help = right[:, d : one.helps], right[:, one.helps :]
        of_help += push[:, m + one.n :]
        joint = (of_level[:, one.logs] + of_help) / self.both
        of_level[:, one.logs] = of_level[:, one.logs] * self.down - of_help * self.up
        pushes = np.concatenate([push[:, :m], of_level], axis=1)
        ds = _times(self.inverse, right[:, :d] - _combined(pushes, self.rows))
        along = _times(self.rows, ds)
        offset = (of_level - push[:, :m] @ one.held) / self.weight
        level = offset - along[:, m:]
        helps = joint - level[:, one.logs] * self.up
        level[:, one.logs] += helps
        droom = -state.primal
        droom[:, :m] -= along[:, :m] + offset @ one.held.T
        droom[:, m : m + one.n] += level[:, one.logs]
        droom[:, m + one.n :] += helps
        dx = np.concatenate([ds, level, helps], axis=1)
        return dx, droom, (aim - state.price * droom) / state.room


def _combined(weights: FloatArray, rows: FloatArray) -> FloatArray:
    """Add rows up: (S, m) and (S, m, d) to (S, d)."""
    combined: FloatArray = (weights[:, None, :] @ rows)[:, 0]
    return combined


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
