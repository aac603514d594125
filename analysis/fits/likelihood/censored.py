"""Readings on and off the scale: normal about a surface, by maximum likelihood.

Source:
    Tobin (1958), Econometrica 26, 24-36; Olsen (1978), Econometrica 46, 1211-1215, for the
    parameters; a random batch as in Hughes (1999), Biometrics 55, 625-629.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.fits.least_squares import solve_least_squares
from analysis.fits.likelihood.marginal import LikelihoodTask
from analysis.fits.likelihood.maximise import Maximum, maximise
from analysis.fits.likelihood.orthonormal import orthonormal
from analysis.fits.likelihood.row_forms import gaussian_form
from analysis.fits.likelihood.separation import endless_direction
from analysis.fits.likelihood.uncertainty import inverse_information, robust_covariance
from analysis.fits.likelihood.weak_prior import PRIOR_SPREAD, prior_of
from doe.study.settings import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CensoredRows:
    """n rows of which each is known to lie between two ends.

    Attributes:
        design: Shape (n, p), full rank.
        low: Shape (n,), fitted scale; −∞ where the reading is below the scale.
        high: The same; ∞ where it is above; equal to `low` where it was read.
        weight: What each row counts: 1, or a share where several readings make one run.
        batch: Batch of each row; None without a random batch.
    """

    design: FloatArray
    low: FloatArray
    high: FloatArray
    weight: FloatArray
    batch: tuple[str, ...] | None = None

    @property
    def is_exact(self) -> BoolArray:
        """Tell the rows that were read."""
        exact: BoolArray = self.low == self.high
        return exact

    @property
    def stand_in(self) -> FloatArray:
        """One number a row, for starts and pictures: the end that is known, or the middle."""
        open_low, open_high = np.isneginf(self.low), np.isposinf(self.high)
        with np.errstate(invalid="ignore"):
            middle = (self.low + self.high) / 2.0
        value: FloatArray = np.where(open_low, self.high, np.where(open_high, self.low, middle))
        return value


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CensoredFit:
    """What maximum likelihood found.

    Attributes:
        coefficients: Shape (p,).
        sd: Standard deviation within batches.
        batch_sd: Between batches; 0 where none is seen, None without a random batch.
        covariance: Shape (p + 1, p + 1) or (p + 2, p + 2): coefficients, ln sd, batch sd where it
            is above zero; inverse observed information.
        robust: The same by clusters (batches, else rows); None where clusters are too few.
        log_likelihood: Without penalty, readings on the fitted scale.
        maximum: The search.
        runs_off: Direction of the coefficients, shape (p,), along which the likelihood rises for
            ever; then a weak prior holds them. None where it has a top.
    """

    coefficients: FloatArray
    sd: float
    batch_sd: float | None
    covariance: FloatArray
    robust: FloatArray | None
    log_likelihood: float
    maximum: Maximum
    runs_off: FloatArray | None


class PerfectFitError(Exception):
    """The model passes through all readings: nothing is left to tell the scatter."""


def fit_censored(rows: CensoredRows) -> CensoredFit:
    """Fit readings on and off the scale.

    Raises:
        PerfectFitError: The readings leave nothing to tell the scatter.
        DependentColumnsError: The columns cannot be told apart.
    """
    X = rows.design
    start = solve_least_squares(X, rows.stand_in)
    size = max(float(np.std(start.residuals)), 1e-9 * float(np.abs(rows.stand_in).max()), 1e-300)
    Q, back = orthonormal(X)
    centre = X @ start.coefficients
    task = _task(rows, Q, (rows.low - centre) / size, (rows.high - centre) / size)
    direction = _direction(rows, task)
    if direction is not None:
        if abs(direction[-1]) > _TURNS:
            raise PerfectFitError
        task = replace(task, penalty=np.pad(prior_of(Q, PRIOR_SPREAD), (0, 1)))
    maximum = maximise(task, np.append(np.zeros(X.shape[1]), 1.0))
    if maximum is None:
        raise PerfectFitError
    runs_off = None if direction is None else back @ direction[:-1]
    return _in_lab_units(rows, maximum, start.coefficients, size * back, size, runs_off)


# A direction that changes 1/σ is that of a perfect fit.
_TURNS = 1e-7


def _task(rows: CensoredRows, Q: FloatArray, low: FloatArray, high: FloatArray) -> LikelihoodTask:
    # z = γ y − x'δ for both ends; unknown ends stay out of the design.
    n, p = Q.shape
    exact = rows.is_exact
    has_low, has_high = np.isfinite(low), np.isfinite(high) & ~exact
    design = np.zeros((3, n, p + 1))
    loading = np.zeros((3, n))
    for m, (end, has) in enumerate(((low, has_low), (high, has_high))):
        design[m, has, :p] = -Q[has]
        design[m, has, p] = end[has]
        loading[m, has] = -1.0
    design[2, :, p] = 1.0
    return LikelihoodTask(
        form=gaussian_form(has_low & ~exact, has_high, exact),
        design=design,
        offset=np.zeros((3, n)),
        loading=loading,
        weight=rows.weight,
        batch=rows.batch,
    )


def _direction(rows: CensoredRows, task: LikelihoodTask) -> FloatArray | None:
    exact = rows.is_exact
    low, high, _ = task.design
    open_low, open_high = np.isfinite(rows.low) & ~exact, np.isfinite(rows.high) & ~exact
    gamma = np.zeros((1, low.shape[1]))
    gamma[0, -1] = 1.0
    return endless_direction(low[exact], np.vstack([-low[open_low], high[open_high], gamma]))


def _in_lab_units(
    rows: CensoredRows,
    maximum: Maximum,
    start: FloatArray,
    back: FloatArray,
    size: float,
    runs_off: FloatArray | None,
) -> CensoredFit:
    p = len(start)
    d, gamma = maximum.at[:p], float(maximum.at[p])
    tau = float(maximum.at[p + 1]) if rows.batch is not None else None
    k = p + 1 + int(maximum.has_spread)
    # β = start + back d/γ, ln σ = ln size − ln γ, σ_batch = size τ/γ.
    J = np.zeros((k, k))
    J[:p, :p] = back / gamma
    J[:p, p] = -back @ d / gamma**2
    J[p, p] = -1.0 / gamma
    if maximum.has_spread and tau is not None:
        J[p + 1, p] = -size * tau / gamma**2
        J[p + 1, p + 1] = size / gamma
    inverse = inverse_information(maximum)
    robust = robust_covariance(maximum, inverse)
    return CensoredFit(
        coefficients=start + back @ d / gamma,
        sd=size / gamma,
        batch_sd=None if tau is None else size * tau / gamma,
        covariance=J @ inverse @ J.T,
        robust=None if robust is None else J @ robust @ J.T,
        log_likelihood=maximum.evaluation.plain
        - float(rows.weight[rows.is_exact].sum()) * float(np.log(size)),
        maximum=maximum,
        runs_off=runs_off,
    )
