"""What a model matrix can and cannot tell: rank, confounding, variance inflation, leverage.

Source:
    Belsley, Kuh and Welsch (1980), Regression Diagnostics, chapter 3; Marquardt (1970),
    Technometrics 12, 591-612; Snee and Rayner (1982), Journal of Quality Technology 14, 67-79 (VIF
    of blends from pseudo-components).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import qr, solve_triangular

from doe.model.coding import Coding, ShareAxis, code
from doe.model.column import Column, column_label, model_columns, shape_columns
from doe.model.expansion import compile_model
from doe.model.pseudo import lowest_shares, to_pseudo
from doe.model.term import INTERCEPT, Model
from doe.study.finding import Finding
from doe.study.sentence import in_quotes
from doe.study.settings import FloatArray

# Below this part of the largest singular value a direction of the scaled matrix is rounding noise:
# settings are recorded to some twelve digits, and their products lose two or three.
RANK_TOLERANCE = 1e-9
# A weight below this in a relation among unit columns is rounding noise.
SMALLEST_WEIGHT = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimability:
    """Whether the terms of a model can be told apart by the runs.

    Attributes:
        rank: Number of directions that the runs can tell.
        parameters: Number of columns, p.
        condition: Largest over smallest singular value, columns scaled to unit length; infinite
            where terms cannot be told apart.
        confounded: For each column that cannot be told: its label and the labels it is mixed with.
    """

    rank: int
    parameters: int
    condition: float
    confounded: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Say in words what cannot be told apart."""
        return tuple(
            Finding(
                level="stop",
                what=f"'{label}' cannot be told from {in_quotes(others)}"
                if others
                else f"'{label}' is 0 in every run and cannot be estimated",
                evidence={"rank": self.rank, "parameters": self.parameters},
                advice="Add runs that set them apart, or take a smaller model.",
            )
            for label, others in self.confounded
        )


def rank_and_condition(X: FloatArray) -> tuple[int, float]:
    """Find rank and condition of a matrix whose columns are first scaled to unit length.

    Args:
        X: Model matrix, shape (n, p).

    Returns:
        The rank, and the largest over the smallest singular value of the scaled matrix; infinite
        below full rank.

    Source:
        Belsley, Kuh and Welsch (1980), section 3.2: scaled, not centred.
    """
    if min(X.shape) == 0:
        return 0, float("inf") if X.shape[1] else 1.0
    s = np.linalg.svd(_unit_columns(X), compute_uv=False)
    rank = int((s > RANK_TOLERANCE * s[0]).sum()) if s[0] > 0 else 0
    return rank, float(s[0] / s[-1]) if rank == X.shape[1] else float("inf")


def estimability(X: FloatArray, columns: Sequence[Column]) -> Estimability:
    """Tell which columns of a model matrix are mixed up with which.

    Args:
        X: Model matrix, shape (n, p).
        columns: Its p columns.

    Returns:
        Rank, condition and, for each dependent column, the columns that make it up. Earlier columns
        of the model are kept as those that can be told.
    """
    rank, condition = rank_and_condition(X)
    p = len(columns)
    if rank == p:
        return Estimability(rank=rank, parameters=p, condition=condition, confounded=())
    U = _unit_columns(X)
    told: list[int] = []
    confounded: list[tuple[str, tuple[str, ...]]] = []
    basis = np.empty((len(X), 0))
    for c in range(p):
        rest = U[:, c] - basis @ (basis.T @ U[:, c])
        rest -= basis @ (basis.T @ rest)
        size = float(np.linalg.norm(rest))
        if size > RANK_TOLERANCE and len(told) < rank:
            basis = np.column_stack([basis, rest / size])
            told.append(c)
            continue
        weights = _solve(U[:, told], U[:, c])
        mixed = [told[i] for i in np.flatnonzero(np.abs(weights) > SMALLEST_WEIGHT)]
        labels = tuple(column_label(columns[i]) for i in mixed)
        confounded.append((column_label(columns[c]), labels))
    return Estimability(rank=rank, parameters=p, condition=condition, confounded=tuple(confounded))


