"""The first batches of the plant: their own scatter, and how far the plant lies off the laboratory.

Nothing of it enters the laboratory's variances or models.

Source:
    Difference of two means with unequal variances after Satterthwaite (1946); prediction interval
    of one further value and tolerance interval as in Hahn and Meeker (1991), Statistical
    Intervals, chapter 4. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.agreement.confirmation import frozen_limits
from analysis.agreement.factors import prediction_factor, tolerance_factor_two_sided
from analysis.agreement.mean_prediction import interval_back, t_times
from analysis.agreement.observed import Observed
from analysis.agreement.planning import scale_of
from analysis.fits.scales import forward, inverse
from doe.study.confirmation import FrozenResponse

# One batch has no scatter of its own.
FEWEST_PLANT_BATCHES = 2
COVERAGE = 0.95
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantOutcome:
    """One response in the plant; response unit unless it says otherwise.

    Attributes:
        response: Its name.
        unit: Its unit.
        batches: Plant batches with a value.
        mean: Of them.
        sd: Standard deviation among them, fitted scale; None for fewer than two.
        offset: Plant minus laboratory: a difference in the unit, or a ratio on a log scale.
        offset_interval: Where it lies, at `level`; None for fewer than two batches.
        offset_is: `difference` in the unit, `ratio`, or `difference on the fitted scale`.
        is_told: Whether the interval excludes no offset at all.
        next_batch: Where one further plant batch lies, at `level`.
        next_three: Where the next three all lie.
        tolerance: Holds 95 % of plant batches with 95 % confidence.
        next_within: Chance that the next batch meets the limits, with the offset; None without
            limits or scatter.
        level: Of the intervals, 0..1.
    """

    response: str
    unit: str
    batches: int
    mean: float
    sd: float | None
    offset: float
    offset_interval: tuple[float, float] | None
    offset_is: str
    is_told: bool | None
    next_batch: tuple[float, float] | None
    next_three: tuple[float, float] | None
    tolerance: tuple[float, float] | None
    next_within: float | None
    level: float


def judge_plant(frozen: FrozenResponse, seen: Observed, level: float) -> PlantOutcome | None:
    """Tell scatter and offset of the plant in one response; None without a value."""
    values = np.array([z for _, z in seen.formula.by_batch().values()])
    n = len(values)
    if n == 0:
        return None
    scale = scale_of(frozen.scale)
    mean, offset = float(values.mean()), float(values.mean()) - frozen.centre
    is_ratio, is_plain = scale.name == "log", scale.name == "identity"

    def told(z: float) -> float:
        return float(np.exp(z)) if is_ratio else float(z)

    sd = float(values.std(ddof=1)) if n >= FEWEST_PLANT_BATCHES else None
    found: dict[str, tuple[float, float] | None] = dict.fromkeys(("own", "next", "three", "tol"))
    if sd is not None:
        half = _offset_half_width(frozen, sd, n, level)
        found["own"] = (told(offset - half), told(offset + half))
        found["next"] = interval_back(scale, mean, prediction_factor(n, 1, level) * sd)
        found["three"] = interval_back(scale, mean, prediction_factor(n, 3, level) * sd)
        reach = tolerance_factor_two_sided(n, COVERAGE, CONFIDENCE) * sd
        found["tol"] = interval_back(scale, mean, reach)
    none = 1.0 if is_ratio else 0.0
    own = found["own"]
    return PlantOutcome(
        response=frozen.response, unit=frozen.unit, batches=n,
        mean=float(inverse(scale, np.array([mean]))[0]), sd=sd, offset=told(offset),
        offset_interval=own,
        offset_is="ratio" if is_ratio
        else "difference" if is_plain else "difference on the fitted scale",
        is_told=None if own is None else not own[0] <= none <= own[1],
        next_batch=found["next"], next_three=found["three"], tolerance=found["tol"],
        next_within=None if sd is None else _next_within(frozen, mean, sd, n), level=level,
    )  # fmt: skip


def _offset_half_width(frozen: FrozenResponse, sd: float, n: int, level: float) -> float:
    own = sd**2 / n
    total = own + frozen.model_variance
    spread = own**2 / (n - 1)
    if frozen.model_df is not None:
        spread += frozen.model_variance**2 / frozen.model_df
    df = total**2 / spread if spread > 0.0 else float("inf")
    return float(t_times(level, df) * total**0.5)


def _next_within(frozen: FrozenResponse, mean: float, sd: float, n: int) -> float | None:
    limits = frozen_limits(frozen)
    if not limits or sd <= 0.0:
        return None
    scale, reach = scale_of(frozen.scale), sd * (1.0 + 1.0 / n) ** 0.5
    low, high = 0.0, 1.0
    for one in limits:
        with np.errstate(divide="ignore", invalid="ignore"):
            z = float(forward(scale, np.array([one.limit]))[0])
        if np.isnan(z):
            continue
        part = float(stats.t.cdf((z - mean) / reach, n - 1))
        if one.side > 0:
            high = part
        else:
            low = part
    return max(high - low, 0.0)
