"""Hold the search for optimal plans, at its default effort, to the best values known.

Run: python -m tests.benchmarks.optimal_quality [--seeds 1] [words of a problem]

Prints for each problem the least over the seeds of our value in parts of the best known one (D:
ratio of D; I: best over ours), the time of a search, and how many independent groups of chains
ended at the plan; then which fall short of 99.9 %. Asserts nothing.
"""

from __future__ import annotations

import argparse
import time

from doe.layouts.optimal.search import best_plan
from tests.benchmarks.optimal_best_known import best_known
from tests.benchmarks.optimal_problems import CASES, efficiency, value_of, wanted_of

ENOUGH = 0.999


def main() -> None:
    """Search every problem whose name holds one of the words."""
    parser = argparse.ArgumentParser()
    parser.add_argument("words", nargs="*")
    parser.add_argument("--seeds", type=int, default=1)
    asked = parser.parse_args()
    known = best_known()
    short: list[str] = []
    print(f"{'problem':44s} {'best known':>12s} {'ours':>9s} {'seconds':>8s}  agreeing")
    for case in CASES:
        if asked.words and not any(word in case.name for word in asked.words):
            continue
        parts, times, agreeing = [], [], []
        for seed in range(asked.seeds):
            begun = time.perf_counter()
            found = best_plan(wanted_of(case, seed=seed))
            times.append(time.perf_counter() - begun)
            value = value_of(case, found.values)
            parts.append(efficiency(case, value, known[case.name]))
            agreeing.append(f"{found.agreeing} of {found.groups}")
        print(
            f"{case.name:44s} {known[case.name]:12.6g} {100 * min(parts):7.3f} % "
            f"{sum(times) / len(times):8.2f}  {', '.join(agreeing)}",
            flush=True,
        )
        if min(parts) < ENOUGH:
            short.append(case.name)
    print(f"short of {100 * ENOUGH:g} %: {'; '.join(short) or 'none'}")


if __name__ == "__main__":
    main()
