"""What a plan is searched for: criteria under the covariance of all strata, alone or weighted.

Every information matrix has the form X'PX + K: P holds batches, days and fixed blocks (see
`doe.model.strata`), K what is known beforehand of some terms. The model's columns are first brought
onto a basis in which a narrow blend is nearly as well conditioned as a cube (see `working`).

Source:
    Atkinson, Donev and Tobias (2007), Optimum Experimental Designs, with SAS, chapter 10; DuMouchel
    and Jones (1994), Technometrics 36, 37-47 (Bayesian D).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from doe.study.settings import BoolArray, FloatArray

BAYESIAN_D = "Bayesian D"
NAMES = ("D", "I", "A", BAYESIAN_D)
# A direction in which the region's moments are this part of the largest cannot be told from others.
_FLAT = 1e-11
_PART = re.compile(r"\s*(?:(\d+(?:\.\d+)?)\s*[*×]?\s*)?(Bayesian D|D|I|A)\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One criterion of a weighted compound.

    Attributes:
        name: D, I, A or Bayesian D.
        weight: Share in the compound.
        trace: Shape (p, p), L of trace(M^-1 L) on the basis; None for a determinant.
    """

    name: str
    weight: float
    trace: FloatArray | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """One information matrix X'PX + K and what is asked of it.

    Attributes:
        P: Shape (n, n), see `doe.model.strata.precision`.
        prior: K on the basis, shape (p, p).
        parts: Criteria that use it.
        ratio: Variance ratio behind P.
    """

    P: FloatArray
    prior: FloatArray
    parts: tuple[Part, ...]
    ratio: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Goal:
    """What a search makes small: the weighted sum of the logs of its criteria.

    Attributes:
        basis: Shape (p, p); X @ basis are the columns that a search works with.
        moments: Their moments over the region, shape (p, p).
        views: One for each variance ratio and prior.
    """

    basis: FloatArray
    moments: FloatArray
    views: tuple[View, ...]


def parse_criterion(text: str) -> dict[str, float]:
    """Read a criterion or a weighted compound of several; weights are made to sum to 1.

    Raises:
        ValueError: The text names none.

    Example:
        >>> parse_criterion("3 I + D")
        {'I': 0.75, 'D': 0.25}
    """
    weights: dict[str, float] = {}
    for part in text.split("+"):
        match = _PART.fullmatch(part)
        if match is None:
            raise ValueError(f"'{part.strip()}' is no criterion")
        name = next(n for n in NAMES if n.casefold() == match[2].casefold())
        weights[name] = weights.get(name, 0.0) + float(match[1] or 1.0)
    total = sum(weights.values())
    if total <= 0:
        raise ValueError("the weights of the criteria sum to nothing")
    return {name: weight / total for name, weight in weights.items() if weight > 0}


def can_tell(moments: FloatArray) -> bool:
    """Tell whether the region can tell the terms of a model apart at all."""
    scale = np.sqrt(np.maximum(np.diag(moments), 0.0))
    if np.any(scale <= 0):
        return False
    values = np.linalg.eigvalsh(moments / np.outer(scale, scale))
    return bool(values[0] > _FLAT * values[-1])


def make_goal(
    weights: Mapping[str, float],
    moments: FloatArray,
    basis: FloatArray,
    precisions: Mapping[float, FloatArray],
    potential: BoolArray | None = None,
    area: FloatArray | None = None,
) -> Goal:
    """Put a goal together.

    Args:
        weights: Weight of each criterion, by name.
        moments: Region moments of the model, shape (p, p).
        basis: See `Goal`.
        precisions: P by variance ratio; the goal is averaged over several.
        potential: Shape (p,), the terms that a Bayesian D only guards against.
        area: Moments over which I averages, shape (p, p); None for those of the region.

    Returns:
        The goal.
    """
    p = len(moments)
    plain = [name for name in weights if name != BAYESIAN_D]
    views = []
    for ratio, P in precisions.items():
        share = 1.0 / len(precisions)
        if plain:
            parts = tuple(
                _part(name, weights[name] * share, moments if area is None else area, basis)
                for name in plain
            )
            views.append(View(P=P, prior=np.zeros((p, p)), parts=parts, ratio=ratio))
        if BAYESIAN_D in weights:
            part = Part(name=BAYESIAN_D, weight=weights[BAYESIAN_D] * share, trace=None)
            prior = _prior(moments, basis, potential)
            views.append(View(P=P, prior=prior, parts=(part,), ratio=ratio))
    return Goal(basis=basis, moments=basis.T @ moments @ basis, views=tuple(views))


