"""How often 95 % intervals hold the truth where runs share batches; asserts nothing.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.mixed_coverage [--rounds 400]

Batches of three samples; a setting of the batch (coded, three levels) and one of the sample; model
with both, their product and no squares. Told: the coefficient of the batch's setting, the mean at a
corner, one new run in a new batch there; with the part of estimates that are zero, coverage split
by zero and non-zero estimates, and plain least squares of the same rows beside it. The error of a
coverage of 95 % by 400 rounds is 1.1 points.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy import stats

from analysis.fits.kenward_roger import single_df
from analysis.fits.reml import MixedSolution, solve_mixed
from doe.model.strata import Stratum, make_strata
from doe.study.settings import FloatArray

SEED = 20261128
SAMPLES = 3
BATCHES = (6, 9, 12, 18)
RATIOS = (0.0, 0.1, 0.5, 1.0, 4.0)
TRUE = np.array([5.0, 1.0, -0.5, 0.3])
CORNER = np.array([1.0, 1.0, 1.0, 1.0])


def columns(n_batches: int) -> tuple[FloatArray, FloatArray]:
    """Give the batch of each row and the model's columns."""
    batch = np.repeat(np.arange(n_batches), SAMPLES)
    a = np.tile([-1.0, 0.0, 1.0], n_batches)[:n_batches][batch]
    t = np.tile([-1.0, 0.0, 1.0], n_batches)
    return batch, np.column_stack([np.ones(len(batch)), a, t, a * t])


def mixed_cover(fit: MixedSolution, truth: float) -> list[bool]:
    """Tell whether the intervals of coefficient, mean and new run hold their truths."""
    rows = np.vstack([np.eye(4)[1], CORNER])
    known = fit.adjustment
    df = single_df(known, rows)
    sd = np.sqrt(np.einsum("gp,pq,gq->g", rows, fit.covariance, rows))
    half = stats.t.ppf(0.975, df) * sd
    found = rows @ fit.solved.coefficients
    held = [
        bool(abs(v - t) <= h) for v, t, h in zip(found, (TRUE[1], CORNER @ TRUE), half, strict=True)
    ]
    slopes = np.einsum("p,kpq,q->k", CORNER, known.slopes, CORNER) + 1
    plain = float(CORNER @ known.unadjusted @ CORNER) + float(fit.components.sum())
    run_df = 2 * plain**2 / float(slopes @ known.component_covariance @ slopes)
    run_sd = (sd[1] ** 2 + float(fit.components.sum())) ** 0.5
    return [*held, bool(abs(found[1] - truth) <= stats.t.ppf(0.975, run_df) * run_sd)]


def plain_cover(fit: MixedSolution, truth: float) -> list[bool]:
    """Tell the same of least squares of the same rows."""
    plain = fit.plain
    rows = np.vstack([np.eye(4)[1], CORNER])
    variance = np.einsum("gp,pq,gq->g", rows, plain.covariance, rows)
    t = float(stats.t.ppf(0.975, plain.df))
    found = rows @ plain.coefficients
    held = [
        bool(abs(v - w) <= t * s)
        for v, w, s in zip(found, (TRUE[1], CORNER @ TRUE), np.sqrt(variance), strict=True)
    ]
    run = (variance[1] + plain.residual_variance) ** 0.5
    return [*held, bool(abs(found[1] - truth) <= t * run)]


def main() -> None:
    """Print one line for each number of batches and ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=400)
    rounds = parser.parse_args().rounds
    print(
        "                    |            all |       zero est. |      above zero | least squares"
    )
    print(
        "batches ratio zero% | coef mean  run | coef mean   run | coef mean   run | coef mean run"
    )
    for n_batches in BATCHES:
        batch, X = columns(n_batches)
        strata = make_strata(len(X), [Stratum(name="batch", unit=batch.astype(np.int64))])
        for ratio in RATIOS:
            rng = np.random.default_rng([SEED, n_batches, round(10 * ratio)])
            held, plain, zero = [], [], []
            for _ in range(rounds):
                shift = ratio**0.5 * rng.standard_normal(n_batches)
                y = X @ TRUE + shift[batch] + rng.standard_normal(len(X))
                truth = float(CORNER @ TRUE + (1 + ratio) ** 0.5 * rng.standard_normal())
                fit = solve_mixed(X, y, strata)
                held.append(mixed_cover(fit, truth))
                plain.append(plain_cover(fit, truth))
                zero.append(bool(fit.components[0] == 0))
            none = np.array(zero)
            parts = [_per_cent(np.array(held), np.ones(rounds, dtype=np.bool_))]
            parts += [_per_cent(np.array(held), none), _per_cent(np.array(held), ~none)]
            parts.append(_per_cent(np.array(plain), np.ones(rounds, dtype=np.bool_)))
            print(
                f"{n_batches:>7} {ratio:>5} {100 * none.mean():>5.0f} | {' | '.join(parts)}",
                flush=True,
            )


def _per_cent(held: FloatArray, rows: FloatArray) -> str:
    if rows.sum() < 20:
        return "   –    –    –"
    return " ".join(f"{100 * part:>4.1f}" for part in held[rows].mean(axis=0))


if __name__ == "__main__":
    main()
