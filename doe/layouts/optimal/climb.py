"""The algebra of exchange for many plans at once: take a unit out, look along a line, put it back.

One unit moves at a time: a run, or all runs of a batch in the settings that the batch holds. With
the unit's runs taken out, the information is Q^-1, and with them in again Q^-1 + Γ'Γ, where
Γ = root(P_RR) (F_R + P_RR^-1 P_R,rest F_rest). Along a line in the settings F_R is a polynomial of
low degree, known from its values at a few nodes; so a criterion is known at any point of the line
from a few quadratic forms, and the line can be searched closely at no cost. Only the columns that
hold the moving setting change, so the forms are small.

Source:
    Meyer and Nachtsheim (1995), Technometrics 37, 60-69 (coordinate exchange); Jones and Goos
    (2007), Applied Statistics 56, 347-364 (with batches).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from doe.layouts.optimal.goal import Goal, Part
from doe.study.settings import FloatArray, IntArray

# Information added in the search, in runs spread evenly over the region, so that a plan of
# deficient rank can climb; it moves no optimum by more than this part.
RIDGE = 1e-7
# Points of a line looked at first, ends included.
GRID = 9
_CLOSER = np.array([-0.75, -0.5, -0.25, 0.25, 0.5, 0.75])
_TINY = 1e-300


@dataclass(slots=True, kw_only=True, eq=False)
class Knowledge:
    """One view of s plans.

    Attributes:
        B: Inverse information with its ridge, shape (s, p, p).
        G: B L B for each part that is a trace, shape (s, p, p); None for a determinant.
        trace: trace(B L) for each such part, shape (s,).
    """

    B: FloatArray
    G: list[FloatArray | None]
    trace: list[FloatArray | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Unit:
    """What one unit's move needs of one view.

    Attributes:
        root: Shape (r, u), root'root = P_RR over the unit's u runs.
        reach: Shape (u, n), P_RR^-1 P_R,rest, zero at the unit's own runs; None if all is zero.
    """

    root: FloatArray
    reach: FloatArray | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Opened:
    """One view with a unit's runs taken out, for every plan.

    Attributes:
        root: See `Unit`.
        shift: P_RR^-1 P_R,rest F_rest, shape (s, u, p); zero as a number where nothing is shared.
        Q: Inverse information without the unit, shape (s, p, p).
        parts: The view's criteria.
        H: Q L Q for each trace, shape (s, p, p); None for a determinant.
        trace: trace(Q L), shape (s,).
    """

    root: FloatArray
    shift: FloatArray | float
    Q: FloatArray
    parts: tuple[Part, ...]
    H: tuple[FloatArray | None, ...]
    trace: tuple[FloatArray | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """Quadratic forms of the rows at d nodes, from which any point of a line follows.

    Attributes:
        forms: For each view W Q W', and W H W' for each part, shape (s, d, r, d, r).
        views: The unit's views.
    """

    forms: tuple[tuple[FloatArray, tuple[FloatArray | None, ...]], ...]
    views: Sequence[Opened]


def know(F: FloatArray, goal: Goal) -> list[Knowledge]:
    """Work everything out anew, which clears what rounding has piled up; F is (s, n, p)."""
    known = []
    for view in goal.views:
        M = F.transpose(0, 2, 1) @ (view.P @ F) + view.prior
        M += RIDGE * F.shape[1] * goal.moments
        B = _inverse(M)
        B = (B + B.transpose(0, 2, 1)) / 2
        G: list[FloatArray | None] = []
        trace: list[FloatArray | None] = []
        for part in view.parts:
            G.append(None if part.trace is None else B @ part.trace @ B)
            trace.append(None if part.trace is None else np.einsum("sij,ij->s", B, part.trace))
        known.append(Knowledge(B=B, G=G, trace=trace))
    return known


def scores(known: Sequence[Knowledge], goal: Goal) -> FloatArray:
    """Judge every plan, ridge included: the weighted sum of logs, shape (s,)."""
    total = np.zeros(len(known[0].B))
    for view, own in zip(goal.views, known, strict=True):
        for part, trace in zip(view.parts, own.trace, strict=True):
            if trace is None:
                total += part.weight * np.linalg.slogdet(own.B)[1] / own.B.shape[1]
            else:
                total += part.weight * np.log(np.maximum(trace, _TINY))
    return total


def make_unit(P: FloatArray, rows: IntArray) -> Unit:
    """Prepare the moves of one unit for one view."""
    values, vectors = np.linalg.eigh(P[np.ix_(rows, rows)])
    # Where fixed blocks take the mean of a whole unit away, that direction tells nothing.
    kept = values > 1e-10 * max(float(values[-1]), _TINY)
    root = np.sqrt(values[kept])[:, None] * vectors[:, kept].T
    rest = P[rows].copy()
    rest[:, rows] = 0.0
    reach = ((vectors[:, kept] / values[kept]) @ vectors[:, kept].T) @ rest
    return Unit(root=root, reach=reach if np.abs(rest).max() > 1e-14 else None)


def taken_out(
    known: Sequence[Knowledge], F: FloatArray, goal: Goal, rows: IntArray, units: Sequence[Unit]
) -> list[Opened]:
    """Take a unit's runs out of every plan; F is (s, n, p)."""
    views = []
    for view, unit, own in zip(goal.views, units, known, strict=True):
        shift: FloatArray | float = 0.0 if unit.reach is None else unit.reach @ F
        old = unit.root @ (F[:, rows] + shift)
        V = own.B @ old.transpose(0, 2, 1)
        inner = np.eye(len(unit.root)) - old @ V
        K = 1.0 / np.maximum(inner, 1e-14) if len(unit.root) == 1 else _inverse(inner)
        VK = V @ K
        H: list[FloatArray | None] = []
        trace: list[FloatArray | None] = []
        for G, whole in zip(own.G, own.trace, strict=True):
            if G is None or whole is None:
                H.append(None)
                trace.append(None)
                continue
            Y = G @ old.transpose(0, 2, 1)
            S = old @ Y
            H.append(_symmetric_update(G, V, Y @ K + 0.5 * VK @ (S @ K)))
            trace.append(whole + np.einsum("sij,sji->s", K, S))
        views.append(
            Opened(root=unit.root, shift=shift, Q=own.B + VK @ V.transpose(0, 2, 1),
                   parts=view.parts, H=tuple(H), trace=tuple(trace))
        )  # fmt: skip
    return views