def goal_value(goal: Goal, X: FloatArray) -> float:
    """Judge a plan exactly: the weighted sum of logs; infinite where it can't estimate the model.

    Args:
        goal: What is searched for.
        X: Model matrix, shape (n, p), coded terms.
    """
    F = X @ goal.basis
    total = 0.0
    for view in goal.views:
        M = F.T @ view.P @ F + view.prior
        values, vectors = np.linalg.eigh(M)
        # Below this, what is known of a direction is the rounding error of the rest.
        if values[0] <= 1e-12 * values[-1]:
            return float("inf")
        for part in view.parts:
            if part.trace is None:
                total -= part.weight * float(np.log(values).mean())
            else:
                inner = np.einsum("ij,ij->j", vectors, part.trace @ vectors)
                total += part.weight * float(np.log((inner / values).sum()))
    return total


def criterion_values(X: FloatArray, P: FloatArray, moments: FloatArray) -> dict[str, float]:
    """Give D, I and A of a plan as the record states them.

    Args:
        X: Model matrix, shape (n, p), coded terms.
        P: See `doe.model.strata.precision`.
        moments: Region moments, shape (p, p).

    Returns:
        D = |X'PX|^(1/p)/n (0 if singular), I = trace((X'PX)^-1 moments) and A = trace((X'PX)^-1),
        infinite if singular.
    """
    n, p = X.shape
    # Columns of unit length: their units must not decide about the rank.
    length = np.sqrt(np.maximum(np.diag(moments), 1e-300))
    M = (X / length).T @ P @ (X / length)
    values, vectors = np.linalg.eigh(M)
    if values[0] <= 1e-13 * values[-1]:
        return {"D": 0.0, "I": float("inf"), "A": float("inf")}
    inverse = (vectors / values) @ vectors.T / np.outer(length, length)
    log_d = float(np.log(values).sum() + 2 * np.log(length).sum()) / p
    return {
        "D": float(np.exp(log_d)) / n,
        "I": float(np.sum(inverse * moments)),
        "A": float(np.trace(inverse)),
    }


def _part(name: str, weight: float, moments: FloatArray, basis: FloatArray) -> Part:
    traces: dict[str, FloatArray | None] = {
        "D": None,
        "I": basis.T @ moments @ basis,
        "A": basis.T @ basis,
    }
    return Part(name=name, weight=weight, trace=traces[name])


def _prior(moments: FloatArray, basis: FloatArray, potential: BoolArray | None) -> FloatArray:
    """Give K: each potential term, cleared of the primary ones, has a prior spread of 1.

    DuMouchel and Jones scale a potential term to a range of 1 after taking out what the primary
    terms explain; here its standard deviation over the region stands for the range.
    """
    p = len(moments)
    if potential is None or not potential.any():
        return np.zeros((p, p))
    primary = np.flatnonzero(~potential)
    K = np.zeros((p, p))
    for j in np.flatnonzero(potential):
        b = np.linalg.lstsq(moments[np.ix_(primary, primary)], moments[primary, j])[0]
        left = float(moments[j, j] - moments[j, primary] @ b)
        K[j, j] = max(left, 0.0)
    return np.asarray(basis.T @ K @ basis)
