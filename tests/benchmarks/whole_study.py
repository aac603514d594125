"""How long the commands take on an invented split plot of 40 runs; asserts nothing.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.whole_study [--profile fit]

Ten batches of four samples, two factors set by batch and three by sample, ten responses, each with
a batch scatter of its own. Told for each command: seconds by the clock and of the processor, from
the start of a new process to its end, and seconds of the processor over those of `--help`, which
does next to nothing. With `--profile COMMAND` the calls that cost most are listed instead.
"""

from __future__ import annotations

import argparse
import cProfile
import csv
import os
import pstats
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from doe.cli.app import run
from doe.study.settings import FloatArray

SEED = 20261128
BATCHES, SAMPLES, RESPONSES = 10, 4, 10
BY_BATCH = (("pigment", 40.0, 60.0), ("mill speed", 6.0, 12.0))
BY_SAMPLE = (("dose", 0.8, 2.4), ("pH", 8.0, 9.5), ("grind time", 15.0, 45.0))
# Standard deviation between batches; 1 within one.
BETWEEN = (0.0, 0.3, 0.7, 1.0, 1.5, 2.0, 0.5, 0.0, 1.0, 3.0)


def write_study(study: Path) -> Path:
    """Write the brief into a new folder and give the table of settings and readings beside it."""
    study.mkdir()
    parts = ["format = 1", "[study]", 'title = "Invented: five factors in ten batches"', "seed = 1"]
    for stage, factors in (("batch", BY_BATCH), ("sample", BY_SAMPLE)):
        for name, low, high in factors:
            parts += ["[[factor]]", f'name = "{name}"', f"low = {low}", f"high = {high}"]
            parts.append(f'set_per = "{stage}"')
    for i in range(RESPONSES):
        parts += ["[[response]]", f'name = "response {i + 1}"', 'unit = "units"', 'per = "sample"']
        parts += [f'aim = "{("high", "low")[i % 2]}"', f"best = {(60, 40)[i % 2]}"]
        parts += [f"worst = {(40, 60)[i % 2]}"]
    (study / "study.toml").write_text("\n".join(parts) + "\n", encoding="utf-8")
    table = study.with_suffix(".csv")
    with table.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(_rows())
    return table


def timed(*arguments: str) -> tuple[float, float]:
    """Run a command in a process of its own; give seconds by the clock and of the processor."""
    before, start = os.times(), time.perf_counter()
    subprocess.run(
        [str(Path(sys.executable).with_name("millbase")), *arguments],
        check=False,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    clock, after = time.perf_counter() - start, os.times()
    return clock, after.children_user + after.children_system - (
        before.children_user + before.children_system
    )


def profile(command: str, study: Path) -> None:
    """List the calls that cost most."""
    watch = cProfile.Profile()
    watch.enable()
    run([command, str(study)])
    watch.disable()
    pstats.Stats(watch).sort_stats("cumtime").print_stats(90)


def main() -> None:
    """Time the commands, or list what one of them spends."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--profile", choices=("fit", "choose", "report"))
    asked = parser.parse_args().profile
    with tempfile.TemporaryDirectory() as folder:
        study = Path(folder) / "study"
        table = write_study(study)
        least = timed("--help")[1]
        print("command   clock s   processor s   times --help")
        for arguments in (
            ("adopt", str(table), str(study)), ("fit", str(study)), ("choose", str(study)),
            ("report", str(study)),
        ):  # fmt: skip
            if arguments[0] == asked:
                profile(asked, study)
                return
            clock, processor = timed(*arguments)
            print(
                f"{arguments[0]:<8} {clock:>8.1f} {processor:>13.1f} {processor / least:>14.1f}",
                flush=True,
            )


def _rows() -> list[list[object]]:
    rng = np.random.default_rng(SEED)
    batch = np.repeat(np.arange(BATCHES), SAMPLES)
    coded: FloatArray = np.hstack(
        [
            _levels(rng, BATCHES, len(BY_BATCH))[batch],
            _levels(rng, len(batch), len(BY_SAMPLE)),
        ]
    )
    factors = (*BY_BATCH, *BY_SAMPLE)
    low, high = (np.array([factor[i] for factor in factors]) for i in (1, 2))
    settings = (low + high) / 2 + coded * (high - low) / 2
    readings = []
    for sd in BETWEEN[:RESPONSES]:
        slopes, bend = rng.normal(0, 2, len(factors)), rng.normal(0, 1.5, len(factors))
        pair = rng.normal(0, 1) * coded[:, 0] * coded[:, 2]
        y = 50 + coded @ slopes + coded**2 @ bend + pair + rng.normal(size=len(batch))
        readings.append(y + sd * rng.normal(size=BATCHES)[batch])
    head = ["batch", *(factor[0] for factor in factors)]
    rows: list[list[object]] = [[*head, *(f"response {i + 1}" for i in range(RESPONSES))]]
    for i, unit in enumerate(batch):
        values = [round(float(value), 4) for value in settings[i]]
        rows.append([int(unit) + 1, *values, *(round(float(y[i]), 2) for y in readings)])
    return rows


def _levels(rng: np.random.Generator, n: int, k: int) -> FloatArray:
    """Give k columns of −1, 0 and 1, as often each as n allows, in random order."""
    three = np.resize([-1.0, 1.0, 0.0], n)
    return np.column_stack([rng.permutation(three) for _ in range(k)])


if __name__ == "__main__":
    main()
