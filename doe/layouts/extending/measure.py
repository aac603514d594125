"""What a round is searched by: the prediction variance of the runs that count and the new ones.

Source:
    DESIGN.md, section 5, "Criteria"; Goos (2002), The Optimal Design of Blocked and Split-Plot
    Experiments, chapter 3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.layouts.extending.frame import Frame
from doe.layouts.extending.request import Extension
from doe.model.coding import code
from doe.model.expansion import compile_model
from doe.model.information import RANK_TOLERANCE
from doe.model.matrix import model_columns, model_matrix
from doe.model.moments import region_moments
from doe.model.strata import Strata, Stratum, fixed_columns, precision
from doe.model.terms import INTERCEPT, Model, make_model
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Yardstick:
    """The model and the moments of the area that a round is judged by.

    Attributes:
        model: The model.
        moments: Average of f f' over the region or the area, shape (p, p).
        level: Coefficients of the constant 1 in the model, shape (p,).
        ratio: Variance of each random stratum over the residual variance.
    """

    model: Model
    moments: FloatArray
    level: FloatArray
    ratio: float

    @property
    def spread(self) -> FloatArray:
        """Moments about the mean: E[f f'] − E[f] E[f]', where E[f] = E[f f'] level."""
        mean = self.moments @ self.level
        return np.asarray(self.moments - np.outer(mean, mean))


def yardstick(ask: Extension, name: str | None = None) -> Yardstick:
    """Prepare the judgement: the model by name, over the region or over the area asked for."""
    model = make_model(name or ask.model, ask.coding)
    expansion = compile_model(ask.coding, model)
    if ask.area is None:
        moments = region_moments(ask.region, expansion, ask.seed)
    else:
        X = expansion.matrix(code(np.asarray(ask.area), ask.coding))
        moments = X.T @ X / len(X)
    return Yardstick(
        model=model, moments=moments, level=_level(model, ask), ratio=ask.variance_ratio
    )


def _level(model: Model, ask: Extension) -> FloatArray:
    """Write 1 in the terms of a model: its intercept, or the sum of the shares."""
    shares = {axis.name for axis in ask.coding.shares}
    return np.array(
        [
            float(term == INTERCEPT or (term.order == 1 and set(term.names) <= shares))
            for term in (column.term for column in model_columns(model, ask.coding))
        ]
    )


def average_variance(
    ask: Extension, stick: Yardstick, frame: Frame, values: FloatArray
) -> float | None:
    """Average the prediction variance over the region or the area.

    Args:
        ask: What is wanted.
        stick: Model and moments.
        frame: Strata of the runs.
        values: Settings of all runs, held ones first, shape (n, k); the held ones alone, shape
            (m, k), give the variance before the round.

    Returns:
        trace((X'PX)^-1 moments) in residual variances; None if the model can't be estimated.
    """
    X = model_matrix(values, ask.coding, stick.model)
    strata = frame.strata if len(X) == frame.strata.n else held_strata(frame)
    return _trace(X, precision(strata, stick.ratio), stick.moments)


def rank_of(ask: Extension, model: Model, frame: Frame, values: FloatArray) -> int:
    """Count what the runs tell of a model beside the shifts of fixed blocks."""
    X = model_matrix(values, ask.coding, model)
    Z = fixed_columns(frame.strata if len(values) > frame.held else held_strata(frame))
    return _rank(np.hstack([X, Z])) - _rank(Z)


def n_links(held: FloatArray, new: FloatArray) -> int:
    """Count new runs whose settings stand among the earlier ones."""
    known = {row_key(row) for row in held}
    return sum(row_key(row) in known for row in new)


def row_key(row: FloatArray) -> tuple[float, ...]:
    """Give settings as something to look up; a setting that a level lacks equals itself."""
    return tuple(np.round(np.nan_to_num(row, nan=-9e15), 9).tolist())


def held_strata(frame: Frame) -> Strata:
    """Give the strata of the runs that count already, each of the kind it has with the round."""
    m = frame.held
    above = tuple(
        Stratum(name=s.name, unit=s.unit[:m], is_fixed=s.is_fixed) for s in frame.strata.above
    )
    return Strata(n=m, above=above)


def _trace(X: FloatArray, P: FloatArray, moments: FloatArray) -> float | None:
    # Columns of unit mean square over the area: their units must not decide about the rank.
    length = np.sqrt(np.maximum(np.diag(moments), 1e-300))
    values, vectors = np.linalg.eigh((X / length).T @ P @ (X / length))
    if values[0] <= 1e-12 * values[-1]:
        return None
    inverse = (vectors / values) @ vectors.T / np.outer(length, length)
    return float(np.sum(inverse * moments))


def _rank(columns: FloatArray) -> int:
    if columns.shape[1] == 0:
        return 0
    length = np.linalg.norm(columns, axis=0)
    s = np.linalg.svd(columns / np.where(length > 0, length, 1.0), compute_uv=False)
    return int((s > RANK_TOLERANCE * s[0]).sum()) if len(s) else 0
