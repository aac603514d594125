"""The algebra of exchanging one run in many plans at once.

With run i's row x, the precision P of all runs and s = P_ii^-1 P_i,rest F_rest, the information of
a plan is its rest plus a a' with a = √P_ii (x + s). Putting a row y in the run's place replaces a
by b = √P_ii (y + s), so that a criterion follows from a few inner products; runs that share
nothing have s = 0 and P_ii = 1.

Source:
    Fedorov (1972), Theory of Optimal Experiments, chapter 3 (the change of |X'X| by an exchange);
    for traces by the identity of Sherman, Morrison and Woodbury.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from doe.layouts.optimal.climb import Knowledge
from doe.layouts.optimal.goal import Goal, View
from doe.study.settings import FloatArray, IntArray

# A determinant below this is that of a plan that tells nothing.
_LEAST = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RowOpened:
    """One view of s plans, with a run about to be exchanged.

    Attributes:
        root: √P_ii.
        shift: s of the module's first paragraph, shape (s, p); None where the run shares nothing.
        Ba: B a, shape (s, p).
        Ga: G a for each trace.
        q: a'B a, shape (s,).
        g: a'G a for each trace.
    """

    root: float
    shift: FloatArray | None
    Ba: FloatArray
    Ga: tuple[FloatArray | None, ...]
    q: FloatArray
    g: tuple[FloatArray | None, ...]


@dataclass(slots=True, kw_only=True, eq=False)
class Forms:
    """c'B c of every candidate, and c'G c for each trace, shape (s, g) each; kept up to date."""

    q: FloatArray
    g: list[FloatArray | None]


def shares_nothing(view: View) -> bool:
    """Tell whether the runs of a view are independent of each other."""
    return bool(np.abs(view.P - np.diag(np.diag(view.P))).max() < 1e-14)


def open_row(
    known: Sequence[Knowledge], F: FloatArray, goal: Goal, i: int, independent: bool
) -> list[RowOpened]:
    """Get a run ready for exchange in every plan; F is (s, n, p)."""
    opened = []
    for view, own in zip(goal.views, known, strict=True):
        Pii = float(view.P[i, i])
        root = Pii**0.5
        a, shift = F[:, i], None
        if not independent:
            reach = view.P[i] / Pii
            reach = np.where(np.arange(len(reach)) == i, 0.0, reach)
            shift = np.asarray(reach @ F)
            a = a + shift
        if root != 1.0:
            a = root * a
        Ba = _times(own.B, a)
        Ga = tuple(None if G is None else _times(G, a) for G in own.G)
        opened.append(
            RowOpened(
                root=root, shift=shift, Ba=Ba, Ga=Ga, q=(Ba * a).sum(axis=1),
                g=tuple(None if v is None else (v * a).sum(axis=1) for v in Ga),
            )
        )  # fmt: skip
    return opened


def changes(
    known: Sequence[Knowledge],
    goal: Goal,
    opened: Sequence[RowOpened],
    rows: FloatArray,
    forms: Sequence[Forms] | None = None,
) -> FloatArray:
    """Tell how the score changes with each row in the run's place, shape (s, g); negative is good.

    Args:
        known: Views of the plans.
        goal: What is searched for.
        opened: The run.
        rows: Working rows, shape (g, p) for all plans alike, or (s, g, p).
        forms: Forms of these rows where they are kept.
    """
    total: FloatArray | float = 0.0
    for v, (view, own, out) in enumerate(zip(goal.views, known, opened, strict=True)):
        kept = None if forms is None else forms[v]
        root = out.root
        r = _with_each(rows, out.Ba)
        q: FloatArray = _form(rows, own.B) if kept is None else kept.q
        if out.shift is not None:
            Bs = _times(own.B, out.shift)
            q = q + 2.0 * _with_each(rows, Bs) + (Bs * out.shift).sum(axis=1)[:, None]
            r = r + (out.Ba * out.shift).sum(axis=1)[:, None]
        if root != 1.0:
            q, r = root * root * q, root * r
        without = (1.0 - out.q)[:, None]
        one = q + 1.0
        D = one * without
        D += r * r
        np.maximum(D, _LEAST, out=D)
        for t, part in enumerate(view.parts):
            G, Ga, trace, ga = own.G[t], out.Ga[t], own.trace[t], out.g[t]
            if G is None or Ga is None or trace is None or ga is None:
                total = total - part.weight / own.B.shape[1] * np.log(D)
                continue
            form = None if kept is None else kept.g[t]
            g = _form(rows, G) if form is None else form
            rho = _with_each(rows, Ga)
            if out.shift is not None:
                Gs = _times(G, out.shift)
                g = g + 2.0 * _with_each(rows, Gs) + (Gs * out.shift).sum(axis=1)[:, None]
                rho = rho + (Ga * out.shift).sum(axis=1)[:, None]
            if root != 1.0:
                g, rho = root * root * g, root * rho
            gain = g * without
            rho = rho * r
            rho *= 2.0
            gain += rho
            one_g = one * ga[:, None]
            gain -= one_g
            gain /= D
            gain /= trace[:, None]
            # log of the trace that is left, as a part of the trace.
            total = total + part.weight * np.log1p(-np.minimum(gain, 1.0 - _LEAST))
    return np.asarray(total)


def exchange_row(
    known: Sequence[Knowledge],
    opened: Sequence[RowOpened],
    which: IntArray,
    new: FloatArray,
    forms: Sequence[Forms] | None = None,
    rows: FloatArray | None = None,
) -> None:
    """Put new rows, shape (m, p), into the plans `which`; changes `known` and `forms` in place."""
    m = len(which)
    for v, (own, out) in enumerate(zip(known, opened, strict=True)):
        b = new if out.shift is None else new + out.shift[which]
        b = b if out.root == 1.0 else out.root * b
        B = own.B[which]
        Ba, qa = out.Ba[which], out.q[which]
        Bb = _times(B, b)
        q, r = (b * Bb).sum(axis=1), (b * Ba).sum(axis=1)
        D = np.maximum((1.0 + q) * (1.0 - qa) + r * r, _LEAST)
        K = np.empty((m, 2, 2))
        K[:, 0, 0] = (1.0 - qa) / D
        K[:, 0, 1] = K[:, 1, 0] = r / D
        K[:, 1, 1] = -(1.0 + q) / D
        V = np.stack([Bb, Ba], axis=2)
        VK = V @ K
        kept = None if forms is None else forms[v]
        if kept is not None and rows is not None:
            w = rows @ V
            u = w @ K
            kept.q[which] -= np.einsum("sgi,sgi->sg", w, u)
        for t, (G, Ga, trace, ga) in enumerate(zip(own.G, out.Ga, own.trace, out.g, strict=True)):
            if G is None or Ga is None or trace is None or ga is None:
                continue
            Gw = G[which]
            Y = np.stack([_times(Gw, b), Ga[which]], axis=2)
            S = np.empty((m, 2, 2))
            S[:, 0, 0] = (b * Y[:, :, 0]).sum(axis=1)
            S[:, 0, 1] = S[:, 1, 0] = (b * Y[:, :, 1]).sum(axis=1)
            S[:, 1, 1] = ga[which]
            form = None if kept is None else kept.g[t]
            if form is not None and rows is not None:
                y = rows @ Y
                y *= -2.0
                y += u @ S
                form[which] += np.einsum("sgi,sgi->sg", y, u)
            Z = (0.5 * VK @ S - Y) @ VK.transpose(0, 2, 1)
            G[which] = Gw + Z + Z.transpose(0, 2, 1)
            trace[which] -= (K * S).sum(axis=(1, 2))
        own.B[which] = B - VK @ V.transpose(0, 2, 1)


def make_forms(known: Sequence[Knowledge], rows: FloatArray) -> list[Forms]:
    """Work out the forms of candidates, shape (g, p), in every plan."""
    return [
        Forms(q=_form(rows, own.B), g=[None if G is None else _form(rows, G) for G in own.G])
        for own in known
    ]


def _times(A: FloatArray, x: FloatArray) -> FloatArray:
    """Give A x for each plan, shapes (s, p, p) and (s, p)."""
    return np.asarray((A @ x[:, :, None])[:, :, 0])


def _with_each(rows: FloatArray, v: FloatArray) -> FloatArray:
    """Give row'v, shape (s, g); rows (g, p) or (s, g, p), v (s, p)."""
    if rows.ndim == 2:
        return np.asarray(v @ rows.T)
    return np.asarray((rows @ v[:, :, None])[:, :, 0])


def _form(rows: FloatArray, A: FloatArray) -> FloatArray:
    """Give row'A row, shape (s, g)."""
    half = rows @ A
    wide = "gp" if rows.ndim == 2 else "sgp"
    return np.asarray(np.einsum(f"sgp,{wide}->sg", half, rows))
