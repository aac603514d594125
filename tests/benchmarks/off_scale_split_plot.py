"""Bias and coverage where samples of a split-plot gel: by likelihood, and by leaving them out.

Run: python -m tests.benchmarks.off_scale_split_plot [studies a case]
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy import stats

from analysis.fits.fit import Scale
from analysis.fits.likelihood.off_scale_response import fit_off_scale
from doe.errors import FitError
from tests.analysis.fits.likelihood.split_plot import TRUTH, data_of, log_viscosity, read_up_to

# Batch sd, sd within, limit of the instrument on the log scale: about a quarter or two fifths of
# the samples lie beyond it.
CASES = ((0.3, 0.15, 7.0), (0.0, 0.25, 7.0), (0.3, 0.15, 6.6))


def main(studies: int = 100) -> None:
    """Print bias and coverage of 95 % intervals by coefficient: middle, dose, pH, grind time."""
    for seed, (batch_sd, sd, limit) in enumerate(CASES):
        rng = np.random.default_rng(seed)
        by_likelihood, left_out, complete = [], [], []
        covered, covered_out = np.zeros(4), np.zeros(4)
        beyond, zero, held, started = 0.0, 0, 0, time.perf_counter()
        for _ in range(studies):
            z = log_viscosity(rng, batch_sd=batch_sd, sd=sd)
            beyond += float(np.mean(z > limit)) / studies
            data, coding = data_of(read_up_to(np.exp(z), float(np.exp(limit))))
            try:
                found = fit_off_scale(data, coding, model="linear", scale=Scale(name="log"))
            except FitError:
                continue
            fit, out = found.fit, found.facts.left_out
            if out is None:
                continue
            zero += fit.components["batch"] == 0.0
            held += bool(found.facts.held)
            by_likelihood.append(fit.coefficients)
            left_out.append(out.coefficients)
            for one, counts in ((fit, covered), (out, covered_out)):
                reach = stats.t.isf(0.025, one.coefficient_df) * np.sqrt(np.diag(one.covariance))
                counts += np.abs(one.coefficients - TRUTH) < reach
            X = np.column_stack([np.ones(36), (data.whole or data).actual.values])
            X[:, 1:] = (X[:, 1:] - [1.6, 8.75, 30.0]) / [0.8, 0.75, 15.0]
            complete.append(np.linalg.lstsq(X, z, rcond=None)[0])
        n = len(by_likelihood)
        print(f"batch sd {batch_sd}, sd {sd}: {beyond:.0%} off the scale, {n} of {studies} studies")
        print(
            f"  zero component {zero / n:.0%}, held {held}, {time.perf_counter() - started:.0f} s"
        )
        for name, found_all in (
            ("likelihood", by_likelihood), ("left out", left_out), ("all read", complete),
        ):  # fmt: skip
            bias, scatter = np.mean(found_all, axis=0) - TRUTH, np.std(found_all, axis=0)
            print(f"  {name:10} bias {np.round(bias, 3)}  sd {np.round(scatter, 3)}")
        print(f"  coverage by likelihood {np.round(covered / n, 3)}")
        print(f"  coverage by leaving out {np.round(covered_out / n, 3)}", flush=True)


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
