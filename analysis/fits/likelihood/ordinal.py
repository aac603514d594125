"""Ratings by proportional odds: thresholds and one surface, by maximum likelihood.

Source:
    McCullagh (1980), J. R. Stat. Soc. B 42, 109-142; with a random batch Hedeker and Gibbons
    (1994), Biometrics 50, 933-944.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special, stats

from analysis.fits.likelihood.link_fit import LinkFit
from analysis.fits.likelihood.marginal import LikelihoodTask
from analysis.fits.likelihood.maximise import maximise
from analysis.fits.likelihood.orthonormal import orthonormal
from analysis.fits.likelihood.row_forms import ordinal_form
from analysis.fits.likelihood.separation import endless_direction
from analysis.fits.likelihood.uncertainty import inverse_information, robust_covariance
from analysis.fits.likelihood.weak_prior import PRIOR_SPREAD, prior_of
from doe.study.settings import BoolArray, FloatArray, IntArray

# Batches further apart than this on the logistic scale are told from each other by every rating:
# the spread then has no top of its own and is held as the coefficients are.
_LARGEST_SPREAD = 15.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrdinalRows:
    """n rated rows.

    Attributes:
        design: Shape (n, p); no column and no sum of columns may be constant: thresholds are.
        place: Shape (n,), class of each row, 0 to K − 1, each of them present.
        batch: Batch of each row; None without a random batch.
    """

    design: FloatArray
    place: IntArray
    batch: tuple[str, ...] | None = None

    @property
    def n_classes(self) -> int:
        """The K classes."""
        return int(self.place.max()) + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ProportionalOdds:
    """Likelihood-ratio test of one surface for all thresholds against one for each.

    Attributes:
        statistic: Twice the gain of log-likelihood.
        df: Slopes more.
        p: By the χ² approximation; rough while classes hold few rows.
    """

    statistic: float
    df: int
    p: float


def fit_ordinal(rows: OrdinalRows) -> LinkFit:
    """Fit ratings: parameters are K − 1 thresholds, then p slopes, P(class ≤ j) = F(θ_j − x'β).

    Raises:
        ValueError: Fewer than two classes.
    """
    if rows.n_classes < 2:
        raise ValueError("one class only")
    cuts, p = rows.n_classes - 1, rows.design.shape[1]
    Q, back = orthonormal(rows.design)
    task = _task(rows, Q, cuts)
    direction = _direction(rows, task)
    if direction is not None:
        penalty = np.zeros((cuts + p, cuts + p))
        penalty[cuts:, cuts:] = prior_of(Q, PRIOR_SPREAD)
        # Thresholds may run off alone: they get a prior of their own about their mean.
        about = np.eye(cuts) - 1.0 / cuts
        penalty[:cuts, :cuts] = about / (4.0 * PRIOR_SPREAD**2) + 1.0 / (16.0 * PRIOR_SPREAD**2)
        task = replace(task, penalty=penalty)
    start = _start(rows, cuts, p)
    maximum = maximise(task, start)
    if maximum is not None and maximum.has_spread and maximum.at[-1] > _LARGEST_SPREAD:
        maximum = maximise(replace(task, spread_penalty=1.0 / PRIOR_SPREAD**2), start)
    if maximum is None:
        raise ValueError("the start has no likelihood")
    J = np.eye(cuts + p + int(maximum.has_spread))
    J[cuts : cuts + p, cuts : cuts + p] = back
    inverse = inverse_information(maximum)
    robust = robust_covariance(maximum, inverse)
    k = cuts + p
    return LinkFit(
        parameters=J[:k, :k] @ maximum.at[:k],
        covariance=J @ inverse @ J.T,
        robust=None if robust is None else J @ robust @ J.T,
        batch_sd=None if rows.batch is None else float(maximum.at[-1]),
        log_likelihood=maximum.evaluation.plain,
        maximum=maximum,
        runs_off=None if direction is None else J[:k, :k] @ direction,
    )


def proportional_odds(rows: OrdinalRows, fitted: LinkFit) -> ProportionalOdds | None:
    """Test whether one surface serves all thresholds.

    Returns:
        None with two classes, where a separate surface a threshold has no top of its likelihood,
        or where there are as many parameters as rows.
    """
    cuts, p = rows.n_classes - 1, rows.design.shape[1]
    if cuts < 2 or p == 0 or fitted.runs_off is not None:
        return None
    if cuts * (p + 1) >= len(rows.design):
        return None
    Q, _ = orthonormal(rows.design)
    task = _apart(rows, Q, cuts)
    if _direction(rows, task) is not None:
        return None
    at = fitted.maximum.at[: cuts + p]
    start = np.concatenate([at[:cuts], np.tile(at[cuts:], cuts)])
    wider = maximise(task, start)
    if wider is None or not wider.is_found:
        return None
    gain = max(2.0 * (wider.evaluation.plain - fitted.log_likelihood), 0.0)
    df = (cuts - 1) * p
    return ProportionalOdds(statistic=gain, df=df, p=float(stats.chi2.sf(gain, df)))


def _task(rows: OrdinalRows, X: FloatArray, cuts: int) -> LikelihoodTask:
    n, p = X.shape
    design = np.zeros((2, n, cuts + p))
    loading = np.zeros((2, n))
    for m, has, cut in _ends(rows, cuts):
        design[m, has, cut[has]] = 1.0
        design[m, has, cuts:] = -X[has]
        loading[m, has] = -1.0
    return _with(rows, design, loading, cuts)


def _apart(rows: OrdinalRows, X: FloatArray, cuts: int) -> LikelihoodTask:
    """Give every threshold slopes of its own, cut by cut after the thresholds."""
    n, p = X.shape
    design = np.zeros((2, n, cuts + cuts * p))
    loading = np.zeros((2, n))
    for m, has, cut in _ends(rows, cuts):
        design[m, has, cut[has]] = 1.0
        loading[m, has] = -1.0
        for j in range(cuts):
            own = has & (cut == j)
            design[m, own, cuts + j * p : cuts + (j + 1) * p] = -X[own]
    return _with(rows, design, loading, cuts)


def _ends(rows: OrdinalRows, cuts: int) -> tuple[tuple[int, BoolArray, IntArray], ...]:
    """Give the two ends of each row's class: which rows have one, and at which threshold."""
    return ((0, rows.place > 0, rows.place - 1), (1, rows.place < cuts, rows.place))


def _with(rows: OrdinalRows, design: FloatArray, loading: FloatArray, cuts: int) -> LikelihoodTask:
    return LikelihoodTask(
        form=ordinal_form(rows.place > 0, rows.place < cuts),
        design=design,
        offset=np.zeros(loading.shape),
        loading=loading,
        weight=np.ones(loading.shape[1]),
        batch=rows.batch,
    )


def _direction(rows: OrdinalRows, task: LikelihoodTask) -> FloatArray | None:
    low, high = task.design
    cuts = rows.n_classes - 1
    nothing = np.zeros((0, task.n_fixed))
    rising = np.vstack([-low[rows.place > 0], high[rows.place < cuts]])
    return endless_direction(nothing, rising)


def _start(rows: OrdinalRows, cuts: int, p: int) -> FloatArray:
    counts = np.bincount(rows.place, minlength=cuts + 1)
    return np.concatenate([special.logit(np.cumsum(counts)[:-1] / counts.sum()), np.zeros(p)])
