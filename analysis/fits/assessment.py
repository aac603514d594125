"""What is known of a fit besides its coefficients, as values that go to tables as they are.

Every number that does not exist (no residual degrees of freedom, no replicates) is None.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from analysis.fits.check_values import (
    Curvature,
    Normality,
    OrderDrift,
    Outlier,
    UnequalScatter,
)

SourceKind = Literal["sequential", "partial"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoefficientRow:
    """One coefficient of the surface, fitted scale.

    Attributes:
        term: The term, such as `dose × pH`.
        label: The term with the level of a named choice, such as `neutraliser (ammonia)`.
        powers: Powers of the settings in the term; empty for the intercept.
        levels: The level of each named choice whose effect it carries.
        estimate: Coefficient.
        std_error: Its standard error.
        df: Degrees of freedom of the standard error.
        t: Estimate over standard error.
        p: Two-sided; None for linear blending terms, where zero is no sensible hypothesis.
        interval: Confidence interval at the level of the assessment.
        antisymmetric: Whether it is the part x·y·(x − y) of a full cubic blend, whose powers are
            those of the pair.
        is_shape: Whether it is the shape parameter of a form, in lab units, and no coefficient.
    """

    term: str
    label: str
    powers: Mapping[str, int]
    levels: Mapping[str, str]
    estimate: float
    std_error: float | None
    df: float
    t: float | None
    p: float | None
    interval: tuple[float, float] | None
    antisymmetric: bool = False
    is_shape: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AnovaRow:
    """One line of the analysis of variance, fitted scale.

    Attributes:
        source: Term, group of terms, `blocks`, `residual`, `lack of fit`, `pure error` or `total`.
        kind: `sequential` (each after those above it) or `partial` (each after all others).
        stratum: Where its error comes from.
        df: Degrees of freedom.
        den_df: Degrees of freedom of the mean square it is tested against.
        ss: Sum of squares.
        ms: Mean square.
        f: Variance ratio.
        p: Chance of a larger ratio if the source did nothing.
    """

    source: str
    kind: SourceKind
    stratum: str
    df: int
    den_df: float | None
    ss: float
    ms: float | None
    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LackOfFit:
    """Whether the model misses more than replicates scatter."""

    stratum: str
    f: float | None
    df: int
    den_df: float
    p: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCox:
    """Which power of the response the model likes best.

    Attributes:
        power: λ at the highest likelihood.
        interval: Profile-likelihood interval of λ.
        level: Its confidence.
        suggestion: The usual scale nearest to λ inside the interval, in words.
        supported: Usual scales inside the interval, in words.
        powers: λ along the profile, for the figure.
        log_likelihood: Log-likelihood at those λ, up to a constant.
    """

    power: float
    interval: tuple[float, float]
    level: float
    suggestion: str
    supported: tuple[str, ...]
    powers: tuple[float, ...] = ()
    log_likelihood: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRow:
    """One fitted run, fitted scale.

    Attributes:
        run: Run number.
        observed: Mean of its readings on the fitted scale.
        fitted: What the model gives at the settings as made.
        residual: Observed less fitted.
        studentised: External: the residual over its standard error from the other runs.
        studentised_internal: The residual over its standard error from all runs.
        leverage: Weight of the run in its own fitted value, 0..1.
        cook: Cook's distance: how far all fitted values move without the run.
        control: Name of the control, None for a run of the plan.
        repeats: Readings in the mean.
        conditional: Observed less fitted and less what the run's batch (day, …) is predicted to
            add; None where no units are shared.
    """

    run: int
    observed: float
    fitted: float
    residual: float
    studentised: float | None
    studentised_internal: float | None
    leverage: float
    cook: float | None
    control: str | None = None
    repeats: int = 1
    conditional: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ComponentRow:
    """The variance of one stratum, fitted scale.

    Attributes:
        stratum: `day`, `batch`, …; `residual` for the lowest.
        variance: Estimated by REML; 0 where the data show none, NaN where they cannot tell.
        sd: Its root.
        interval: Of the variance, by the profile of the REML likelihood; from 0 where that end is
            open, None where nothing tells it.
        df: Satterthwaite's, 2 σ⁴ over the variance of the estimate.
        is_zero: Whether the estimate stands at its bound.
        units: How many units the stratum has; rows for the lowest.
    """

    stratum: str
    variance: float
    sd: float
    interval: tuple[float, float] | None
    df: float
    is_zero: bool
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitEffects:
    """What the units of one random stratum are predicted to add to their runs.

    Attributes:
        stratum: `day`, `batch`, ….
        labels: Their numbers as the bench knows them.
        effect: Predicted effect of each, fitted scale; shrunk towards 0 by what is not known.
        standardised: The same over its standard deviation about 0, external.
        limit: What all of them together pass with 5 % risk, or None where too little is known.
        envelope: Ends for the standardised in order, if units were normal; empty where there are
            fewer than three.
    """

    stratum: str
    labels: tuple[str, ...]
    effect: tuple[float, ...]
    standardised: tuple[float | None, ...]
    limit: float | None
    envelope: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Misleading:
    """A coefficient whose error plain least squares of the same runs gets wrong.

    Attributes:
        label: The coefficient.
        plain_error: Standard error by least squares, as if every run were on its own.
        std_error: Standard error that allows for the strata.
        plain_p: p by least squares.
        p: p that allows for the strata.
    """

    label: str
    plain_error: float
    std_error: float
    plain_p: float | None
    p: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """How good a fit is.

    Attributes:
        level: Confidence of every interval, 0..1.
        coefficients: One row a coefficient.
        r2: Share of the variation about the mean that the model explains; blocks count as
            explained, controls are taken about their own means. Where rows share units, of the
            surface alone: what its units add to a run counts as unexplained.
        r2_adjusted: The same by mean squares; where rows share units, 1 less the variance of one
            new run over the mean square about the mean.
        r2_predicted: The same for runs left out one at a time; runs of the plan only.
        press: Sum of squared deleted residuals of the runs of the plan; where rows share units, of
            the surface fitted without the run, at the estimated ratios.
        aicc: Corrected Akaike criterion of the readings before any transformation.
        log_likelihood: Its log-likelihood.
        anova: Sequential rows with residual, lack of fit, pure error and total; then partial rows.
            Where rows share units, sums of squares are those of V^(-1/2) times the rows.
        anova_by_order: Sequential, terms gathered by kind: linear, interactions, squares, ….
        lack_of_fit: One entry a stratum; empty without replicates.
        vif: Variance inflation of each coefficient by label; NaN where it has none.
        condition: Condition number of the model matrix at the runs of the plan, columns scaled to
            equal length, shares as L-pseudo-components as for `vif`; infinite where terms are tied.
        digits_left: Decimal digits that the condition leaves.
        box_cox: None where values are not all positive or nothing is left to judge by.
        outliers: Runs beyond the family-wise limit.
        outlier_limit: That limit, None without enough degrees of freedom.
        order: None with too few runs.
        normality: None with too few runs.
        curvature: None with squares in the model or without centre runs.
        runs: One row a run.
        n: Runs fitted, controls included.
        p: Columns fitted, blocks and controls included.
        residual_df: Degrees of freedom of the residual, the lowest stratum.
        residual_sd: Its standard deviation.
        mean: Mean of the runs of the plan, fitted scale.
        strata: Sources of error, lowest last.
        blocks: What the blocks are, empty without blocks.
        block_effects: Estimate of each of them.
        components: One row a stratum, coarsest first; only where there is a random stratum.
        terms_vary: The stratum each coefficient is told in, by label; the coarsest whose units
            hold its column constant. Only where there is a random stratum.
        misleading: Coefficients whose error plain least squares gets wrong by more than a quarter.
        press_by_unit: Sum of squared errors where each unit of the coarsest random stratum is left
            out whole.
        r2_predicted_by_unit: The share of the variation that is predicted so.
        unit_left_out: What such a unit is; empty without.
        scatter: Whether it is alike everywhere; None where runs are too few. Where runs share
            units, of what is left beside those.
        envelope: Ends for the deleted residuals in order, if errors were normal; empty where runs
            are too few.
        units: What each unit of a random stratum is predicted to add, coarsest first.
    """

    level: float
    coefficients: tuple[CoefficientRow, ...]
    r2: float | None
    r2_adjusted: float | None
    r2_predicted: float | None
    press: float | None
    aicc: float | None
    log_likelihood: float | None
    anova: tuple[AnovaRow, ...]
    anova_by_order: tuple[AnovaRow, ...]
    lack_of_fit: tuple[LackOfFit, ...]
    vif: Mapping[str, float | None]
    condition: float
    digits_left: float
    box_cox: BoxCox | None
    outliers: tuple[Outlier, ...]
    outlier_limit: float | None
    order: OrderDrift | None
    normality: Normality | None
    curvature: Curvature | None
    runs: tuple[RunRow, ...]
    n: int
    p: int
    residual_df: int
    residual_sd: float | None
    mean: float
    strata: tuple[str, ...] = ("residual",)
    blocks: str = ""
    block_effects: Mapping[str, float] = field(default_factory=dict)
    components: tuple[ComponentRow, ...] = ()
    terms_vary: Mapping[str, str] = field(default_factory=dict)
    misleading: tuple[Misleading, ...] = ()
    press_by_unit: float | None = None
    r2_predicted_by_unit: float | None = None
    unit_left_out: str = ""
    scatter: UnequalScatter | None = None
    envelope: tuple[tuple[float, float], ...] = ()
    units: tuple[UnitEffects, ...] = ()
