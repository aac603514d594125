"""Work out, without millbase, what two invented plans tell; writes data.csv and expected.json.

Run: python tests/reference/appraisal-independent/independent.py

Independent of the code under test in everything: the model matrices are written out by hand,
covariances come from statsmodels' GLS with the covariance of the runs given, with treatment-coded
days and controls, powers from scipy.stats, degrees of freedom from projections onto batch means.
"""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import scipy
import statsmodels
import statsmodels.api as sm
from scipy import stats

HERE = Path(__file__).parent
SOUGHT, ALPHA = 2.5, 0.05


def ncf_power(contrast: Any, covariance: Any, df: float, effect: float) -> float:
    """Give the power of one contrast."""
    nc = effect**2 / float(contrast @ covariance @ contrast)
    return float(stats.ncf.sf(stats.f.isf(ALPHA, 1, df), 1, df, nc))


def within(unit: Any, A: Any) -> Any:
    """Take the means of units out of columns."""
    out = np.array(A, dtype=float)
    for u in np.unique(unit):
        out[unit == u] -= out[unit == u].mean(axis=0)
    return out


def rank(A: Any) -> int:
    """Give the rank."""
    return int(np.linalg.matrix_rank(A, tol=1e-8)) if A.size else 0


def split_plot_rows() -> list[dict[str, Any]]:
    """Draw the runs."""
    rng = np.random.default_rng(41)
    rows: list[dict[str, Any]] = []
    run = batch = 0
    for day in (1, 2, 3):
        for i in range(4):
            batch += 1
            dose, ph = [(0.8, 8.0), (2.4, 9.5), (0.8, 9.5), (2.4, 8.0)][i]
            dose = dose if rng.random() < 0.7 else 1.6
            for time in (15.0, 25.0 + 5 * (i % 2), 45.0):
                run += 1
                rows.append({"run": run, "day": day, "batch": batch, "control": "", "dose": dose,
                             "pH": ph, "grind time": time})  # fmt: skip
        batch += 1
        run += 1
        rows.append({"run": run, "day": day, "batch": batch, "control": "present formula",
                     "dose": 1.5, "pH": 8.8, "grind time": 30.0})  # fmt: skip
    return rows


