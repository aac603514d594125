"""What runs tell about the terms of a model, under the covariance of all strata.

With P of `doe.model.strata.precision`, controls taken out beside the fixed blocks, the coefficients
have the covariance B = (X'PX)^-1 in residual variances. B is kept by its root T, B = TT', from
the singular values of P^(1/2) X, since X'PX would square the condition number.

Source:
    DESIGN.md, section 5, "Criteria"; Goos (2002), The Optimal Design of Blocked and Split-Plot
    Experiments, chapter 3; generalised leverage: Martin (1992), Communications in Statistics -
    Theory and Methods 21, 1183-1196, H = X B X'P.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from doe.appraisal.runs import PlanRuns
from doe.model.information import RANK_TOLERANCE
from doe.model.strata import Strata, fixed_columns, precision
from doe.study.settings import FloatArray, frozen_array

# An eigenvalue of P below this part of the largest is that of a direction taken out by blocks.
_TAKEN_OUT = 1e-11
# Part of a coefficient in an untold direction below which it is rounding noise.
_PART = 1e-6

Ratio = float | Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Information:
    """What a plan tells about a model, blocks and controls estimated beside it.

    Attributes:
        X: Model matrix of the runs of the plan, shape (n, p).
        P: Their precision, shape (n, n), blocks and controls taken out.
        root: T with TT' = (X'PX)^-1, shape (p, rank), in residual standard deviations.
        d_efficiency: |X'PX|^(1/p) / n; 0 where the model can't be estimated.
        estimable: Whether each coefficient can be told from the rest, p entries.
    """

    X: FloatArray
    P: FloatArray
    root: FloatArray
    d_efficiency: float
    estimable: tuple[bool, ...]

    def __post_init__(self) -> None:
        for name in ("X", "P", "root"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def is_full(self) -> bool:
        """Whether the model can be estimated."""
        return all(self.estimable)

    @property
    def covariance(self) -> FloatArray:
        """(X'PX)^-1, shape (p, p), in residual variances; the least-norm one below full rank."""
        return np.asarray(self.root @ self.root.T)

    @property
    def a_efficiency(self) -> float:
        """P over n trace (X'PX)^-1: 1 where every coefficient has the variance 1/n."""
        n, p = self.X.shape
        return p / (n * float((self.root**2).sum())) if self.is_full else 0.0

    def variance_at(self, rows: FloatArray) -> FloatArray:
        """Give f'(X'PX)^-1 f for rows of a model matrix, shape (g,), in residual variances."""
        return np.asarray(((rows @ self.root) ** 2).sum(axis=1))


def information_of(X: FloatArray, runs: PlanRuns, ratio: Ratio = 1.0) -> Information:
    """Summarise what runs tell about a model.

    Args:
        X: Model matrix of the runs of the plan, controls left out, shape (n, p).
        runs: All runs, controls among them.
        ratio: Variance of each random stratum over the residual variance.
    """
    P = surface_precision(runs, ratio)
    n, p = X.shape
    s, Vt, lengths = _singular(P, X)
    rank = int((s > RANK_TOLERANCE * s[0]).sum()) if len(s) and s[0] > 0 else 0
    # A coefficient is estimable if no direction that the runs don't tell has a part in it.
    unknown = np.abs(Vt[rank:]).max(axis=0, initial=0.0)
    log_d = 2.0 * float(np.log(s[:p]).sum() + np.log(lengths).sum()) if rank == p else 0.0
    return Information(
        X=X,
        P=P,
        root=(Vt[:rank].T / s[:rank]) / lengths[:, None],
        d_efficiency=float(np.exp(log_d / p) / n) if rank == p else 0.0,
        estimable=tuple(bool(part < _PART) for part in unknown),
    )


def leverages(X: FloatArray, runs: PlanRuns, ratio: Ratio) -> FloatArray:
    """Give the pull of each run on its own fitted value, shape (n,), controls among them.

    Fixed blocks and controls are fitted beside the model, so all add up to the rank of the whole.

    Args:
        X: Model matrix of the runs of the plan, controls left out, shape (n_design, p).
        runs: All n runs.
        ratio: Variance of each random stratum over the residual variance.
    """
    whole = np.zeros((len(runs), X.shape[1]))
    whole[runs.is_design] = X
    W = np.hstack([whole, runs.control_columns, fixed_columns(runs.strata)])
    scatter = 1.0 + alone_variance(runs, ratio)
    random = Strata(n=len(runs), above=runs.strata.random)
    P = precision(random, scaled(ratio, 1.0 / scatter))
    root = np.linalg.cholesky(P).T
    U, s, _ = np.linalg.svd(root @ W, full_matrices=False)
    U = U[:, s > RANK_TOLERANCE * s[0]]
    # H = W (W'PW)^- W'P = root^-1 U U' root.
    return np.asarray((np.linalg.solve(root, U) * (root.T @ U)).sum(axis=1))


def surface_precision(runs: PlanRuns, ratio: Ratio) -> FloatArray:
    """Give P of the runs of the plan, shape (n_design, n_design), see `whole_precision`."""
    keep = runs.is_design
    return np.asarray(whole_precision(runs, ratio)[np.ix_(keep, keep)])


def whole_precision(runs: PlanRuns, ratio: Ratio) -> FloatArray:
    """Give P of all runs, fixed blocks and a mean for each control taken out, shape (n, n)."""
    # V = (1 + e) I + Σ ρ ZZ' where e is the variance of units that hold one run each.
    whole = 1.0 + alone_variance(runs, ratio)
    P = precision(runs.strata, scaled(ratio, 1.0 / whole)) / whole
    C = runs.control_columns
    if C.shape[1]:
        PC = P @ C
        P = P - PC @ np.linalg.pinv(C.T @ PC, rcond=RANK_TOLERANCE) @ PC.T
    return P


def alone_variance(runs: PlanRuns, ratio: Ratio) -> float:
    """Give the variance that every run has besides the residual one, see `PlanRuns.scatter`."""
    return sum(ratio_of(name, ratio) for name in runs.alone)


def ratio_of(name: str, ratio: Ratio) -> float:
    """Give the variance ratio of one stratum; `batch` stands for those that are not named."""
    if not isinstance(ratio, Mapping):
        return float(ratio)
    return float(ratio.get(name, ratio.get("batch", 1.0)))


def scaled(ratio: Ratio, by: float) -> Ratio:
    """Multiply every variance ratio."""
    if isinstance(ratio, Mapping):
        return {name: value * by for name, value in ratio.items()}
    return ratio * by


def root_of_precision(P: FloatArray) -> FloatArray:
    """Give W with W'W = P, so that W makes runs independent, shape (rank, n)."""
    values, vectors = np.linalg.eigh((P + P.T) / 2)
    kept = values > _TAKEN_OUT * values[-1] if values[-1] > 0 else np.zeros(len(values), bool)
    return np.asarray(np.sqrt(values[kept])[:, None] * vectors[:, kept].T)


def _singular(P: FloatArray, X: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give singular values and right vectors of P^(1/2) X, columns scaled by their lengths."""
    # Columns of unit length: rank must not depend on their units.
    lengths = np.linalg.norm(X, axis=0)
    lengths = np.where(lengths > 0, lengths, 1.0)
    _, s, Vt = np.linalg.svd(root_of_precision(P) @ (X / lengths), full_matrices=True)
    return s, Vt, lengths
