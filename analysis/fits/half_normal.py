"""Effects in a half-normal plot: which stand out of what chance alone would spread so far.

Every coefficient but the intercept and the shares is set over its standard error; where rows share
units, by the stratum that it is told in, as effects of batches and of samples have different
errors. The envelope is simulated: coefficients that are all zero, tied to each other as those of
the fit are, over errors as uncertain. With as many coefficients as runs there is no error; then the
effects are set over Lenth's pseudo error, which takes them to vary alike, as those of two-level
plans do.

Source:
    Daniel (1959), Technometrics 1, 311-341 (half-normal plots); Atkinson (1981), Biometrika 68,
    13-20 (envelopes); Lenth (1989), Technometrics 31, 469-473.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.fits.assessment import Assessment, CoefficientRow
from analysis.fits.envelope import COVERAGE
from analysis.fits.fit import Fit
from doe.model.strata import RESIDUAL
from doe.study.settings import FloatArray

_SEED = 1959
# All effects share the error, so that all places lie high or low together: more sets than an
# envelope of residuals needs bring the 95 % to within 1 %.
_SIMULATED = 1999
# Two effects lie on any line.
_LEAST = 3
_NOTHING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfNormal:
    """The effects told in one stratum, smallest first.

    Attributes:
        stratum: Where they are told; `residual` for the lowest.
        labels: Their names.
        scores: Half-normal scores of their places.
        effects: Size of each over its standard error, or over Lenth's pseudo error.
        upper: What 95 % of simulated effects that are all zero stay under at each place.
        lower: What 95 % of them stay above.
        by_lenth: Whether the pseudo error stands in for an error that does not exist.
    """

    stratum: str
    labels: tuple[str, ...]
    scores: tuple[float, ...]
    effects: tuple[float, ...]
    upper: tuple[float, ...]
    lower: tuple[float, ...]
    by_lenth: bool = False

    @property
    def standing_out(self) -> tuple[str, ...]:
        """The effects above the envelope, largest first."""
        above = [
            name
            for name, size, top in zip(self.labels, self.effects, self.upper, strict=True)
            if size > top
        ]
        return tuple(reversed(above))


def half_normal_scores(n: int) -> FloatArray:
    """Give the half-normal scores of n ordered sizes, shape (n,).

    Source:
        Φ⁻¹(½ + ½ (i − ½)/n), Daniel (1959).

    Example:
        >>> half_normal_scores(3).round(3)
        array([0.21 , 0.674, 1.383])
    """
    places = (np.arange(1, n + 1) - 0.5) / n
    return np.asarray(stats.norm.ppf(0.5 + 0.5 * places), dtype=np.float64)


def pseudo_error(effects: FloatArray) -> float:
    """Give Lenth's pseudo standard error of effects of equal variance.

    Source:
        Lenth (1989), equations (2) and (3): 1.5 × the median of the sizes below 2.5 × 1.5 × their
        median.
    """
    sizes = np.abs(effects)
    first = 1.5 * float(np.median(sizes))
    near = sizes[sizes < 2.5 * first]
    return 1.5 * float(np.median(near)) if len(near) else first


def half_normal(fit: Fit, assessment: Assessment) -> tuple[HalfNormal, ...]:
    """Order the effects of a fit by size, stratum by stratum, coarsest first.

    Returns:
        None of a stratum that tells fewer than three effects.
    """
    rows = list(assessment.coefficients)
    found = []
    for stratum in assessment.strata or (RESIDUAL,):
        own = [
            j
            for j, row in enumerate(rows)
            if _is_effect(row, fit) and assessment.terms_vary.get(row.label, RESIDUAL) == stratum
        ]
        if len(own) < _LEAST:
            continue
        known = [j for j in own if rows[j].std_error]
        one = (
            _by_error(fit, rows, known)
            if len(known) >= _LEAST
            else _by_lenth(fit, rows, own)
            if not known and len(assessment.strata) < 2
            else None
        )
        if one is not None:
            found.append(_ordered(stratum, *one))
    return tuple(found)


def _is_effect(row: CoefficientRow, fit: Fit) -> bool:
    """Tell the terms for which zero is a sensible hypothesis."""
    shares = {axis.name for axis in fit.coding.shares}
    alone = len(row.powers) == 1 and sum(row.powers.values()) == 1
    blending = len(shares) > 1 and alone and next(iter(row.powers)) in shares
    return bool(row.powers or row.levels) and not blending


_Judged = tuple[tuple[str, ...], FloatArray, FloatArray, bool]


def _by_error(fit: Fit, rows: Sequence[CoefficientRow], own: Sequence[int]) -> _Judged:
    """Set effects over their errors, and simulate the same of effects that are all zero."""
    errors = np.array([rows[j].std_error for j in own], dtype=np.float64)
    effects = np.array([rows[j].estimate for j in own]) / errors
    tied = fit.covariance[np.ix_(own, own)] / np.outer(errors, errors)
    df = np.array([rows[j].df for j in own], dtype=np.float64)
    rng = np.random.default_rng(_SEED)
    z = rng.standard_normal((_SIMULATED, len(own))) @ _root(tied).T
    # One draw of the error for all effects of a stratum: they share it.
    chance = rng.random(_SIMULATED)
    scale = np.column_stack([np.sqrt(stats.chi2.ppf(chance, one) / one) for one in df])
    return tuple(rows[j].label for j in own), np.abs(effects), np.abs(z / scale), False


def _by_lenth(fit: Fit, rows: Sequence[CoefficientRow], own: Sequence[int]) -> _Judged | None:
    """Set effects that vary alike over their pseudo error, and simulate the same."""
    estimates = np.array([rows[j].estimate for j in own])
    error = pseudo_error(estimates)
    if error <= _NOTHING * float(np.abs(estimates).max(initial=0.0)):
        return None
    rng = np.random.default_rng(_SEED)
    z = rng.standard_normal((_SIMULATED, len(own)))
    simulated = np.abs(z) / np.array([[pseudo_error(row)] for row in z])
    return tuple(rows[j].label for j in own), np.abs(estimates) / error, simulated, True


def _ordered(
    stratum: str, labels: tuple[str, ...], effects: FloatArray, simulated: FloatArray, lenth: bool
) -> HalfNormal:
    rank = np.argsort(effects, kind="stable")
    ordered = np.sort(np.sort(simulated, axis=1), axis=0)
    place = round((1 - COVERAGE) * (_SIMULATED + 1)) - 1
    return HalfNormal(
        stratum=stratum,
        labels=tuple(labels[i] for i in rank),
        scores=tuple(map(float, half_normal_scores(len(labels)))),
        effects=tuple(float(effects[i]) for i in rank),
        upper=tuple(map(float, ordered[-1 - place])),
        lower=tuple(map(float, ordered[place])),
        by_lenth=lenth,
    )


def _root(covariance: FloatArray) -> FloatArray:
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    root: FloatArray = vectors * np.sqrt(np.maximum(values, 0.0))
    return root
