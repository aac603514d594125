"""Time the search for optimal plans against an independent library; prints, asserts nothing.

Run: python -m tests.benchmarks.optimal_times [--most 30] [words of a problem]

The library (see `optimal_outside`) starts again with its candidates in another order until it is
within 0.1 % of our plan; of two algorithms and two lists of candidates the fastest counts. It is
stopped after six times our time, two seconds at least and `--most` seconds at most: "never" then
stands before the part of our quality that it had. A second table shows what one start costs as
problems grow; a last line times the whole command `millbase plan`.
"""

from __future__ import annotations

import argparse
import csv
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from doe.layouts.optimal.among import exchange_among
from doe.layouts.optimal.bounds import combinations_of
from doe.layouts.optimal.crowd import Problem, Surroundings, make_crowd
from doe.layouts.optimal.exchange_many import Plans, random_plans
from doe.layouts.optimal.polish import polish
from doe.layouts.optimal.search import best_plan, prepared
from tests.benchmarks.optimal_best_known import best_known
from tests.benchmarks.optimal_outside import (
    LEVELS,
    METHODS,
    VERSION,
    Reached,
    is_for_library,
    library,
    library_plan,
)
from tests.benchmarks.optimal_problems import (
    CASES,
    Case,
    case_named,
    efficiency,
    value_of,
    wanted_of,
)

# As good as ours: within this part.
EQUAL = 0.999
LONGER, AT_LEAST = 6.0, 2.0
# Problems of growing size, one start of each is timed; and chains that climb side by side in it.
GROWING = tuple(
    case_named(name)
    for name in (
        "2 factors, 12 runs, I",
        "3 factors, 16 runs, I",
        "4 factors, 25 runs, I",
        "5 factors, 35 runs, I",
        "6 factors, 36 runs, I",
        "7 factors, 46 runs, I",
    )
)
SIDE_BY_SIDE = 24
BRIEF = """format = 1
[study]
title = "Five ranges (invented)"
{factors}
[[response]]
name = "viscosity"
"""


def against_library(cases: list[Case], most: float) -> None:
    """Print our time, the library's time for equal quality, and the ratio."""
    there = library() is not None
    if not there:
        print(f"{VERSION} is not installed: our times alone (see tests.benchmarks.optimal_outside)")
    print(f"{'problem':44s} {'ours, s':>8s} {VERSION + ', s':>16s} {'times faster':>12s}")
    slow: list[str] = []
    for case in cases:
        begun = time.perf_counter()
        values = best_plan(wanted_of(case)).values
        ours = time.perf_counter() - begun
        if not there or not is_for_library(case):
            why = "" if not there else "cannot state it"
            print(f"{case.name:44s} {ours:8.2f} {why:>16s}", flush=True)
            continue
        value = value_of(case, values)
        limit = min(max(LONGER * ours, AT_LEAST), most)
        theirs, share = _quickest(case, value, limit)
        if share >= EQUAL:
            line, ratio = f"{theirs:16.2f}", f"{theirs / ours:12.1f}"
            if theirs < 5 * ours:
                slow.append(f"{case.name} ({theirs / ours:.1f})")
        else:
            best = "no plan" if np.isnan(share) else f"{100 * share:.2f} %"
            line, ratio = f"{'never':>16s}", f"> {limit / ours:.1f}, {best}"
        print(f"{case.name:44s} {ours:8.2f} {line} {ratio:>12s}", flush=True)
    if there:
        print(f"less than five times faster at equal quality: {'; '.join(slow) or 'none'}")


def _quickest(case: Case, value: float, limit: float) -> tuple[float, float]:
    """Give the library's best time to our quality, else its best quality (NaN without a plan)."""
    enough = value * EQUAL if case.criterion == "D" else value / EQUAL
    tries: list[Reached] = []
    for levels in LEVELS:
        for method in METHODS:
            # A way that is slower than the best so far need not end.
            reached = [one.seconds for one in tries if _share(case, one, value) >= EQUAL]
            own = min([limit, *reached])
            tries.append(library_plan(case, levels, method, enough=enough, seconds=own))
    reached = [one.seconds for one in tries if _share(case, one, value) >= EQUAL]
    if reached:
        return min(reached), 1.0
    shares = [_share(case, one, value) for one in tries if np.isfinite(one.value)]
    return limit, max(shares, default=np.nan)


def _share(case: Case, one: Reached, value: float) -> float:
    return efficiency(case, one.value, value) if np.isfinite(one.value) else 0.0