def vif_of_matrix(X: FloatArray, *, intercept: int | None = None) -> FloatArray:
    """Compute variance inflation factors of the columns of a matrix.

    Args:
        X: Model matrix, shape (n, p).
        intercept: Index of the constant column; the others are then centred. None for a model
            without one: columns are compared as they are, about 0.

    Returns:
        Shape (p,); NaN at the intercept, infinite where a column is a mixture of others.

    Source:
        Marquardt (1970): the diagonal of the inverse of the correlation matrix.
    """
    n_columns = X.shape[1]
    factors = np.full(n_columns, np.nan)
    own = [c for c in range(n_columns) if c != intercept]
    if not own:
        return factors
    centred = X[:, own] - X[:, own].mean(axis=0) if intercept is not None else X[:, own]
    U = _unit_columns(centred)
    if rank_and_condition(centred)[0] < len(own):
        factors[own] = [_one_vif(U, c) for c in range(len(own))]
        return factors
    R = np.linalg.qr(U, mode="r")
    # diag((U'U)^-1) = row sums of squares of R^-1.
    inverse = solve_triangular(R, np.eye(len(own)))
    factors[own] = (inverse**2).sum(axis=1)
    return factors


def vif(values: FloatArray, coding: Coding, model: Model) -> FloatArray:
    """Compute the variance inflation factors of a model at some settings.

    Models with an intercept: the classic, centred ones. Blends: about 0, from the matrix in
    L-pseudo-components, since a small region of shares would inflate them without meaning.

    Args:
        values: Shape (n, k), lab units.
        coding: The settings.
        model: The terms.

    Returns:
        Shape (p,), one for each of `model_columns`; NaN at the intercept.
    """
    terms = [column.term for column in model_columns(model, coding)]
    intercept = terms.index(INTERCEPT) if INTERCEPT in terms else None
    return vif_of_matrix(pseudo_matrix(values, coding, model), intercept=intercept)


def condition_of(values: FloatArray, coding: Coding, model: Model) -> tuple[int, float]:
    """Find rank and condition of a model at some settings, shares as L-pseudo-components."""
    return rank_and_condition(pseudo_matrix(values, coding, model))


def pseudo_matrix(values: FloatArray, coding: Coding, model: Model) -> FloatArray:
    """Expand settings with shares as L-pseudo-components, shape (n, p); see `model_matrix`."""
    coded = code(values, coding)
    shares = [j for j, axis in enumerate(coding.axes) if isinstance(axis, ShareAxis)]
    expansion = compile_model(coding, model)
    if len(shares) < 2:
        return expansion.matrix(coded)
    pseudo = coded.copy()
    pseudo[:, shares] = to_pseudo(coded[:, shares], lowest_shares(coding))
    X = expansion.matrix(pseudo)
    n_shapes = len(shape_columns(model))
    if n_shapes:
        # Weights of a form belong to the real shares, and what its columns say to no coding.
        X[:, -n_shapes:] = expansion.matrix(coded)[:, -n_shapes:]
    return X


def leverage(X: FloatArray) -> FloatArray:
    """Compute the leverage of each run, shape (n,); they add up to the rank of X.

    Source:
        Hoaglin and Welsch (1978), The American Statistician 32, 17-22: h = diag(QQ').
    """
    Q, R, _ = qr(_unit_columns(X), mode="economic", pivoting=True)
    size = np.abs(np.diag(R))
    rank = int((size > RANK_TOLERANCE * size.max(initial=0.0)).sum())
    return np.asarray((Q[:, :rank] ** 2).sum(axis=1), dtype=np.float64)


def _unit_columns(X: FloatArray) -> FloatArray:
    length = np.linalg.norm(X, axis=0)
    return X / np.where(length > 0, length, 1.0)


def _one_vif(U: FloatArray, c: int) -> float:
    """Give 1 / (1 − R²) of a column on the others, where the matrix is below full rank."""
    others = np.delete(U, c, axis=1)
    Q, R, _ = qr(others, mode="economic", pivoting=True)
    size = np.abs(np.diag(R))
    Q = Q[:, size > RANK_TOLERANCE * size.max(initial=0.0)]
    rest = U[:, c] - Q @ (Q.T @ U[:, c])
    left = float(rest @ rest)
    return 1 / left if left > RANK_TOLERANCE else float("inf")


def _solve(U: FloatArray, u: FloatArray) -> FloatArray:
    if U.shape[1] == 0:
        return np.empty(0)
    Q, R = np.linalg.qr(U)
    return np.asarray(solve_triangular(R, Q.T @ u), dtype=np.float64)
