"""What more or fewer runs buy: a plan shrunk and grown one unit at a time, each size appraised.

A unit is a mill batch where batches hold several runs, else a run. Fewer: the unit whose loss
raises the average prediction variance least is dropped, again and again. More: the unit that lowers
it most is added, a batch with the pattern of one that the plan has.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from doe.appraisal.appraise import Asked
from doe.appraisal.effects import setting_effects
from doe.appraisal.freedom import column_strata, with_controls
from doe.appraisal.information import Information, Ratio, information_of, ratio_of
from doe.appraisal.losses import average_without
from doe.appraisal.profile import Terrain, average_variance
from doe.appraisal.runs import PlanRuns
from doe.appraisal.told import Judge
from doe.model.strata import Stratum, residual_df
from doe.study.settings import FloatArray, IntArray

How = Literal["fewer", "this plan", "more", "anew"]
# Units dropped at most, so that a long plan does not take long.
MOST_FEWER = 24
# Settings offered to a new unit besides the corners and the runs that stand.
_SAMPLE = 150
_CORNERS = 150
# Patterns of a batch that a new one may follow.
_PATTERNS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class SizePoint:
    """A plan of some size.

    Attributes:
        how: Whether runs were dropped from the plan, added to it, or all were planned anew.
        runs: Runs, controls left out.
        batches: Mill batches of these runs.
        days: Days, None where the plan has none.
        average: Average prediction variance over the region, in residual variances.
        largest: Largest at the vertices and an even sample of the region.
        std_error: Standard error of the effect of a setting between the ends of its range, root
            mean square over the settings, in residual standard deviations.
        residual_df: By stratum.
        weakest: Setting whose effect has the least power; empty where the model holds none.
        weakest_power: That power; None where it can't be tested.
    """

    how: How
    runs: int
    batches: int
    days: int | None
    average: float
    largest: float
    std_error: float
    residual_df: Mapping[str, int]
    weakest: str
    weakest_power: float | None


def size_point(runs: PlanRuns, terrain: Terrain, asked: Asked, how: How) -> SizePoint | None:
    """Appraise runs in short; None where they can't estimate the model."""
    X = terrain.rows(runs.design_values)
    information = information_of(X, runs, asked.ratio)
    if not information.is_full:
        return None
    df = residual_df(runs.strata, with_controls(X, runs))
    judge = Judge(
        information=information, columns=terrain.expansion.columns, strata=column_strata(X, runs),
        order=tuple(stratum.name for stratum in runs.strata.random), df=df,
        region=terrain.region, sought=asked.sought, alpha=asked.alpha,
    )  # fmt: skip
    told = judge.settings(setting_effects(terrain.region, terrain.expansion))
    # A setting that can't be tested at all is seen least of all.
    weakest = min(told, key=lambda one: -1.0 if one.power is None else one.power, default=None)
    errors = [one.std_error for one in told if one.std_error is not None]
    rows = np.vstack([terrain.corner_rows, terrain.sample_rows])
    return SizePoint(
        how=how,
        runs=len(X),
        batches=runs.n_batches,
        days=runs.count("day") if runs.unit("day") is not None else None,
        average=average_variance(information, terrain),
        largest=float(information.variance_at(rows).max()),
        std_error=float(np.sqrt(np.mean(np.square(errors)))) if errors else float("nan"),
        residual_df=df,
        weakest=weakest.name if weakest else "",
        weakest_power=weakest.power if weakest else None,
    )


def fewer_runs(runs: PlanRuns, terrain: Terrain, asked: Asked) -> tuple[SizePoint, ...]:
    """Drop one unit after another as long as the model can be estimated, smallest plan first."""
    found: list[SizePoint] = []
    kept = runs
    for _ in range(MOST_FEWER):
        information = information_of(terrain.rows(kept.design_values), kept, asked.ratio)
        sets = _units_of(kept)
        averages = average_without(information, terrain, sets)
        best = int(np.argmin(averages))
        if not np.isfinite(averages[best]):
            break
        design = np.flatnonzero(kept.is_design)
        kept = kept.take(np.setdiff1d(np.arange(len(kept)), design[sets[best]]))
        point = size_point(kept, terrain, asked, "fewer")
        if point is None:
            break
        found.append(point)
    return tuple(reversed(found))


def more_runs(
    runs: PlanRuns, terrain: Terrain, asked: Asked, units: int, per_day: int | None = None
) -> tuple[SizePoint, ...]:
    """Add one unit after another, each where it lowers the average variance most.

    Args:
        runs: The plan as it stands.
        terrain: The region.
        asked: What the plans are held against.
        units: How many runs or batches to add.
        per_day: Batches that a new day holds, where the plan has days.

    Returns:
        An entry a unit; new days and batches follow those of the plan.
    """
    offers = _offers(runs, terrain)
    found: list[SizePoint] = []
    grown = runs
    for added in range(units):
        information = information_of(terrain.rows(grown.design_values), grown, asked.ratio)
        chosen = _best_offer(information, terrain, offers, _batch_ratio(runs, asked.ratio))
        day = added // (per_day or 1) + 1
        grown = _with_batch(grown, offers[chosen], day, runs)
        point = size_point(grown, terrain, asked, "more")
        if point is not None:
            found.append(point)
    return tuple(found)


