"""What the checks of residuals found, as values that go to tables as they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A run whose deleted residual passes the limit that holds for all runs together."""

    run: int
    studentised: float
    limit: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderDrift:
    """Whether residuals follow the order in which the runs were made.

    Attributes:
        slope: Change a run in order, fitted scale, beside all terms of the model.
        t: Slope over its standard error.
        df: Degrees of freedom of that.
        p: Two-sided.
        neighbours: Durbin-Watson ratio in order of runs: near 2 without memory, below it when
            neighbours are alike.
        neighbours_p: Two-sided and exact under independent normal errors; where runs share units,
            at the estimated variances and of what is left beside those units.
    """

    slope: float | None
    t: float | None
    df: float
    p: float | None
    neighbours: float | None
    neighbours_p: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Normality:
    """How straight the residuals lie in a normal plot (Shapiro and Wilk 1965)."""

    w: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelScatter:
    """Whether the scatter differs between the levels of a named choice (Brown and Forsythe 1974).

    Attributes:
        choice: Its name.
        levene: Variance ratio of the distances from the median of each level.
        p: Chance of a larger one if the scatter were alike.
        widest: The level with the largest scatter.
        sd: Standard deviation of what is left over at each level, by level, fitted scale.
    """

    choice: str
    levene: float
    p: float
    widest: str
    sd: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnequalScatter:
    """Whether the scatter changes; each test is None where it cannot be made.

    Attributes:
        koenker: n R² of squared residuals on fitted values.
        koenker_p: Chance of a larger one if the scatter were alike.
        grows: Whether it is larger at larger fitted values.
        bartlett: Bartlett's ratio between groups of replicates.
        bartlett_p: Its p, which rests on normal errors.
        levene: Ratio of Brown and Forsythe between groups of three replicates or more.
        levene_p: Its p.
        groups: Groups of replicates.
        by_level: One entry a named choice with five runs or more at two levels.
    """

    koenker: float | None
    koenker_p: float | None
    grows: bool | None
    bartlett: float | None
    bartlett_p: float | None
    levene: float | None
    levene_p: float | None
    groups: int
    by_level: tuple[LevelScatter, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Curvature:
    """How far centre runs lie from a model without squares.

    Attributes:
        gap: Centre runs less what the model expects there, fitted scale.
        std_error: Of the gap.
        df: Degrees of freedom of that.
        p: Two-sided.
        runs: The centre runs.
    """

    gap: float
    std_error: float
    df: float
    p: float
    runs: tuple[int, ...]
