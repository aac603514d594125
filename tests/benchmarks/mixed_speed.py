"""Rows in strata fitted against a library's mixed model, same rows by turns; asserts nothing.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.mixed_speed [--rounds 5]

Published split plots and invented ones of 6 to 18 batches and 20 to 60 rows, with one random
stratum and with two nested ones. Each round fits the same rows three times here and three times
there; told are the middle processor times of all and their ratio. Ours gives more in its time:
adjusted covariance, slopes and information for every test. The last column is our restricted
log-likelihood less the library's, both taken by one plain formula at the variances found: 0 or
above means that ours is at least as high; a star marks a fit that the library itself calls not
converged.
"""

from __future__ import annotations

import argparse
import csv
import statistics
import time
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from analysis.fits.reml import solve_mixed
from doe.model.strata import Strata, Stratum, make_strata
from doe.study.settings import FloatArray, IntArray

REFERENCE = Path(__file__).parents[1] / "reference"
SEED = 20261128
# Fits in a row by each side.
TURN = 3
# Folder, readings, settings (choices), strata from coarse to fine.
PUBLISHED = (
    ("bhh-corrosion-split-plot", "resistance", ("heats", "coating"), ("wp",)),
    ("littell-semiconductor-split-plot", "resistance", ("ET", "position"), ("Grp",)),
    ("montgomery-paper-strength-split-plot", "strength", ("prep", "temp"), ("rep", "wp")),
)
# Days, batches a day, samples a batch, coefficients, variances of days (0: none) and batches.
INVENTED = (
    (3, 2, 4, 6, 0.0, 1.0),
    (5, 2, 4, 8, 0.0, 0.0),
    (4, 3, 3, 6, 0.0, 4.0),
    (6, 3, 3, 10, 0.0, 0.5),
    (4, 2, 3, 4, 1.0, 1.0),
    (4, 3, 3, 6, 0.5, 1.0),
    (5, 3, 4, 8, 1.0, 0.0),
    (6, 3, 3, 10, 2.0, 0.5),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """Rows to fit: columns (n, p), readings (n,) and what the rows share."""

    name: str
    X: FloatArray
    y: FloatArray
    strata: Strata


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """Variances, coarsest first and residual last, and the processor time they took, s."""

    variances: FloatArray
    seconds: float
    is_settled: bool


def cases() -> Iterator[Case]:
    """Give the published rows, then the invented ones."""
    for folder, y, settings, strata in PUBLISHED:
        file = next(iter(sorted((REFERENCE / folder).glob("*.csv"))))
        with file.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        parts = [_choice([row[name] for row in rows]) for name in settings]
        parts.append(np.einsum("ni,nj->nij", *parts).reshape(len(rows), -1))
        units = [Stratum(name=one, unit=_numbers([row[one] for row in rows])) for one in strata]
        yield Case(
            name=folder,
            X=np.hstack([np.ones((len(rows), 1)), *parts]),
            y=np.array([float(row[y]) for row in rows]),
            strata=make_strata(len(rows), units),
        )
    for sizes in INVENTED:
        yield _invented(*sizes)


def ours(case: Case) -> Found:
    """Fit here."""
    start = time.process_time()
    found = solve_mixed(case.X, case.y, case.strata)
    return Found(
        variances=found.components,
        seconds=time.process_time() - start,
        is_settled=found.optimum.is_settled,
    )


def theirs(case: Case) -> Found:
    """Fit by the library; a finer stratum is a variance of its own within the coarser one."""
    units = [one.unit for one in case.strata.random]
    extra = {}
    if len(units) == 2:
        inner = {int(g): _members(units[1][units[0] == g]) for g in np.unique(units[0])}
        extra = {"exog_re": np.ones((len(case.y), 1)), "exog_vc": {"finer": inner}}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        start = time.process_time()
        found = MixedLM(case.y, case.X, groups=units[0], **extra).fit(reml=True)
        seconds = time.process_time() - start
    finer = [float(value) for value in found.vcomp]
    return Found(
        variances=np.array([float(found.cov_re[0, 0]), *finer, float(found.scale)]),
        seconds=seconds,
        is_settled=bool(found.converged),
    )


def height(case: Case, variances: FloatArray) -> float:
    """Give the restricted log-likelihood by whole matrices, up to a constant."""
    X, y = case.X, case.y
    V = variances[-1] * np.eye(len(y))
    for one, variance in zip(case.strata.random, variances, strict=False):
        V += variance * (one.unit[:, None] == one.unit)
    inverse = np.linalg.inv(V)
    inner = X.T @ inverse @ X
    left = y - X @ np.linalg.solve(inner, X.T @ inverse @ y)
    parts = np.linalg.slogdet(V)[1] + np.linalg.slogdet(inner)[1] + left @ inverse @ left
    return float(-0.5 * parts)


def main() -> None:
    """Print one line a case."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    print(f"{'case':<38}rows   p  strata  ours ms  library  ratio  higher by")
    for case in cases():
        mine: list[Found] = []
        others: list[Found] = []
        for _ in range(rounds):
            mine += [ours(case) for _ in range(TURN)]
            others += [theirs(case) for _ in range(TURN)]
        here, there = (
            1e3 * statistics.median(one.seconds for one in found) for found in (mine, others)
        )
        gain = height(case, mine[-1].variances) - height(case, others[-1].variances)
        print(
            f"{case.name:<38}{len(case.y):>4} {case.X.shape[1]:>3} {len(case.strata.random):>7} "
            f"{here:>8.1f} {there:>8.1f} {there / here:>6.1f} {gain:>10.1e}"
            f"{'' if others[-1].is_settled else ' *'}",
            flush=True,
        )


def _invented(
    n_days: int, batches: int, samples: int, p: int, of_days: float, of_batches: float
) -> Case:
    """Make unequal batches: one row in ten is lost."""
    rng = np.random.default_rng([SEED, n_days, batches, samples])
    batch = np.repeat(np.arange(n_days * batches), samples)
    batch = batch[np.sort(rng.permutation(len(batch))[: round(0.9 * len(batch))])]
    day = batch // batches
    X = np.column_stack([np.ones(len(batch)), rng.uniform(-1, 1, (len(batch), p - 1))])
    y = X.sum(axis=1) + rng.normal(size=len(batch))
    y = y + of_batches**0.5 * rng.normal(size=n_days * batches)[batch]
    y = y + of_days**0.5 * rng.normal(size=n_days)[day]
    units = [Stratum(name="day", unit=day)] if of_days else []
    return Case(
        name=f"{n_days * batches} batches, variances {of_days:g} + {of_batches:g} + 1",
        X=X,
        y=y,
        strata=make_strata(len(y), [*units, Stratum(name="batch", unit=batch)]),
    )


def _choice(labels: list[str]) -> FloatArray:
    """Columns of a choice, summing to zero over its levels."""
    every = _members(_numbers(labels))
    return every[:, :-1] - every[:, -1:]


def _numbers(labels: list[str]) -> IntArray:
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)


def _members(unit: IntArray) -> FloatArray:
    return np.asarray(unit[:, None] == np.unique(unit), dtype=np.float64)


if __name__ == "__main__":
    main()