def growth() -> None:
    """Print the cost of one start beside runs × terms² × candidates or coordinates."""
    print("\ncost of one sweep of one start, in ms, and slopes against the size on log scales")
    print(f"{'problem':28s} {'n p² g':>10s} {'candidates':>10s} {'n p² k':>9s} "
          f"{'polish':>8s} {'lines':>8s}")  # fmt: skip
    rows = []
    for case in GROWING:
        problem, _ = prepared(wanted_of(case))
        n, k = problem.n, len(problem.bounds.coding.axes)
        p, g = len(problem.goal.basis), len(problem.candidates)
        costs = [_cost(problem, sweep) for sweep in (_among, _polish, _lines)]
        sizes = (n * p * p * g, n * p * p * k)
        rows.append((*sizes, *costs))
        print(f"{case.name:28s} {sizes[0]:10.2g} {1e3 * costs[0]:10.3f} {sizes[1]:9.2g} "
              f"{1e3 * costs[1]:8.3f} {1e3 * costs[2]:8.3f}")  # fmt: skip
    logs = np.log(np.array(rows))
    slopes = [
        np.polyfit(logs[:, size], logs[:, cost], 1)[0] for size, cost in ((0, 2), (1, 3), (1, 4))
    ]
    print(f"slopes: candidates {slopes[0]:.2f}, polish {slopes[1]:.2f}, lines {slopes[2]:.2f} "
          "(1 or less: no faster than the size)")  # fmt: skip


def _cost(problem: Problem, sweep: Callable[[Problem, np.random.Generator], float]) -> float:
    return min(sweep(problem, np.random.default_rng(seed)) for seed in range(3)) / SIDE_BY_SIDE


def _among(problem: Problem, rng: np.random.Generator) -> float:
    crowd = make_crowd(problem, random_plans(problem, SIDE_BY_SIDE, rng))
    combination = combinations_of(problem.bounds, problem.candidates)
    begun = time.perf_counter()
    exchange_among(problem, crowd, problem.candidates, combination, rng, most=1)
    return time.perf_counter() - begun


def _polish(problem: Problem, rng: np.random.Generator) -> float:
    crowd = make_crowd(problem, random_plans(problem, SIDE_BY_SIDE, rng))
    around = Surroundings(problem)
    begun = time.perf_counter()
    polish(problem, crowd, around, rng, (0.1,), most=1)
    return time.perf_counter() - begun


def _lines(problem: Problem, rng: np.random.Generator) -> float:
    crowd = make_crowd(problem, random_plans(problem, SIDE_BY_SIDE, rng))
    plans = Plans(problem, crowd.x, crowd.combination)
    begun = time.perf_counter()
    plans.sweep(rng, levels=0)
    return time.perf_counter() - begun


def start_up() -> None:
    """Print the time of the whole command on a plan of 28 runs in 5 factors, and its I."""
    case = case_named("5 factors, 28 runs, I")
    names = [factor["name"] for factor in case.family.factors]
    factors = "\n".join(f'[[factor]]\nname = "{name}"\nlow = -1\nhigh = 1' for name in names)
    times, parts = [], []
    for seed in range(3):
        with tempfile.TemporaryDirectory() as folder:
            study = Path(folder)
            (study / "study.toml").write_text(BRIEF.format(factors=factors), encoding="utf-8")
            command = [
                sys.executable, "-c", "from doe.cli.app import main; main()", "plan", folder,
                "--layout", "optimal", "--criterion", "I", "--runs", "28", "--seed", str(seed),
            ]  # fmt: skip
            begun = time.perf_counter()
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            times.append(time.perf_counter() - begun)
            if done.returncode:
                print(f"millbase plan: {done.stderr.strip()}")
                return
            rows = list(csv.DictReader((study / "plan.csv").open(encoding="utf-8")))
            values = np.array([[float(row[name]) for name in names] for row in rows])
            parts.append(efficiency(case, value_of(case, values), best_known()[case.name]))
    print(
        f"\nmillbase plan, {case.name}, start-up and all: "
        f"{', '.join(f'{t:.2f}' for t in times)} s; of the best known I: "
        f"{', '.join(f'{100 * part:.3f}' for part in parts)} %"
    )


def main() -> None:
    """Print all three, or only the problems whose names hold one of the words."""
    parser = argparse.ArgumentParser()
    parser.add_argument("words", nargs="*")
    parser.add_argument("--most", type=float, default=30.0)
    asked = parser.parse_args()
    cases = [c for c in CASES if not asked.words or any(word in c.name for word in asked.words)]
    against_library(cases, asked.most)
    if not asked.words:
        growth()
        start_up()


if __name__ == "__main__":
    main()
