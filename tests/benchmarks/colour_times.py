"""Time curves to K/S, strength, XYZ and L*a*b* against one library call a curve; asserts nothing.

Run: python -m tests.benchmarks.colour_times [--curves 5000] [--loop 500]

Both ways do the same work on the same curves: Saunderson and Kubelka-Munk, strength against the
first curve, X, Y, Z and L*a*b* for D65 and 10°. The loop takes `--loop` of the curves and is
compared per curve; its time is said as it was. Loading the library comes first and is told apart:
it is paid once, at the first curve. The last line says how far the two L*a*b* lie apart.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from analysis.lab.colorimetry import lab_of, tristimulus, white_point
from analysis.lab.colour_library import Viewing, ciede2000, eye_weights
from analysis.lab.colour_strength import absorption, strengths
from analysis.lab.kubelka_munk import FloatArray, Surface
from analysis.lab.spectrum import GRID, on_grid
from doe.study.curves import Curve

SEED = 20261128
ROUNDS = 5


def smooth_curves(n: int) -> list[Curve]:
    """Make curves like those of tints: a step somewhere, of some height and width."""
    rng = np.random.default_rng(SEED)
    low, high = rng.uniform(0.06, 0.3, (n, 1)), rng.uniform(0.4, 0.9, (n, 1))
    at, width = rng.uniform(450.0, 650.0, (n, 1)), rng.uniform(15.0, 60.0, (n, 1))
    y = low + (high - low) / (1.0 + np.exp(-(GRID - at) / width))
    x = tuple(GRID.tolist())
    return [Curve(run=i, x=x, y=tuple(row.tolist())) for i, row in enumerate(y, start=1)]


def ours(curves: list[Curve]) -> FloatArray:
    """Convert all curves at once; gives L*a*b*."""
    viewing, reflectance = Viewing(), on_grid(curves)
    q = absorption(reflectance, Surface())
    strengths(q, q[0], eye_weights(viewing).sum(axis=1))
    return lab_of(tristimulus(reflectance, viewing), white_point(viewing))


def one_by_one(curves: list[Curve]) -> FloatArray:
    """Convert curve by curve, colour by the library's own calls; gives L*a*b*."""
    import colour

    eye = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"]
    shape = colour.SpectralShape(GRID[0], GRID[-1], 10)
    eye = eye.copy().align(shape)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    flat = colour.SpectralDistribution(dict.fromkeys(GRID.tolist(), 1.0))
    white = colour.XYZ_to_xy(colour.sd_to_XYZ(flat, eye, light, method="Integration"))
    weights = eye_weights(Viewing()).sum(axis=1)
    first = absorption(np.array(curves[0].y), Surface())
    found = []
    for curve in curves:
        q = absorption(np.array(curve.y), Surface())
        strengths(q[None], first, weights)
        spectrum = colour.SpectralDistribution(dict(zip(curve.x, curve.y, strict=True)))
        xyz = colour.sd_to_XYZ(spectrum, eye, light, method="Integration") / 100.0
        found.append(colour.XYZ_to_Lab(xyz, white))
    return np.array(found)


def seconds(curves: list[Curve]) -> float:
    """Give the best of several rounds of ours."""
    best = float("inf")
    for _ in range(ROUNDS):
        start = time.perf_counter()
        ours(curves)
        best = min(best, time.perf_counter() - start)
    return best


def main() -> None:
    """Print the times."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--curves", type=int, default=5000)
    parser.add_argument("--loop", type=int, default=500)
    asked = parser.parse_args()
    start = time.perf_counter()
    eye_weights(Viewing())
    print(f"loading the library, once          {time.perf_counter() - start:9.3f} s")
    curves = smooth_curves(asked.curves)
    own = seconds(curves)
    print(f"{len(curves)} curves at once, best of {ROUNDS}     {own:9.3f} s")
    some = curves[: asked.loop]
    start = time.perf_counter()
    loop_lab = one_by_one(some)
    loop = time.perf_counter() - start
    print(f"{len(some)} curves one by one, library   {loop:9.3f} s")
    print(f"ratio per curve                    {(loop / len(some)) / (own / len(curves)):9.0f}")
    apart = ciede2000(ours(some), loop_lab)
    print(f"CIEDE2000 between both, largest    {apart.max():9.1e}")


if __name__ == "__main__":
    main()