def split_plot() -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Dose and pH per batch, grind time per sample, days fixed, one control a day.

    Twelve batches of three samples on three days; interactions; ratio 1.7.
    """
    rho = 1.7
    rows = split_plot_rows()
    is_control = np.array([row["control"] != "" for row in rows])
    d = np.array([(row["dose"] - 1.6) / 0.8 for row in rows])
    p = np.array([(row["pH"] - 8.75) / 0.75 for row in rows])
    t = np.array([(row["grind time"] - 30) / 15 for row in rows])
    names = ["intercept", "dose", "pH", "grind time", "dose × pH", "dose × grind time",
             "pH × grind time"]  # fmt: skip
    F = np.column_stack([np.ones(len(rows)), d, p, t, d * p, d * t, p * t])
    F[is_control] = 0
    day = np.array([row["day"] for row in rows])
    unit = np.array([row["batch"] for row in rows])
    X = np.column_stack([F, is_control, day == 2, day == 3]).astype(float)
    V = np.eye(len(rows)) + rho * (unit[:, None] == unit[None, :])
    fitted = sm.GLS(np.zeros(len(rows)), X, sigma=V).fit()
    C = fitted.normalized_cov_params

    def at(x: tuple[float, float, float]) -> Any:
        a, b, c = x
        # The mean over the three days stands for "in this study".
        return np.array([1, a, b, c, a * b, a * c, b * c, 0, 1 / 3, 1 / 3])

    # Between batches: what batch means leave over the model's batch part; below: the rest.
    W = within(unit, X)
    df_within = len(rows) - len(np.unique(unit)) - rank(W)
    df_batch = len(rows) - rank(X) - df_within
    unit_vectors = np.eye(X.shape[1])
    std = {}
    power = {}
    for j, name in enumerate(names):
        row = at((0, 0, 0)) if j == 0 else unit_vectors[j]
        std[name] = float(np.sqrt(row @ C @ row))
        if j:
            df = df_batch if name in ("dose", "pH", "dose × pH") else df_within
            power[name] = ncf_power(2 * unit_vectors[j], C, df, SOUGHT)
    points = [(0.8, 8.0, 15.0), (1.6, 8.75, 30.0), (2.4, 9.5, 45.0), (1.0, 9.0, 20.0)]
    variances = []
    for dose, ph, time in points:
        row = at(((dose - 1.6) / 0.8, (ph - 8.75) / 0.75, (time - 30) / 15))
        variances.append(float(row @ C @ row))
    # Average over the cube: Gauss-Legendre with three nodes a side, exact to degree five.
    nodes, weights = np.polynomial.legendre.leggauss(3)
    average = sum(
        u * v * w / 8 * float(at((a, b, c)) @ C @ at((a, b, c)))
        for a, u in zip(nodes, weights, strict=True)
        for b, v in zip(nodes, weights, strict=True)
        for c, w in zip(nodes, weights, strict=True)
    )
    corners = [at((a, b, c)) for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)]
    return rows, {
        "ratio": rho, "std_error": std, "power": power, "points": points, "variance": variances,
        "average": average, "at_corners": max(float(r @ C @ r) for r in corners),
        "df": {"batch": df_batch, "residual": df_within},
    }  # fmt: skip


def blend() -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Three additives and their dose, each run a batch, five days as a random stratum, ratio 0.6.

    Scheffé's quadratic blend model with shares × dose and dose squared.
    """
    rng = np.random.default_rng(17)
    rows, rho = [], 0.6
    for run in range(1, 21):
        w = np.round(rng.uniform(0.1, 0.4), 3)
        h = np.round(rng.uniform(0.0, min(0.3, 0.6 - w)), 3)
        rows.append({"run": run, "day": (run - 1) // 4 + 1, "batch": run, "control": "",
                     "wetting agent": w, "dispersant": round(1 - w - h, 3), "co-additive": h,
                     "dose": float(rng.choice([0.8, 1.6, 2.4]))})  # fmt: skip

    def f(w: float, d: float, h: float, z: float) -> Any:
        return np.array([w, d, h, w * d, w * h, d * h, w * z, d * z, h * z, z * z])

    X = np.array(
        [f(r["wetting agent"], r["dispersant"], r["co-additive"], (r["dose"] - 1.6) / 0.8)
         for r in rows]
    )  # fmt: skip
    day = np.array([row["day"] for row in rows])
    V = np.eye(len(rows)) + rho * (day[:, None] == day[None, :])
    C = sm.GLS(np.zeros(len(rows)), X, sigma=V).fit().normalized_cov_params
    df_within = len(rows) - len(np.unique(day)) - rank(within(day, X))
    df_day = len(rows) - rank(X) - df_within
    names = ["wetting agent", "dispersant", "co-additive", "wetting agent × dispersant",
             "wetting agent × co-additive", "dispersant × co-additive", "wetting agent × dose",
             "dispersant × dose", "co-additive × dose", "dose²"]  # fmt: skip
    unit_vectors = np.eye(10)
    # A square: end against centre. A pair of shares: r²/4 of its coefficient, r the shorter range.
    reach = {"wetting agent × dispersant": 0.3, "wetting agent × co-additive": 0.3,
             "dispersant × co-additive": 0.3}  # fmt: skip
    power = {"dose²": ncf_power(unit_vectors[9], C, df_within, SOUGHT)}
    for name, r in reach.items():
        j = names.index(name)
        power[name] = ncf_power(r**2 / 4 * unit_vectors[j], C, df_within, SOUGHT)
    points = [(0.2, 0.6, 0.2, 0.8), (0.1, 0.8, 0.1, 2.4), (0.4, 0.5, 0.1, 1.6)]
    variances = [
        float(f(w, d, h, (z - 1.6) / 0.8) @ C @ f(w, d, h, (z - 1.6) / 0.8))
        for w, d, h, z in points
    ]
    # Average by a fine grid of the blends' parallelogram and Gauss nodes in dose.
    nodes, weights = np.polynomial.legendre.leggauss(3)
    total = area = 0.0
    n = 400
    for w in 0.1 + 0.3 * (np.arange(n) + 0.5) / n:
        h = 0.3 * (np.arange(n) + 0.5) / n
        h = h[(1 - w - h >= 0.4) & (1 - w - h <= 0.8)]
        d = 1 - w - h
        for z, u in zip(nodes, weights, strict=True):
            A = np.column_stack([w + 0 * h, d, h, w * d, w * h, d * h, w * z + 0 * h, d * z, h * z,
                                 z * z + 0 * h])  # fmt: skip
            total += u / 2 * float(((A @ C) * A).sum())
        area += len(h)
    return rows, {
        "ratio": rho, "std_error": dict(zip(names, np.sqrt(np.diag(C)).tolist(), strict=True)),
        "power": power, "points": points, "variance": variances, "average_by_grid": total / area,
        "df": {"day": df_day, "residual": df_within},
    }  # fmt: skip


def main() -> None:
    """Write both cases."""
    expected: dict[str, Any] = {
        "made_by": "independent.py",
        "versions": {
            "python": sys.version.split()[0], "numpy": np.__version__, "scipy": scipy.__version__,
            "statsmodels": statsmodels.__version__,
        },
        "effect": SOUGHT, "alpha": ALPHA,
    }  # fmt: skip
    for name, make in (("split-plot", split_plot), ("blend", blend)):
        rows, found = make()
        expected[name] = found
        with (HERE / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
    text = json.dumps(expected, indent=1, ensure_ascii=False)
    (HERE / "expected.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
