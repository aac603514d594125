"""Counts: Poisson, or negative binomial where they scatter more, by maximum likelihood.

Source:
    McCullagh and Nelder (1989), Generalized Linear Models, 2nd ed., chapter 6; the test on the edge
    of the parameter: Self and Liang (1987), J. Am. Stat. Assoc. 82, 605-610, case 5.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from analysis.fits.likelihood.link_fit import LinkFit
from analysis.fits.likelihood.marginal import LikelihoodTask
from analysis.fits.likelihood.maximise import Maximum, maximise
from analysis.fits.likelihood.orthonormal import orthonormal
from analysis.fits.likelihood.row_forms import negative_binomial_form, poisson_form
from analysis.fits.likelihood.separation import endless_direction
from analysis.fits.likelihood.uncertainty import inverse_information, robust_covariance
from analysis.fits.likelihood.weak_prior import PRIOR_SPREAD, prior_of
from doe.study.settings import FloatArray

# ln α to start the search from, and where counts cannot be told from Poisson counts.
_STARTS = (-2.0, 0.0)
_NO_EXTRA = -12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CountRows:
    """n counted rows.

    Attributes:
        design: Shape (n, p), full rank.
        count: Shape (n,), whole numbers; the sum where a run was counted several times.
        times: Shape (n,), how often it was counted.
        batch: Batch of each row; None without a random batch.
    """

    design: FloatArray
    count: FloatArray
    times: FloatArray
    batch: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MoreScatter:
    """Likelihood-ratio test of Poisson counts against negative binomial ones.

    Attributes:
        statistic: Twice the gain of log-likelihood.
        p: Half the upper tail of χ² with one degree of freedom, as α cannot be negative.
        overdispersion: α of the variance μ + α μ²; 0 where no more scatter is seen.
    """

    statistic: float
    p: float
    overdispersion: float


def fit_poisson(rows: CountRows) -> LinkFit:
    """Fit Poisson counts; parameters are the p coefficients of ln mean."""
    Q, back = orthonormal(rows.design)
    task, direction = _held(rows, _task(rows, Q, extra=False), Q)
    maximum = maximise(task, _start(rows, Q))
    if maximum is None:
        raise ValueError("the start has no likelihood")
    return _in_words(rows, maximum, back, direction)


def fit_negative_binomial(rows: CountRows, poisson: LinkFit) -> LinkFit | None:
    """Fit counts that scatter more; parameters are the p coefficients, then ln α.

    Returns:
        None where no more scatter is seen: α then runs to zero.
    """
    Q, back = orthonormal(rows.design)
    task, direction = _held(rows, _task(rows, Q, extra=True), Q)
    p = len(back)
    found = [maximise(task, np.append(poisson.maximum.at[:p], start)) for start in _STARTS]
    tops = [top for top in found if top is not None and top.is_found and top.at[p] > _NO_EXTRA]
    if not tops:
        return None
    best = max(tops, key=lambda top: top.evaluation.value)
    return _in_words(rows, best, back, direction)


def more_scatter(poisson: LinkFit, wider: LinkFit | None, n_columns: int) -> MoreScatter:
    """Test whether counts scatter more than Poisson counts do."""
    gain = 0.0 if wider is None else 2.0 * (wider.log_likelihood - poisson.log_likelihood)
    if wider is None or gain <= 0.0:
        return MoreScatter(statistic=0.0, p=0.5, overdispersion=0.0)
    return MoreScatter(
        statistic=gain,
        p=0.5 * float(stats.chi2.sf(gain, 1)),
        overdispersion=float(np.exp(wider.parameters[n_columns])),
    )


def _task(rows: CountRows, Q: FloatArray, *, extra: bool) -> LikelihoodTask:
    n, p = Q.shape
    m = 2 if extra else 1
    design = np.zeros((m, n, p + m - 1))
    design[0, :, :p] = Q
    offset, loading = np.zeros((m, n)), np.zeros((m, n))
    offset[0], loading[0] = np.log(rows.times), 1.0
    if extra:
        # The sum of r independent counts is negative binomial with α/r.
        design[1, :, p] = 1.0
        offset[1] = -np.log(rows.times)
    return LikelihoodTask(
        form=(negative_binomial_form if extra else poisson_form)(rows.count),
        design=design,
        offset=offset,
        loading=loading,
        weight=np.ones(n),
        batch=rows.batch,
    )


def _held(
    rows: CountRows, task: LikelihoodTask, Q: FloatArray
) -> tuple[LikelihoodTask, FloatArray | None]:
    # Where nothing was counted the mean may sink for ever; elsewhere it must stay.
    nothing = rows.count == 0
    direction = endless_direction(Q[~nothing], -Q[nothing])
    if direction is None:
        return task, None
    penalty = np.zeros((task.n_fixed, task.n_fixed))
    p = Q.shape[1]
    penalty[:p, :p] = prior_of(Q, PRIOR_SPREAD)
    return replace(task, penalty=penalty), direction


def _start(rows: CountRows, Q: FloatArray) -> FloatArray:
    start: FloatArray = Q.T @ np.log((rows.count + 0.5) / rows.times)
    return start


def _in_words(
    rows: CountRows, maximum: Maximum, back: FloatArray, direction: FloatArray | None
) -> LinkFit:
    p = len(back)
    inverse = inverse_information(maximum)
    J = np.eye(len(inverse))
    J[:p, :p] = back
    robust = robust_covariance(maximum, inverse)
    k = len(maximum.at) - int(rows.batch is not None)
    return LinkFit(
        parameters=J[:k, :k] @ maximum.at[:k],
        covariance=J @ inverse @ J.T,
        robust=None if robust is None else J @ robust @ J.T,
        batch_sd=None if rows.batch is None else float(maximum.at[-1]),
        log_likelihood=maximum.evaluation.plain,
        maximum=maximum,
        runs_off=None if direction is None else J[:p, :p] @ direction,
    )