def shares_batches(runs: PlanRuns) -> bool:
    """Tell whether some batch holds several runs of the plan."""
    return runs.n_batches < int(runs.is_design.sum())


def _units_of(runs: PlanRuns) -> list[IntArray]:
    """Give the rows of the design that go together, one array a batch or run."""
    n = int(runs.is_design.sum())
    unit = runs.unit("batch")
    if unit is None or not shares_batches(runs):
        return [np.array([i]) for i in range(n)]
    own = unit[runs.is_design]
    return [np.flatnonzero(own == number) for number in dict.fromkeys(own.tolist())]


def _offers(runs: PlanRuns, terrain: Terrain) -> FloatArray:
    """Give the units that may be added, shape (offers, s, k), lab units, all in the region."""
    values = runs.design_values
    settings = np.unique(
        np.vstack(
            [values, terrain.corners[_spread(len(terrain.corners))], terrain.sample[:_SAMPLE]]
        ),
        axis=0,
    )
    if not shares_batches(runs):
        offers = settings[:, None, :]
    else:
        patterns = _patterns(runs)
        held = np.all([_is_held(pattern) for pattern in patterns], axis=0)
        offers = np.concatenate(
            [np.where(held, settings[:, None, :], pattern[None, :, :]) for pattern in patterns]
        )
    n, s, k = offers.shape
    inside = np.asarray(terrain.region.contains(offers.reshape(-1, k), 1e-9)).reshape(n, s)
    kept = offers[inside.all(axis=1)]
    # Settings that leave the region can be repeated where nothing inside fits the pattern.
    return kept if len(kept) else offers


def _spread(n: int) -> IntArray:
    return np.unique(np.linspace(0, n - 1, min(n, _CORNERS)).astype(np.int64))


def _patterns(runs: PlanRuns) -> list[FloatArray]:
    """Give the settings of batches of the commonest size, a few that differ."""
    batches = [runs.design_values[rows] for rows in _units_of(runs)]
    sizes = [len(batch) for batch in batches]
    common = max(set(sizes), key=lambda size: (sizes.count(size), size))
    return [batch for batch in batches if len(batch) == common][:_PATTERNS]


def _is_held(batch: FloatArray) -> FloatArray:
    filled = np.nan_to_num(batch, nan=-1e9)
    return np.asarray(np.ptp(filled, axis=0) == 0)


def _batch_ratio(runs: PlanRuns, ratio: Ratio) -> float:
    """Give the variance between batches where it is told apart, else 0."""
    return ratio_of("batch", ratio) if "batch" in runs.scatter else 0.0


def _best_offer(
    information: Information, terrain: Terrain, offers: FloatArray, ratio: float
) -> int:
    """Find the offer that lowers trace(B M) most; its day and blocks are left aside here."""
    n, s, k = offers.shape
    T = information.root
    F = (terrain.rows(offers.reshape(-1, k)) @ T).reshape(n, s, -1)
    K = T.T @ terrain.moments @ T
    # (I + F'V^-1 F)^-1 = I − F'(V + FF')^-1 F, so the trace falls by tr((V + FF')^-1 F K F').
    inner = np.eye(s) + ratio + F @ F.transpose(0, 2, 1)
    gain = np.trace(np.linalg.solve(inner, F @ K @ F.transpose(0, 2, 1)), axis1=1, axis2=2)
    # Equal offers are told apart by rounding alone: the first of them is taken.
    return int(np.flatnonzero(gain >= gain.max() * (1 - 1e-9))[0])


def _with_batch(runs: PlanRuns, batch: FloatArray, day: int, first: PlanRuns) -> PlanRuns:
    """Add a batch, or a run, with numbers of its own at every stage."""
    s = len(batch)
    units = tuple(_longer(stratum, s, day, first) for stratum in runs.units)
    last = max(runs.run)
    return PlanRuns(
        values=np.vstack([runs.values, batch]),
        run=(*runs.run, *range(last + 1, last + s + 1)),
        control=(*runs.control, *[""] * s),
        units=units,
        scatter=runs.scatter,
    )


def _longer(stratum: Stratum, s: int, day: int, first: PlanRuns) -> Stratum:
    if stratum.name == "day":
        before = first.unit("day")
        number = (0 if before is None else int(before.max())) + day
        more = np.full(s, number)
    elif stratum.name == "sample":
        more = np.arange(s) + int(stratum.unit.max()) + 1
    elif stratum.name == "batch":
        more = np.full(s, int(stratum.unit.max()) + 1)
    else:
        # More runs of the round or block that stands last.
        more = np.full(s, int(stratum.unit[-1]))
    return replace(stratum, unit=np.concatenate([stratum.unit, more]))
