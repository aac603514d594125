"""Rows in strata fitted against a library's mixed model, same rows; asserts nothing.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.mixed_times [--rounds 5]

Ours gives more in its time: adjusted covariance, slopes and information for every test. The last
column is our restricted log-likelihood less the library's, both taken at the variances found by one
plain formula: 0 or above means that ours is at least as high.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Callable

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from analysis.fits.reml import solve_mixed
from doe.model.strata import Strata, Stratum, make_strata
from doe.study.settings import FloatArray, IntArray

SEED = 20261128


def rows(
    n_days: int, batches_a_day: int, samples: int, p: int, *, days: bool
) -> tuple[FloatArray, FloatArray, Strata]:
    """Make rows of a nested chain with unequal batches: one in ten rows is lost."""
    rng = np.random.default_rng(SEED)
    batch = np.repeat(np.arange(n_days * batches_a_day), samples)
    kept = rng.random(len(batch)) > 0.1
    batch = batch[kept]
    day = batch // batches_a_day
    X = np.column_stack([np.ones(len(batch)), rng.uniform(-1, 1, (len(batch), p - 1))])
    y = X.sum(axis=1) + rng.normal(size=batch.max() + 1)[batch] + rng.normal(size=len(batch))
    units = [Stratum(name="batch", unit=batch)]
    if days:
        y = y + rng.normal(size=n_days)[day]
        units.insert(0, Stratum(name="day", unit=day))
    return X, y, make_strata(len(y), units)


def height(X: FloatArray, y: FloatArray, strata: Strata, variances: FloatArray) -> float:
    """Give the restricted log-likelihood by whole matrices."""
    V = variances[-1] * np.eye(len(y))
    for one, variance in zip(strata.random, variances, strict=False):
        V += variance * (one.unit[:, None] == one.unit)
    inverse = np.linalg.inv(V)
    inner = X.T @ inverse @ X
    left = y - X @ np.linalg.solve(inner, X.T @ inverse @ y)
    parts = np.linalg.slogdet(V)[1] + np.linalg.slogdet(inner)[1] + left @ inverse @ left
    return float(-0.5 * parts)


def library(X: FloatArray, y: FloatArray, strata: Strata) -> FloatArray:
    """Fit by the library; gives variances, coarsest first, residual last."""
    units = [one.unit for one in strata.random]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if len(units) == 1:
            found = MixedLM(y, X, groups=units[0]).fit(reml=True)
            return np.array([float(found.cov_re[0, 0]), float(found.scale)])
        exog = {"batch": _members_in(units[0], units[1])}
        found = MixedLM(y, X, groups=units[0], exog_re=np.ones((len(y), 1)), exog_vc=exog).fit(
            reml=True
        )
        return np.array([float(found.cov_re[0, 0]), float(found.vcomp[0]), float(found.scale)])


def _members_in(group: IntArray, unit: IntArray) -> dict[int, FloatArray]:
    return {
        int(g): np.asarray(
            unit[group == g][:, None] == np.unique(unit[group == g]), dtype=np.float64
        )
        for g in np.unique(group)
    }


def best_time(work: Callable[[], object], rounds: int) -> float:
    """Give the shortest of some rounds, ms."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(1e3 * (time.perf_counter() - start))
    return min(times)


def main() -> None:
    """Print one line a size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    print(" rows   p       strata   ours ms   library   ratio  higher by")
    for n_days, batches, samples, p, days in (
        (4, 3, 3, 6, False),
        (6, 4, 4, 10, False),
        (25, 5, 4, 15, False),
        (4, 3, 3, 6, True),
        (6, 4, 4, 10, True),
        (25, 5, 4, 15, True),
    ):
        print(_line(*rows(n_days, batches, samples, p, days=days), rounds))


def _line(X: FloatArray, y: FloatArray, strata: Strata, rounds: int) -> str:
    mine = best_time(lambda: solve_mixed(X, y, strata), rounds)
    theirs = best_time(lambda: library(X, y, strata), min(rounds, 3))
    heights = [
        height(X, y, strata, variances)
        for variances in (solve_mixed(X, y, strata).components, library(X, y, strata))
    ]
    names = "+".join(one.name for one in strata.random)
    return (
        f"{len(y):>5} {X.shape[1]:>3} {names:>12} {mine:>9.1f} {theirs:>9.1f} "
        f"{theirs / mine:>7.1f} {heights[0] - heights[1]:>10.1e}"
    )


if __name__ == "__main__":
    main()
