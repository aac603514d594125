"""How often 95 % intervals and 5 % tests keep their word where runs share batches; asserts nothing.

Run: OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.mixed_coverage [--rounds 400] [--workers 2]

Batches of three samples; a setting of the batch (coded, three levels) and one of the sample; model
with both, their product and the square of the sample's setting, which does nothing. Told of each
number of batches and each ratio of the variances, over the same readings for every method:

- coverage of the coefficient of the batch's setting, of the mean at a corner and of one new run in
  a new batch there, split by zero and non-zero estimates, with plain least squares beside it;
- how often the lack-of-fit test says no at 5 % though nothing lacks, between batches and within;
- the same after terms were left out by backward steps or by the best AICc, naive intervals.

The error of a coverage of 95 % by 400 rounds is 1.1 points. Each case has a random stream of its
own, so that the number of workers changes nothing.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy import stats

from analysis.fits.fit import Scale
from analysis.fits.fit_table import FitTable
from analysis.fits.fitted_response import table_of
from analysis.fits.in_strata import InStrata
from analysis.fits.kenward_roger import single_df
from analysis.fits.mixed_lack_of_fit import lack_of_fit
from analysis.fits.reml import MixedSolution, solve_mixed
from analysis.fits.selection import By, reduce_model
from analysis.fits.strata_of_data import DataStrata, strata_of_data
from analysis.lab.response_data import ResponseData
from doe.model.coding import Coding
from doe.model.strata import RESIDUAL
from doe.model.terms import Model, make_model, term_label
from doe.study.settings import FloatArray
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

SEED = 20261128
SAMPLES = 3
BATCHES = (6, 9, 12, 18)
RATIOS = (0.0, 0.1, 0.5, 1.0, 4.0)
# Selection costs some dozen fits a round: a few cases, and fewer rounds of them.
SELECTED = tuple(product((6, 12), (0.0, 0.5, 4.0)))
PART_SELECTED = 0.25
WAYS: tuple[By, ...] = ("backward", "best")
TRUE = {"intercept": 5.0, "a": 1.0, "t": -0.5, "a × t": 0.3, "t²": 0.0}
RISK = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bench:
    """One layout: everything that does not hang on the readings."""

    data: ResponseData
    coding: Coding
    model: Model
    table: FitTable
    strata: DataStrata

    @property
    def true(self) -> FloatArray:
        """True coefficients in the order of the columns, shape (p,)."""
        return np.array([TRUE[label] for label in self.table.labels])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """What one case gave, a row a round: does the interval hold, does the test say no."""

    zero: FloatArray
    mixed: FloatArray
    plain: FloatArray
    lack: FloatArray


def bench(n_batches: int) -> Bench:
    """Lay out the batches."""
    study = study_of(
        factors=[range_factor("a", -1, 1), range_factor("t", -1, 1, set_per="sample")],
        response={"name": "y"},
    )
    a = np.repeat(np.resize([-1.0, 0.0, 1.0], n_batches), SAMPLES)
    t = np.tile([-1.0, 0.0, 1.0], n_batches)
    rows = [{"a": x, "t": z, "y": 0.0} for x, z in zip(a, t, strict=True)]
    data, coding = adopt(study, rows, "y")
    batch = np.repeat(np.arange(n_batches), SAMPLES)
    data = replace(data, batch=tuple(int(one) for one in batch))
    whole = make_model("quadratic", coding)
    model = Model(name="", terms=tuple(one for one in whole.terms if term_label(one) in TRUE))
    return Bench(
        data=data,
        coding=coding,
        model=model,
        table=table_of(data, coding, model)[0],
        strata=strata_of_data(data),
    )


def readings_of(
    layout: Bench, ratio: float, rounds: int, seed: Sequence[int]
) -> list[tuple[FloatArray, float]]:
    """Give for each round the readings, and what one new run in a new batch reads at the corner."""
    rng = np.random.default_rng(seed)
    X, n = layout.table.matrix, len(layout.data)
    made = []
    for _ in range(rounds):
        shift = ratio**0.5 * rng.standard_normal(n // SAMPLES)
        y = X @ layout.true + np.repeat(shift, SAMPLES) + rng.standard_normal(n)
        made.append((y, float(layout.true.sum() + (1 + ratio) ** 0.5 * rng.standard_normal())))
    return made


def intervals(case: tuple[int, float, int]) -> Held:
    """Fit every round of a number of batches and a ratio; the corner has every column at 1."""
    n_batches, ratio, rounds = case
    layout = bench(n_batches)
    made = readings_of(layout, ratio, rounds, [SEED, n_batches, round(10 * ratio)])
    zero, mixed, plain, lack = [], [], [], []
    for y, new in made:
        fit = solve_mixed(layout.table.matrix, y, layout.strata.strata)
        zero.append(fit.components[0] == 0)
        mixed.append(_mixed_cover(fit, layout, new))
        plain.append(_plain_cover(fit, layout, new))
        lack.append(_rejects(layout, y, fit))
    return Held(
        zero=np.array(zero), mixed=np.array(mixed), plain=np.array(plain), lack=np.array(lack)
    )


def after_selection(case: tuple[int, float, int]) -> list[FloatArray]:
    """Tell for each way, and for nothing left out, of each round, NaN where it has no answer.

    The parts of the kept coefficients that act and are covered, and that do not act and are
    covered, how many of each were kept, and the lack-of-fit test between batches and within.
    """
    n_batches, ratio, rounds = case
    layout = bench(n_batches)
    made = readings_of(layout, ratio, rounds, [SEED, n_batches, round(10 * ratio), 1])
    told = []
    for way in (None, *WAYS):
        rows = []
        for y, _ in made:
            kept = layout
            if way is not None:
                data = replace(layout.data, repeats=tuple((float(value),) for value in y))
                model, _ = reduce_model(data, layout.coding, layout.model, scale=Scale(), by=way)
                table = table_of(data, layout.coding, model)[0]
                kept = replace(layout, data=data, model=model, table=table)
            fit = solve_mixed(kept.table.matrix, y, kept.strata.strata)
            rows.append([*_kept_cover(fit, kept), *_rejects(kept, y, fit)])
        told.append(np.array(rows, dtype=np.float64))
    return told


def _mixed_cover(fit: MixedSolution, layout: Bench, new: float) -> list[bool]:
    true, known = layout.true, fit.adjustment
    corner = np.ones(len(true))
    rows = np.vstack([_first(layout), corner])
    df = single_df(known, rows)
    sd = np.sqrt(np.einsum("gp,pq,gq->g", rows, fit.covariance, rows))
    found = rows @ fit.solved.coefficients
    held = np.abs(found - rows @ true) <= stats.t.isf(0.025, df) * sd
    total = float(fit.components.sum())
    slopes = np.einsum("p,kpq,q->k", corner, known.slopes, corner) + 1
    plain = float(corner @ known.unadjusted @ corner) + total
    run_df = 2 * plain**2 / float(slopes @ known.component_covariance @ slopes)
    reach = stats.t.isf(0.025, run_df) * (sd[1] ** 2 + total) ** 0.5
    return [*map(bool, held), bool(abs(found[1] - new) <= reach)]


def _plain_cover(fit: MixedSolution, layout: Bench, new: float) -> list[bool]:
    plain = fit.plain
    rows = np.vstack([_first(layout), np.ones(len(layout.true))])
    variance = np.einsum("gp,pq,gq->g", rows, plain.covariance, rows)
    t = float(stats.t.isf(0.025, plain.df))
    found = rows @ plain.coefficients
    held = np.abs(found - rows @ layout.true) <= t * np.sqrt(variance)
    reach = t * (variance[1] + plain.residual_variance) ** 0.5
    return [*map(bool, held), bool(abs(found[1] - new) <= reach)]


def _kept_cover(fit: MixedSolution, layout: Bench) -> list[float]:
    rows = np.eye(len(layout.true))
    reach = stats.t.isf(0.025, single_df(fit.adjustment, rows)) * np.sqrt(np.diag(fit.covariance))
    held = np.abs(fit.solved.coefficients - layout.true) <= reach
    effects = np.array(layout.table.labels) != "intercept"
    acts = (layout.true != 0) & effects
    idle = (layout.true == 0) & effects
    return [held[acts].sum(), held[idle].sum(), acts.sum(), idle.sum()]


def _rejects(layout: Bench, y: FloatArray, fit: MixedSolution) -> list[float]:
    """Tell whether the test says no, between batches and within; NaN where there is none."""
    fitted = InStrata(table=replace(layout.table, y=y), strata=layout.strata, solution=fit)
    tests = lack_of_fit(fitted, layout.data.planned.values, layout.coding)
    found = {test.stratum: float(test.p < RISK) for test in tests}
    return [found.get("batch", np.nan), found.get(RESIDUAL, np.nan)]


def _first(layout: Bench) -> FloatArray:
    return (np.array(layout.table.labels) == "a").astype(np.float64)


def main() -> None:
    """Print the two tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=400)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    cases = [(n, ratio, asked.rounds) for n, ratio in product(BATCHES, RATIOS)]
    few = [(n, ratio, round(PART_SELECTED * asked.rounds)) for n, ratio in SELECTED]
    with ProcessPoolExecutor(max_workers=asked.workers) as workers:
        _print_intervals(cases, workers.map(intervals, cases))
        _print_selection(few, workers.map(after_selection, few))


