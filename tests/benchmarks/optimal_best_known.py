"""Look for better plans by any means, and keep the best values in optimal_best_known.json.

Run: python -m tests.benchmarks.optimal_best_known [--seconds 30] [--seed 1] [words of a problem]

Three means share the time: our search from seed after seed, the independent library, and L-BFGS-B
from random plans (see `optimal_outside`). Every plan is polished by L-BFGS-B in the end, so that no
value is held back by the mesh on which our plans are settled. A value is only replaced by a better
one; with it stand the program, its version and the seed that found it.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path

import numpy as np
import scipy

from doe.layouts.optimal.exchange_many import random_plans
from doe.layouts.optimal.search import best_plan, prepared
from doe.model.coding import decode
from doe.study.settings import FloatArray
from tests.benchmarks.optimal_outside import (
    LEVELS,
    METHODS,
    VERSION,
    is_for_library,
    library,
    library_plan,
    polished,
)
from tests.benchmarks.optimal_problems import CASES, Case, efficiency, value_of, wanted_of

KEPT = Path(__file__).with_suffix(".json")
# A value must be better by this part to replace another.
BETTER = 1e-8


def best_known() -> dict[str, float]:
    """Read the best known value of every problem."""
    kept = json.loads(KEPT.read_text(encoding="utf-8"))
    return {name: float(entry["value"]) for name, entry in kept.items()}


def look(case: Case, seconds: float, seed: int) -> Iterator[tuple[FloatArray, str, int]]:
    """Give one plan after the other with who found it and from which seed."""
    problem, _ = prepared(wanted_of(case))
    scipy_says = f"scipy {scipy.__version__}, L-BFGS-B from random plans"
    begun = time.perf_counter()
    rng = np.random.default_rng(seed)
    while time.perf_counter() - begun < seconds / 4:
        x = random_plans(problem, 1, rng)[0]
        yield decode(x, problem.region.coding), scipy_says, seed
    if library() is not None and is_for_library(case):
        for levels in LEVELS:
            for method in METHODS:
                never = np.inf if case.criterion == "D" else 1e-300
                found = library_plan(
                    case, levels, method, enough=never, seconds=seconds / 16, seed=seed
                )
                if found.values is not None:
                    yield found.values, f"{VERSION}, {method} on {levels} levels", seed
    while time.perf_counter() - begun < seconds:
        yield best_plan(wanted_of(case, seed=seed)).values, f"millbase {version('millbase')}", seed
        seed += 1


def main() -> None:
    """Look at the problems whose names hold the given words, and write what is better."""
    parser = argparse.ArgumentParser()
    parser.add_argument("words", nargs="*")
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    for case in CASES:
        if asked.words and not any(word in case.name for word in asked.words):
            continue
        kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
        entry = kept.get(case.name)
        for values, who, seed in look(case, asked.seconds, asked.seed):
            value = value_of(case, polished(case, values))
            if not np.isfinite(value) or value <= 0:
                continue
            if entry is None or efficiency(case, value, entry["value"]) > 1 + BETTER:
                entry = {"value": float(f"{value:.10g}"), "by": f"{who}, polished", "seed": seed}
                print(f"{case.name}: {value:.8g} by {who}, seed {seed}", flush=True)
        kept[case.name] = entry
        order = [c.name for c in CASES if c.name in kept]
        text = json.dumps({name: kept[name] for name in order}, indent=1, ensure_ascii=False)
        KEPT.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
