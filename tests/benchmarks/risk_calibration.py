"""Whether production meets every limit as often as `risk` says; writes docs/risk-calibration.*.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.risk_calibration [--studies 40]

Small split-plot studies are invented: two or three settings, two or three responses, batches of
two samples, second-order truths, scatter of batch, test and settings, limits that some of the
region meets. Each is fitted; its most probable settings, its most desirable ones (of 2,000 tried)
and settings taken by chance are judged; the truth then tells how often production batches there
really meet every limit, by 20,000 batches drawn from it. The bias of choosing is in the first two:
what was chosen for its stated probability would be stated too high, if the posterior did not allow
for it.

Each study has a random stream of its own, so that the number of workers changes nothing.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

import doe
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.together import coefficients_together, responses_together
from analysis.lab.response_data import ResponseData
from analysis.risk.model import make_risk_model
from analysis.risk.posterior import Shared
from analysis.risk.robust import RobustQuestion, choose_robustly, fine_chance
from analysis.surface.noise import NO_NOISE
from analysis.surface.predict import predict_values
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.study.settings import FloatArray
from tests.analysis.choice.problems import brief
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

SEED = 20261128
SAMPLES, BATCHES = 2, 12
TRUE_DRAWS = 20_000
SCATTER = 0.06
PLACES = ("most probable", "most desirable", "by chance")
BINS = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0])
TARGET = 0.08
DOCS = Path(__file__).parents[2] / "docs"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """One study: stated and achieved probability at each place, shape (3,) each."""

    stated: FloatArray
    achieved: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """What is true of one study.

    Attributes:
        names: Its settings.
        coefficients: Shape (p, m), second order, coded units.
        sd: Of batch and of test, shape (2, m).
        roots: Of the correlation of each, shape (2, m, m).
        limits: At most, shape (m,).
    """

    names: tuple[str, ...]
    coefficients: FloatArray
    sd: FloatArray
    roots: FloatArray
    limits: FloatArray

    def noise(self, n: int, per: int, rng: np.random.Generator) -> FloatArray:
        """Draw batch and test of n batches of some samples, shape (n per, m)."""
        m = len(self.limits)
        batch = rng.standard_normal((n, m)) @ self.roots[0].T * self.sd[0]
        test = rng.standard_normal((n * per, m)) @ self.roots[1].T * self.sd[1]
        drawn: FloatArray = np.repeat(batch, per, axis=0) + test
        return drawn


def invent(rng: np.random.Generator) -> Truth:
    """Invent a truth; each limit lets two to four fifths of the region pass."""
    k, m = int(rng.integers(2, 4)), int(rng.integers(2, 4))
    names = ("dose", "time", "heat")[:k]
    n_square = k * (k + 1) // 2
    first = rng.standard_normal((k, m))
    second = 0.5 * rng.standard_normal((n_square, m))
    coefficients = np.vstack([np.full((1, m), 20.0), first, second])
    roots = []
    for _ in range(2):
        R = np.eye(m) + (1 - np.eye(m)) * rng.uniform(-0.3, 0.7)
        roots.append(np.linalg.cholesky(R))
    sd = np.vstack([rng.uniform(0.1, 0.5, m), rng.uniform(0.2, 0.5, m)])
    bare = Truth(
        names=names, coefficients=coefficients, sd=sd, roots=np.array(roots), limits=np.zeros(m)
    )
    over = surface(bare, rng.uniform(-1, 1, (400, k)))
    limits = np.array([np.quantile(over[:, i], rng.uniform(0.4, 0.8)) for i in range(m)])
    return replace(bare, limits=limits)


def surface(truth: Truth, coded: FloatArray) -> FloatArray:
    """Give true values at coded settings, (n, k) to (n, m)."""
    k = coded.shape[1]
    products = [coded[:, i] * coded[:, j] for i in range(k) for j in range(i, k)]
    X = np.column_stack([np.ones(len(coded)), coded, *products])
    values: FloatArray = X @ truth.coefficients
    return values


def plan_of(truth: Truth, rng: np.random.Generator) -> FloatArray:
    """Lay runs: the first setting by batch, the others by sample, shape (n, k), coded."""
    k = len(truth.names)
    by_batch = np.repeat(np.resize([-1.0, 0.0, 1.0], BATCHES), SAMPLES)
    grid = np.array(np.meshgrid(*[[-1.0, 0.0, 1.0]] * (k - 1))).reshape(k - 1, -1).T
    n = BATCHES * SAMPLES
    own = np.vstack([rng.permutation(grid) for _ in range(-(-n // len(grid)))])[:n]
    return np.column_stack([by_batch, own])


def fitted_of(
    truth: Truth, runs: FloatArray, y: FloatArray
) -> tuple[dict[str, ResponseData], dict[str, FittedResponse]]:
    """Fit every response as `fit` does, batches and samples as strata."""
    data, fitted = {}, {}
    for j in range(len(truth.limits)):
        name = f"response {j + 1}"
        study = study_of(
            factors=[
                range_factor(one, -1, 1, **({} if i == 0 else {"set_per": "sample"}))
                for i, one in enumerate(truth.names)
            ],
            response={"name": name},
        )
        rows = [
            {**dict(zip(truth.names, map(float, run), strict=True)), name: float(v)}
            for run, v in zip(runs, y[:, j], strict=True)
        ]
        one, coding = adopt(study, rows, name)
        batch = tuple(i // SAMPLES + 1 for i in range(len(runs)))
        data[name] = replace(one, batch=batch)
        fitted[name] = fit_response(data[name], coding, model="quadratic")
    return data, fitted


def achieved_at(truth: Truth, at: FloatArray, rng: np.random.Generator) -> float:
    """Make production batches there: scatter of settings, batch and test, all true."""
    made = at + SCATTER * rng.standard_normal((TRUE_DRAWS, len(at)))
    y = surface(truth, made) + truth.noise(TRUE_DRAWS, 1, rng)
    return float((y <= truth.limits).all(axis=1).mean())


def judge(number: int) -> Judged:
    """Invent, measure, fit, choose and judge one study."""
    rng = np.random.default_rng([SEED, number])
    truth = invent(rng)
    runs = plan_of(truth, rng)
    y = surface(truth, runs) + truth.noise(BATCHES, SAMPLES, rng)
    data, fitted = fitted_of(truth, runs, y)
    study = brief(
        [{"name": n, "low": -1, "high": 1, "scatter_sd": SCATTER} for n in truth.names],
        [
            {"name": name, "accept": {"at_most": float(limit)}}
            for name, limit in zip(fitted, truth.limits, strict=True)
        ],
    )
    coding = coding_of(study)
    fits = {name: one.fit for name, one in fitted.items()}
    shared = Shared(
        together=responses_together(data, fitted),
        coefficients=coefficients_together(data, fitted),
    )
    model = make_risk_model(study, coding, fits, shared)
    question = RobustQuestion(
        study=study, region=region_of(study), surfaces=fits, model=model, seed=number
    )
    chance = fine_chance(model, number)
    rows = [
        choose_robustly(question).most_probable.row,
        most_desirable(fits, truth, rng),
        rng.uniform(-1, 1, len(truth.names)),
    ]
    return Judged(
        stated=chance.probability(np.array(rows)),
        achieved=np.array([achieved_at(truth, row, rng) for row in rows]),
    )


def most_desirable(fits: dict[str, Fit], truth: Truth, rng: np.random.Generator) -> FloatArray:
    """Choose by predicted values alone: ramps from half a unit beyond each limit to three below."""
    tried = rng.uniform(-1, 1, (2_000, len(truth.names)))
    overall = np.ones(len(tried))
    for fit, limit in zip(fits.values(), truth.limits, strict=True):
        value = predict_values(fit, tried, NO_NOISE)
        overall *= np.clip((limit + 0.5 - value) / 3.5, 0.0, 1.0)
    best: FloatArray = tried[int(np.argmax(overall))]
    return best


def summary(found: Sequence[Judged]) -> str:
    """Write the page."""
    stated, achieved = (
        np.array([getattr(one, w) for one in found]) for w in ("stated", "achieved")
    )
    lines = [
        "# Does production meet every limit as often as stated?",
        "",
        f"{len(found)} invented split-plot studies of {BATCHES} batches of {SAMPLES} samples, two "
        "or three settings and two or three responses; each fitted, searched and judged as "
        f"`millbase risk` does. Seed {SEED}, version {doe.__version__}; made by "
        "`python -m tests.benchmarks.risk_calibration`. The model's form is right in all of them: "
        "this tells of chance and choosing, not of a wrong model.",
        "",
        "| Settings | Stated | Achieved | Stated too high by | Mean absolute gap | Target |",
        "|---|---|---|---|---|---|",
    ]
    for j, place in enumerate(PLACES):
        gap = stated[:, j] - achieved[:, j]
        lines.append(
            f"| {place} | {stated[:, j].mean():.3f} | {achieved[:, j].mean():.3f} | "
            f"{gap.mean():+.3f} ± {gap.std(ddof=1) / len(gap) ** 0.5:.3f} | "
            f"{np.abs(gap).mean():.3f} | {'below ' + str(TARGET) if j < 2 else '–'} |"
        )
    lines += [
        "",
        "The same by what was stated, all three kinds of settings together (reliability):",
        "",
        "| Stated | Studies | Stated, mean | Achieved, mean |",
        "|---|---|---|---|",
    ]
    for low, high, n, x, y in reliability(stated.ravel(), achieved.ravel()):
        lines.append(f"| {low:.1f} to {high:.1f} | {n} | {x:.3f} | {y:.3f} |")
    return "\n".join([*lines, "", "![Reliability](risk-calibration.png)", ""])


def reliability(
    stated: FloatArray, achieved: FloatArray
) -> Iterable[tuple[float, float, int, float, float]]:
    """Give ends of each bin, its size, and the means of both in it."""
    for low, high in pairwise(BINS):
        own = (stated >= low) & ((stated < high) | (high == 1.0))
        if own.any():
            yield float(low), float(high), int(own.sum()), stated[own].mean(), achieved[own].mean()


def draw(found: Sequence[Judged], path: Path) -> None:
    """Draw stated against achieved, a panel for each kind of settings."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 3.4), layout="constrained")
    panels = figure.subplots(1, 3, sharex=True, sharey=True)
    for j, (axes, place) in enumerate(zip(panels, PLACES, strict=True)):
        x = np.array([one.stated[j] for one in found])
        y = np.array([one.achieved[j] for one in found])
        axes.plot([0, 1], [0, 1], color="#5d6369", linewidth=1)
        axes.plot(x, y, marker="o", markersize=3, linestyle="none", color="#3f6d8e", alpha=0.6)
        means = [(a, b) for *_, a, b in reliability(x, y)]
        axes.plot(*zip(*means, strict=True), marker="D", color="#9b2d16", linewidth=1.4)
        axes.set_title(place, fontsize=9)
        axes.set_xlabel("stated probability", fontsize=8)
    panels[0].set_ylabel("achieved", fontsize=8)
    figure.savefig(path, dpi=110, metadata={"Software": None})


def main() -> None:
    """Judge all studies and write page and figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=40)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--docs", type=Path, default=DOCS)
    asked = parser.parse_args()
    begun = time.perf_counter()
    if asked.workers > 1:
        with ProcessPoolExecutor(asked.workers) as pool:
            found = list(pool.map(judge, range(asked.studies), chunksize=4))
    else:
        found = [judge(number) for number in range(asked.studies)]
    page = summary(found)
    (asked.docs / "risk-calibration.md").write_text(page, encoding="utf-8")
    draw(found, asked.docs / "risk-calibration.png")
    print(page)
    print(f"{time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