def put_back(
    known: Sequence[Knowledge],
    F: FloatArray,
    rows: IntArray,
    units: Sequence[Unit],
    new: FloatArray,
) -> None:
    """Put a unit's runs in again with new rows, shape (s, u, p); changes `known` and F in place."""
    for unit, own in zip(units, known, strict=True):
        shift: FloatArray | float = 0.0 if unit.reach is None else unit.reach @ F
        U = np.concatenate([unit.root @ (new + shift), unit.root @ (F[:, rows] + shift)], axis=1)
        r = len(unit.root)
        # M + Γ₁'Γ₁ − Γ₀'Γ₀ = M + U'CU with C = diag(1, −1); Woodbury on both at once, since taking
        # out alone would lose the digits of a saturated plan.
        C = np.diag(np.concatenate([np.ones(r), -np.ones(r)]))
        V = own.B @ U.transpose(0, 2, 1)
        K = -_inverse(C + U @ V)
        VK = V @ K
        for i, (G, trace) in enumerate(zip(own.G, own.trace, strict=True)):
            if G is None or trace is None:
                continue
            Y = G @ U.transpose(0, 2, 1)
            S = U @ Y
            own.G[i] = _symmetric_update(G, V, Y @ K + 0.5 * VK @ (S @ K))
            own.trace[i] = trace + np.einsum("sij,sji->s", K, S)
        own.B = own.B + VK @ V.transpose(0, 2, 1)
    F[:, rows] = new


def make_line(views: Sequence[Opened], F: FloatArray, columns: IntArray, nodes: FloatArray) -> Line:
    """Work the quadratic forms of a line out.

    Args:
        views: The unit's views.
        F: The unit's rows now, shape (s, u, p).
        columns: The c columns that change.
        nodes: Those columns at d nodes, shape (s, d, u, c).
    """
    step = nodes - F[:, None, :, columns]
    s, d, u, c = step.shape
    forms = []
    for view in views:
        r = len(view.root)
        now = view.root @ (F + view.shift)
        D = step if u == 1 == r and view.root[0, 0] == 1.0 else view.root @ step
        D = D.reshape(s, d * r, c)
        forms.append(
            (
                _form(view.Q, now, D, columns, (s, d, r)),
                tuple(None if H is None else _form(H, now, D, columns, (s, d, r)) for H in view.H),
            )
        )
    return Line(forms=tuple(forms), views=views)


def line_scores(line: Line, weights: FloatArray) -> FloatArray:
    """Judge points of a line, up to a constant: each a weighted sum of the nodes.

    Args:
        line: The line.
        weights: Shape (s or 1, t, d).

    Returns:
        Shape (s, t).
    """
    total: FloatArray | float = 0.0
    for view, (q, forms) in zip(line.views, line.forms, strict=True):
        E = _at(q, weights)
        r = E.shape[2]
        E[:, :, np.arange(r), np.arange(r)] += 1.0
        for part, form, trace in zip(view.parts, forms, view.trace, strict=True):
            if form is None or trace is None:
                size = E[:, :, 0, 0] if r == 1 else np.linalg.det(E)
                total = total - part.weight / view.Q.shape[1] * np.log(np.maximum(size, _TINY))
                continue
            h = _at(form, weights)
            if r == 1:
                lost = h[:, :, 0, 0] / E[:, :, 0, 0]
            else:
                lost = np.trace(np.linalg.solve(E, h), axis1=2, axis2=3)
            left = np.maximum(trace[:, None] - lost, 1e-12 * np.abs(trace[:, None]))
            total = total + part.weight * np.log(left)
    return np.asarray(total)


