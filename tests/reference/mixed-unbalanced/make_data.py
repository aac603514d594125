"""Make split_plot.csv: 12 batches of 1 to 5 samples on 5 days, three made-up responses."""

import csv

import numpy as np


def make() -> None:
    """Draw them and write the file where one stands."""
    rng = np.random.default_rng(20260301)
    batch = np.repeat(np.arange(1, 13), [3, 4, 2, 1, 5, 3, 3, 2, 4, 3, 1, 4])
    day = np.repeat([1, 2, 3, 4, 5], [3, 2, 3, 2, 2])[batch - 1]
    n = len(batch)
    a = np.tile([-1.0, 1.0, 0.0, 0.5], 3)[batch - 1]
    b = np.round(rng.uniform(-1, 1, n), 2)
    oven = rng.integers(1, 6, n)
    mean = 5 + a - 0.5 * b + 0.4 * a * b + 0.3 * b**2
    eps = rng.standard_normal(n)
    y = (
        mean
        + 0.8 * rng.standard_normal(5)[day - 1]
        + 0.6 * rng.standard_normal(12)[batch - 1]
        + 0.4 * eps
    )
    z = mean + 0.5 * rng.standard_normal(n)
    for one in range(1, 13):
        own = batch == one
        z[own] -= 0.9 * (z[own] - mean[own]).mean() if own.sum() > 1 else 0.0
    w = (
        mean
        + 0.5 * rng.standard_normal(5)[oven - 1]
        + 0.5 * rng.standard_normal(12)[batch - 1]
        + 0.4 * rng.standard_normal(n)
    )
    with open("split_plot.csv", "w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["batch", "day", "oven", "a", "b", "y", "z", "w"])
        for i in range(n):
            out.writerow(
                [batch[i], day[i], oven[i], a[i], b[i], *(round(float(v[i]), 4) for v in (y, z, w))]
            )


if __name__ == "__main__":
    make()
