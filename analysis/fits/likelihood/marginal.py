"""The likelihood of rows that may share a batch: value, scores and Hessian, all exact.

Every row sees the parameters φ through m predictors that are linear in them, a = A φ + c τ u; u is
the batch's own standard normal deviate and τ its standard deviation on the scale of the predictors.
What each family is (censored, ordinal, count) is one function of the predictors.

Source:
    Adaptive Gauss-Hermite quadrature: Liu and Pierce (1994), Biometrika 81, 624-629; Pinheiro and
    Bates (1995), J. Comput. Graph. Stat. 4, 12-35. Scores and Hessian as means over the posterior
    of u: Louis (1982), J. R. Stat. Soc. B 44, 226-233.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from analysis.fits.fit_table import indicators
from doe.study.settings import FloatArray

# One row's log-likelihood at its predictors, shape (m, …, n): value (…, n), first derivatives
# (m, …, n), second ones (m, m, …, n).
RowForm = Callable[[FloatArray], tuple[FloatArray, FloatArray, FloatArray]]

# The mode of a batch's deviate is only where the nodes are put: no result hangs on its digits.
_MODE_STEPS, _MODE_CLOSE = 60, 1e-8
_MODE_ROUNDING = 1e-11


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LikelihoodTask:
    """What is to be maximised.

    Attributes:
        form: The rows' log-likelihood.
        design: Shape (m, n, q): the predictors' slopes along the q parameters.
        offset: Shape (m, n), added to the predictors.
        loading: Shape (m, n): how much of the batch's deviate each predictor takes.
        weight: Shape (n,), what each row counts.
        batch: Batch of each row; None where batches have nothing in common, then no τ is fitted.
        penalty: Shape (q, q): −½ φ'Pφ is added; zeros for plain maximum likelihood.
        spread_penalty: −½ c τ² is added likewise.
    """

    form: RowForm
    design: FloatArray
    offset: FloatArray
    loading: FloatArray
    weight: FloatArray
    batch: tuple[str, ...] | None = None
    penalty: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    spread_penalty: float = 0.0

    @property
    def n_fixed(self) -> int:
        """Parameters besides τ."""
        return int(self.design.shape[2])

    @property
    def batch_table(self) -> FloatArray:
        """Rows by batch, shape (b, n) of 0 and 1; each row its own without batches."""
        if self.batch is None:
            return np.eye(self.design.shape[1])
        return indicators(self.batch, tuple(dict.fromkeys(self.batch))).T


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evaluation:
    """The likelihood at one place; q parameters and, with batches, τ as the last.

    Attributes:
        value: Log-likelihood, penalty included.
        plain: The same without penalty.
        scores: Shape (b, q) or (b, q + 1), slope of each batch's part, without penalty.
        gradient: Their sum, penalty included.
        hessian: Second derivatives, penalty included.
        deviates: Shape (b,), mean of each batch's standard deviate given its rows; empty without.
    """

    value: float
    plain: float
    scores: FloatArray
    gradient: FloatArray
    hessian: FloatArray
    deviates: FloatArray


def evaluate(task: LikelihoodTask, at: FloatArray, nodes: int) -> Evaluation | None:
    """Evaluate the likelihood.

    Args:
        task: The likelihood.
        at: The q parameters and, with batches, τ.
        nodes: Nodes of the quadrature; one is Laplace's approximation.

    Returns:
        None where it has no finite value: the place lies outside the parameters' domain.
    """
    with np.errstate(all="ignore"):
        if task.batch is None:
            found = _without_batches(task, at)
        else:
            found = _with_batches(task, at, nodes)
    ok = np.isfinite(found.value) and np.isfinite(found.hessian).all()
    return found if ok and np.isfinite(found.gradient).all() else None


def _without_batches(task: LikelihoodTask, at: FloatArray) -> Evaluation:
    A = task.design
    value, first, second = task.form(A @ at + task.offset)
    w = task.weight
    scores = np.einsum("mn,mnq->nq", first * w, A)
    hessian = np.einsum("mkn,mnq,knr->qr", second * w, A, A, optimize=True)
    return _penalised(task, at, float(w @ value), scores, hessian, np.zeros(0))


def _with_batches(task: LikelihoodTask, at: FloatArray, nodes: int) -> Evaluation:
    q, Z = task.n_fixed, task.batch_table
    fixed, tau = task.design @ at[:q] + task.offset, float(at[q])
    mode, width = _modes(task, fixed, tau, Z)
    x, log_w = _hermite(nodes)
    # u = mode + √2 width x; ∫ e^{h(u)} du/√2π = width/√π Σ w e^{x²} e^{h(u_k)}.
    u = mode[:, None] + np.sqrt(2.0) * width[:, None] * x
    of_row = Z.argmax(axis=0)
    at_row = u[of_row].T
    value, first, second = task.form(fixed[:, None, :] + tau * task.loading[:, None, :] * at_row)
    log_terms = (task.weight * value @ Z.T).T - u**2 / 2.0 + log_w + x**2
    top = log_terms.max(axis=1)
    share = np.exp(log_terms - top[:, None])
    total = share.sum(axis=1)
    share = share / total[:, None]
    log_l = np.log(width) - 0.5 * np.log(np.pi) + top + np.log(total)
    # Slope = E[g | rows]; second derivative = E[H | rows] + Var[g | rows] (Louis 1982).
    g = _slopes(task, first * task.weight, at_row, Z)
    scores = np.einsum("bk,bkq->bq", share, g)
    about = np.sqrt(share)[:, :, None] * (g - scores[:, None, :])
    about = about.reshape(-1, q + 1)
    hessian = _mean_bend(task, second * task.weight, at_row, share[of_row].T) + about.T @ about
    return _penalised(task, at, float(log_l.sum()), scores, hessian, (share * u).sum(axis=1))


def _slopes(
    task: LikelihoodTask, first: FloatArray, at_row: FloatArray, Z: FloatArray
) -> FloatArray:
    """Sum the slopes of each batch's rows at its nodes, shape (b, k, q + 1)."""
    k, q = first.shape[1], task.n_fixed
    slopes = np.empty((len(Z), k, q + 1))
    by_tau = (task.loading[:, None, :] * first).sum(axis=0) * at_row
    slopes[:, :, q] = (by_tau @ Z.T).T
    for j, rows in enumerate(Z.astype(np.bool_)):
        A = task.design[:, rows].reshape(-1, q)
        slopes[j, :, :q] = first[:, :, rows].transpose(1, 0, 2).reshape(k, -1) @ A
    return slopes


