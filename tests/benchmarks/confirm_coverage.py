"""How often confirmation passes where the formula is right, and fails where it is off.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.confirm_coverage [--rounds 400]

Invented studies of two responses that scatter together by 0.7, a true plane, eight batches of two
runs; then a round of confirmation batches from the same truth, judged by the frozen rule. Told for
each ratio of the variances of batches and runs and each number of batches: part that passes, 95 %
stated, with its standard error, and the part that fails where the first response is off by three
standard deviations of a run. Asserts nothing.
"""

from __future__ import annotations

import argparse

import numpy as np

from tests.analysis.agreement.small_rounds import a_round


def main() -> None:
    """Print one line a case."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--rounds", type=int, default=400)
    rounds = parser.parse_args().rounds
    print("ratio  batches  passes if right  error  fails if off by 3 sd")
    for ratio in (0.0, 1.0, 4.0):
        for n in (2, 4):
            rng = np.random.default_rng([23, int(10 * ratio), n])
            right = np.mean([bool(a_round(rng, ratio=ratio, n=n).passed) for _ in range(rounds)])
            fails = [not a_round(rng, ratio=ratio, n=n, off=3.0).passed for _ in range(rounds // 4)]
            error = (right * (1 - right) / rounds) ** 0.5
            print(f"{ratio:5.1f}  {n:7d}  {right:15.3f}  {error:5.3f}  {np.mean(fails):20.3f}")


if __name__ == "__main__":
    main()