def best_on_line(
    line: Line, now: FloatArray, d: int, levels: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Find the best point of each line.

    Args:
        line: Lines from 0 to 1.
        now: Where each plan stands on its line, shape (s,).
        d: Number of nodes.
        levels: How often to look closer round the best point.

    Returns:
        Place of the best point, shape (s,), its score, and the score where the plan stands.
    """
    rows = np.arange(len(now))
    at = np.concatenate([now[:, None], np.broadcast_to(_grid(), (len(now), GRID))], axis=1)
    found = line_scores(line, basis_at(at, d))
    here = found[:, 0]
    best = found.argmin(axis=1)
    place, value = at[rows, best], found[rows, best]
    width = 1.0 / (GRID - 1)
    for _ in range(levels):
        at = np.minimum(np.maximum(place[:, None] + width * _CLOSER, 0.0), 1.0)
        found = line_scores(line, basis_at(at, d))
        best = found.argmin(axis=1)
        closer = found[rows, best] < value
        place = np.where(closer, at[rows, best], place)
        value = np.where(closer, found[rows, best], value)
        width *= 0.25
    return place, value, here


def basis_at(at: FloatArray, d: int) -> FloatArray:
    """Give the Lagrange weights of d nodes, evenly from 0 to 1, at some places, shape (s, t, d)."""
    powers = np.empty((*at.shape, d))
    powers[..., 0] = 1.0
    for i in range(1, d):
        powers[..., i] = powers[..., i - 1] * at
    weights: FloatArray = powers @ _vandermonde_inverse(d)
    return weights


@lru_cache(maxsize=16)
def nodes_of(d: int) -> FloatArray:
    """Give d nodes, evenly from 0 to 1; one node for what does not change."""
    return np.linspace(0.0, 1.0, d) if d > 1 else np.zeros(1)


@lru_cache(maxsize=1)
def _grid() -> FloatArray:
    return np.linspace(0.0, 1.0, GRID)


@lru_cache(maxsize=16)
def _vandermonde_inverse(d: int) -> FloatArray:
    return np.linalg.inv(np.vander(nodes_of(d), d, increasing=True)).astype(np.float64)


def _inverse(A: FloatArray) -> FloatArray:
    """Invert small matrices; one that is singular is moved off by a hair, to be worked out anew."""
    try:
        return np.linalg.inv(A).astype(np.float64)
    except np.linalg.LinAlgError:
        size = np.maximum(np.abs(A).max(axis=(-2, -1), keepdims=True), _TINY)
        return np.linalg.inv(A + 1e-9 * size * np.eye(A.shape[-1])).astype(np.float64)


def _symmetric_update(G: FloatArray, V: FloatArray, Z: FloatArray) -> FloatArray:
    """Give G + V Z' + Z V', shapes (s, p, p) and (s, p, r)."""
    part = V @ Z.transpose(0, 2, 1)
    updated: FloatArray = G + part
    updated += part.transpose(0, 2, 1)
    return updated


def _form(
    A: FloatArray,
    now: FloatArray,
    D: FloatArray,
    columns: IntArray,
    shape: tuple[int, int, int],
) -> FloatArray:
    """Give (now + D_a) A (now + D_b)' for all pairs of nodes, shape (s, d, r, d, r)."""
    s, d, r = shape
    half = now @ A
    level = half @ now.transpose(0, 2, 1)
    # D_a A now' for each node, then D_a A D_b' in the columns that change.
    cross = D @ half[:, :, columns].transpose(0, 2, 1)
    small = A[:, columns[:, None], columns[None, :]]
    form = (D @ small @ D.transpose(0, 2, 1)).reshape(s, d, r, d, r)
    crossed = cross.reshape(s, d, r, r)
    form += crossed[:, :, :, None, :]
    form += crossed.transpose(0, 3, 1, 2)[:, None, :, :, :]
    form += level[:, None, :, None, :]
    return np.asarray(form)


def _at(form: FloatArray, weights: FloatArray) -> FloatArray:
    """Give Σ w_a w_b form[a, :, b, :] at every point, shape (s, t, r, r)."""
    s, d, r = form.shape[:3]
    if r == 1:
        half = weights @ form.reshape(s, d, d)
        return np.asarray((half * weights).sum(axis=2))[:, :, None, None]
    half = (weights @ form.reshape(s, d, r * d * r)).reshape(s, -1, r, d, r)
    wide = np.broadcast_to(weights, (s, *weights.shape[1:]))
    return np.asarray(np.einsum("strdq,std->strq", half, wide))