def _mean_bend(
    task: LikelihoodTask, second: FloatArray, at_row: FloatArray, share: FloatArray
) -> FloatArray:
    """Average the rows' second derivatives over their nodes, shape (q + 1, q + 1)."""
    q, m = task.n_fixed, len(second)
    mean = [(second * (share * at_row**power)).sum(axis=2) for power in (0, 1, 2)]
    bend = np.zeros((q + 1, q + 1))
    for i in range(m):
        for j in range(m):
            A, c = task.design[i], task.loading[j]
            bend[:q, :q] += A.T @ (mean[0][i, j][:, None] * task.design[j])
            bend[:q, q] += A.T @ (mean[1][i, j] * c)
            bend[q, q] += float(task.loading[i] @ (mean[2][i, j] * c))
    bend[q, :q] = bend[:q, q]
    return bend


def _modes(
    task: LikelihoodTask, fixed: FloatArray, tau: float, Z: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Find where each batch's integrand is highest, and its width there."""
    u = np.zeros(len(Z))
    curve = np.ones(len(Z))
    height = np.full(len(Z), -np.inf)
    step = np.zeros(len(Z))
    for _ in range(_MODE_STEPS):
        a = fixed + tau * task.loading * (u @ Z)
        value, first, second = task.form(a)
        h = Z @ (task.weight * value) - u**2 / 2.0
        if np.isnan(h).any():
            break  # outside the domain
        # A fall by no more than rounding is none.
        worse = ~(h >= height - _MODE_ROUNDING * (1.0 + np.abs(height)))
        if worse.any():
            step = np.where(worse, step / 2.0, 0.0)
            u = np.where(worse, u - step, u)
            if np.abs(step).max() > _MODE_CLOSE:
                continue
        height = np.maximum(h, height)
        c = tau * task.loading
        slope = Z @ (task.weight * (c * first).sum(axis=0)) - u
        bend = np.einsum("mn,kn,mkn->n", c, c, second)
        curve = np.maximum(1.0 - Z @ (task.weight * bend), 1.0)
        step = slope / curve
        u = u + step
        if np.abs(step).max() < _MODE_CLOSE:
            break
    return u, 1.0 / np.sqrt(curve)


@cache
def _hermite(nodes: int) -> tuple[FloatArray, FloatArray]:
    x, w = np.polynomial.hermite.hermgauss(nodes)
    return x.astype(np.float64), np.log(w)


def _penalised(
    task: LikelihoodTask,
    at: FloatArray,
    plain: float,
    scores: FloatArray,
    hessian: FloatArray,
    deviates: FloatArray,
) -> Evaluation:
    q = task.n_fixed
    P = np.zeros((len(at), len(at)))
    if task.penalty.size:
        P[:q, :q] = task.penalty
    if len(at) > q:
        P[q, q] = task.spread_penalty
    return Evaluation(
        value=plain - 0.5 * float(at @ P @ at),
        plain=plain,
        scores=scores,
        gradient=scores.sum(axis=0) - P @ at,
        hessian=hessian - P,
        deviates=deviates,
    )
