"""What an optimal plan is judged by: D, I and A, all to be made small.

Source:
    Atkinson, Donev & Tobias (2007), Optimum Experimental Designs, with SAS, chapter 10;
    for I the average of x'(X'X)^-1 x over the region, trace((X'X)^-1 M), M = E[x x'].
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from doe.study.settings import FloatArray, frozen_array

CriterionName = Literal["D", "I", "A"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Criterion:
    """A criterion that is linear in (X'X)^-1, or D.

    Attributes:
        name: D, I or A.
        moments: Shape (p, p); M of trace((X'X)^-1 M): region moments for I, identity for A.
    """

    name: CriterionName
    moments: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "moments", frozen_array(self.moments))


def make_criterion(name: CriterionName, region_matrix: FloatArray) -> Criterion:
    """Prepare a criterion.

    Args:
        name: D, I or A.
        region_matrix: Model matrix of a uniform sample of the region, shape (g, p).

    Returns:
        The criterion, with the moments it needs.
    """
    g, p = region_matrix.shape
    moments = region_matrix.T @ region_matrix / g if name == "I" else np.eye(p)
    return Criterion(name=name, moments=moments)


def criterion_value(criterion: Criterion, X: FloatArray) -> float:
    """Judge a plan: the smaller the better; infinite where the model cannot be estimated.

    Args:
        criterion: What to judge by.
        X: Model matrix of the plan, shape (n, p).

    Returns:
        For D the negative of |X'X|^(1/p)/n; for I and A trace((X'X)^-1 M).
    """
    n, p = X.shape
    if n < p or np.linalg.matrix_rank(X) < p:
        return float("inf")
    # R of X = QR: |X'X| = prod(diag R)^2 and (X'X)^-1 = R^-1 R^-T, without squaring the condition.
    _, R = np.linalg.qr(X)
    if criterion.name == "D":
        return -float(np.exp(2.0 * np.log(np.abs(np.diag(R))).sum() / p) / n)
    half = np.linalg.solve(R.T, criterion.moments).astype(np.float64)
    return float(np.trace(np.linalg.solve(R, half)))