def _print_intervals(cases: Sequence[tuple[int, float, int]], found: Iterable[Held]) -> None:
    print(
        f"{'':>19}|{'all':>16}|{'zero estimate':>16}|{'above zero':>16}|{'least squares':>16}|"
        " lack of fit"
    )
    print("batches ratio zero%|" + " coef mean   run|" * 4 + " batch within")
    for (n, ratio, _), held in zip(cases, found, strict=True):
        none = held.zero
        parts = [held.mixed, held.mixed[none], held.mixed[~none], held.plain]
        told = "|".join(_per_cent(part) for part in parts)
        print(
            f"{n:>7} {ratio:>5} {100 * none.mean():>5.0f}|{told}|{_per_cent(held.lack)}", flush=True
        )


def _print_selection(
    cases: Sequence[tuple[int, float, int]], found: Iterable[list[FloatArray]]
) -> None:
    print()
    print(f"{'':>13}|{'':>10}| coefficients kept | coverage of kept |   lack of fit")
    print("batches ratio|  left out |    act  do not  |    act  do not  | batch within")
    for (n, ratio, _), ways in zip(cases, found, strict=True):
        for way, rows in zip(("nothing", *WAYS), ways, strict=True):
            acts, idle, n_acts, n_idle = rows[:, :4].sum(axis=0)
            told = [100 * n_acts / (3 * len(rows)), 100 * n_idle / len(rows)]
            told += [100 * acts / max(n_acts, 1), 100 * idle / max(n_idle, 1)]
            cells = "".join(f"{value:>8.1f}" for value in told)
            print(f"{n:>7} {ratio:>5}|{way:>10} |{cells}|{_per_cent(rows[:, 4:])}", flush=True)


def _per_cent(held: FloatArray) -> str:
    """Give the mean of each column that has twenty answers or more."""
    told = []
    for column in np.asarray(held, dtype=np.float64).T:
        known = column[np.isfinite(column)]
        told.append(f"{100 * known.mean():>5.1f}" if len(known) >= 20 else f"{'–':>5}")
    return " ".join(told)


if __name__ == "__main__":
    main()
