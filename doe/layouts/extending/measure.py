"""What a round buys: prediction variance, degrees of freedom and terms, before and after.

The level is that of the rounds before: a fixed new block has a shift of its own beside it, so that
a further round can only add to what is known.

Source:
    DESIGN.md, section 5, "Criteria"; Goos (2002), The Optimal Design of Blocked and Split-Plot
    Experiments, chapter 3.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from doe.layouts.extending.frame import Frame
from doe.layouts.extending.request import Extension
from doe.model.coding import code
from doe.model.expansion import compile_model
from doe.model.information import RANK_TOLERANCE
from doe.model.matrix import column_label, model_columns, model_matrix
from doe.model.moments import region_moments
from doe.model.strata import Strata, Stratum, fixed_columns, precision, residual_df
from doe.model.terms import Model, make_model
from doe.study.settings import FloatArray

# A coefficient is told if no direction that the runs don't tell has more than this part in it.
_PART = 1e-6
_NAMED = 8
_WHERE = {"residual": "in the residual", "batch": "between batches"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Yardstick:
    """The model and the moments of the area that a round is judged by.

    Attributes:
        model: The model.
        moments: Average of f f' over the region or the area, shape (p, p).
        ratio: Variance of each random stratum over the residual variance.
    """

    model: Model
    moments: FloatArray
    ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Gains:
    """What a round buys.

    Attributes:
        model: Name of the model.
        variance: Average prediction variance before and after, in residual variances; None where
            the model cannot be estimated.
        df: Error degrees of freedom by stratum, before and after.
        pure_error: Those from equal settings, before and after.
        new_terms: Coefficients that only the new round makes estimable.
        untold: Coefficients that stay untold.
        links: Runs of the new round whose settings stand in an earlier one.
    """

    model: str
    variance: tuple[float | None, float | None]
    df: dict[str, tuple[int, int]] = field(default_factory=dict)
    pure_error: tuple[int, int]
    new_terms: tuple[str, ...] = ()
    untold: tuple[str, ...] = ()
    links: int = 0

    def sentences(self) -> tuple[str, ...]:
        """Say in plain words what the round buys."""
        before, after = self.variance
        if after is None:
            said = f"The {self.model} model still can't be estimated as a whole."
        elif before is None:
            said = (
                f"What it buys: the {self.model} model, which could not be estimated before, with "
                f"an average prediction variance of {after:.3g} (in error variances)."
            )
        else:
            said = (
                f"What it buys: the average prediction variance of the {self.model} model goes "
                f"from {before:.3g} to {after:.3g} (in error variances)."
            )
        moves = [f"{a} to {b} {_WHERE.get(name, 'between ' + name + 's')}"
                 for name, (a, b) in self.df.items()]  # fmt: skip
        freedom = (
            f"Error degrees of freedom: {', '.join(moves)}; those of equal settings "
            f"{self.pure_error[0]} to {self.pure_error[1]}."
        )
        if not self.new_terms:
            return said, freedom
        named = ", ".join(self.new_terms[:_NAMED])
        more = f" and {len(self.new_terms) - _NAMED} more" if len(self.new_terms) > _NAMED else ""
        return said, f"Newly told: {named}{more}.", freedom


def yardstick(ask: Extension, name: str | None = None) -> Yardstick:
    """Prepare the judgement: the model by name, over the region or over the area asked for."""
    model = make_model(name or ask.model, ask.coding)
    expansion = compile_model(ask.coding, model)
    if ask.area is None:
        moments = region_moments(ask.region, expansion, ask.seed)
    else:
        X = expansion.matrix(code(np.asarray(ask.area), ask.coding))
        moments = X.T @ X / len(X)
    return Yardstick(model=model, moments=moments, ratio=ask.variance_ratio)


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
    P = round_precision(frame, stick.ratio)[: len(X), : len(X)]
    if len(X) == frame.held:
        P = round_precision(_before(frame), stick.ratio)
    return _trace(X, P, stick.moments)


def gains_of(ask: Extension, stick: Yardstick, frame: Frame, new: FloatArray) -> Gains:
    """Compare what is known with and without the new runs, shape (n − m, k), lab units."""
    held = ask.held
    values = np.vstack([held, new])
    X = model_matrix(values, ask.coding, stick.model)
    before, after = _before(frame), frame
    known = _told(X[: frame.held], shift_columns(before))
    told = _told(X, shift_columns(after))
    labels = [column_label(column) for column in model_columns(stick.model, ask.coding)]
    df_before = residual_df(before.strata, X[: frame.held])
    df_after = residual_df(after.strata, X)
    keys = dict.fromkeys([*df_after, *df_before])
    return Gains(
        model=stick.model.name,
        variance=(
            average_variance(ask, stick, frame, held),
            average_variance(ask, stick, frame, values),
        ),
        df={name: (df_before.get(name, 0), df_after.get(name, 0)) for name in keys},
        pure_error=(_pure_error(held), _pure_error(values)),
        new_terms=tuple(
            n for n, old, now in zip(labels, known, told, strict=True) if now and not old
        ),
        untold=tuple(n for n, now in zip(labels, told, strict=True) if not now),
        links=n_links(held, new),
    )


def rank_of(ask: Extension, model: Model, frame: Frame, values: FloatArray) -> int:
    """Count what the runs tell of a model beside the shifts of fixed blocks."""
    X = model_matrix(values, ask.coding, model)
    here = frame if len(values) > frame.held else _before(frame)
    Z = shift_columns(here)
    return _rank(np.hstack([X, Z])) - _rank(Z)


def n_links(held: FloatArray, new: FloatArray) -> int:
    """Count new runs whose settings stand among the earlier ones."""
    known = {row_key(row) for row in held}
    return sum(row_key(row) in known for row in new)


def row_key(row: FloatArray) -> tuple[float, ...]:
    """Give settings as something to look up; a setting that a level lacks equals itself."""
    return tuple(np.round(np.nan_to_num(row, nan=-9e15), 9).tolist())


def round_precision(frame: Frame, ratio: float) -> FloatArray:
    """Give P, shape (n, n), with the shifts of fixed blocks estimated beside the model."""
    random = Strata(n=frame.strata.n, above=frame.strata.random)
    P = precision(random, ratio)
    B = shift_columns(frame)
    if B.shape[1] == 0:
        return P
    PB = P @ B
    left: FloatArray = P - PB @ np.linalg.pinv(B.T @ PB) @ PB.T
    return (left + left.T) / 2


def shift_columns(frame: Frame) -> FloatArray:
    """Give the columns of fixed blocks: those of held runs sum to zero, a new one is a shift."""
    n, m = frame.strata.n, frame.held
    parts = [np.zeros((n, 0))]
    for stratum in frame.strata.fixed:
        old = np.unique(stratum.unit[:m])
        own = fixed_columns(Strata(n=m, above=(Stratum(
            name=stratum.name, unit=stratum.unit[:m], is_fixed=True),)))  # fmt: skip
        columns = np.zeros((n, own.shape[1]))
        columns[:m] = own
        if own.shape[1]:
            # A new run in an old block has that block's row.
            for i in range(m, n):
                same = np.flatnonzero(stratum.unit[:m] == stratum.unit[i])
                if len(same):
                    columns[i] = own[same[0]]
        new = [unit for unit in np.unique(stratum.unit) if unit not in old]
        parts += [columns, np.array([stratum.unit == unit for unit in new], dtype=float).T
                  .reshape(n, len(new))]  # fmt: skip
    return np.hstack(parts)


def _pure_error(values: FloatArray) -> int:
    """Count the degrees of freedom from runs with equal settings."""
    return len(values) - len({row_key(row) for row in values})


def _before(frame: Frame) -> Frame:
    """Keep the held runs alone, with every stratum as it is after the round."""
    m = frame.held
    above = tuple(
        Stratum(name=s.name, unit=s.unit[:m], is_fixed=s.is_fixed) for s in frame.strata.above
    )
    return Frame(
        held=m, sizes=(), batch=np.zeros(0, dtype=np.int64), block=None,
        strata=Strata(n=m, above=above),
    )  # fmt: skip


def _trace(X: FloatArray, P: FloatArray, moments: FloatArray) -> float | None:
    # Columns of unit mean square over the area: their units must not decide about the rank.
    length = np.sqrt(np.maximum(np.diag(moments), 1e-300))
    values, vectors = np.linalg.eigh((X / length).T @ P @ (X / length))
    if values[0] <= 1e-12 * values[-1]:
        return None
    inverse = (vectors / values) @ vectors.T / np.outer(length, length)
    return float(np.sum(inverse * moments))


def _told(X: FloatArray, Z: FloatArray) -> list[bool]:
    """Tell which columns of a model can be told from the rest and from the shifts."""
    both = np.hstack([X, Z])
    length = np.linalg.norm(both, axis=0)
    _, s, Vt = np.linalg.svd(both / np.where(length > 0, length, 1.0), full_matrices=True)
    rank = int((s > RANK_TOLERANCE * s[0]).sum())
    unknown = np.abs(Vt[rank:, : X.shape[1]]).max(axis=0, initial=0.0)
    return [bool(part < _PART) for part in unknown]


def _rank(columns: FloatArray) -> int:
    if columns.shape[1] == 0:
        return 0
    length = np.linalg.norm(columns, axis=0)
    s = np.linalg.svd(columns / np.where(length > 0, length, 1.0), compute_uv=False)
    return int((s > RANK_TOLERANCE * s[0]).sum()) if len(s) else 0
