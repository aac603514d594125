"""From what a likelihood found to a `Fit` and its assessment, alike for all families."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy import stats

from analysis.fits.assessing import is_linear_blending
from analysis.fits.assessment import AnovaRow, Assessment, CoefficientRow, ComponentRow, RunRow
from analysis.fits.fit import Family, Fit, Scale
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.likelihood.layout import Freedom, Layout, freedom_of
from analysis.fits.likelihood.ordinal import ProportionalOdds
from analysis.fits.likelihood.orthonormal import orthonormal
from analysis.fits.likelihood.parts import CountPart, OrdinalPart
from analysis.fits.sources import sources_of, tested_apart
from analysis.fits.with_controls import WithControls
from doe.model.information import condition_of, vif
from doe.model.terms import term_label
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Estimated:
    """What was estimated on the scale of the surface, controls and blocks after it.

    Attributes:
        family: Of the response.
        scale: The scale that takes the surface to the response, or to a probability.
        coefficients: Shape (p,).
        covariance: Shape (p, p), inverse observed information.
        robust: The same by clusters; None where they are too few.
        df: Shape (p,), of each coefficient; infinite where no variance is estimated.
        components: Variance by stratum.
        component_df: Degrees of freedom of those.
        log_likelihood: Of the readings.
        parameters: How many were estimated, variances and thresholds included.
        observed: Shape (n,), each run as the surface sees it.
        residual: Shape (n,).
        deviates: What each batch is predicted to add, by name; empty without.
    """

    family: Family
    scale: Scale
    coefficients: FloatArray
    covariance: FloatArray
    robust: FloatArray | None
    df: FloatArray
    components: Mapping[str, float]
    component_df: Mapping[str, float]
    log_likelihood: float
    parameters: int
    observed: FloatArray
    residual: FloatArray
    deviates: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LikelihoodFacts:
    """What is known of a fit by likelihood besides its assessment.

    Attributes:
        log_likelihood: At the maximum.
        nodes: Nodes of the quadrature over batches; 0 without.
        robust_errors: Standard error of each coefficient by clusters; empty where they are too few.
        clusters: How many there are.
        off_scale: Ends of each reading off the scale, response unit, by run.
        flags: How each of those runs is off the scale.
        held: Labels of coefficients that have no end in these runs and are held by a weak prior.
        left_out: The fit that leaves runs off the scale out; None where it cannot be made.
        proportional_odds: Test of one surface for all thresholds.
        more_scatter: Statistic and p of the test against Poisson counts.
    """

    log_likelihood: float
    nodes: int = 0
    robust_errors: tuple[float, ...] = ()
    clusters: int = 0
    off_scale: Mapping[int, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    flags: Mapping[int, str] = field(default_factory=dict)
    held: tuple[str, ...] = ()
    left_out: Fit | None = None
    proportional_odds: ProportionalOdds | None = None
    more_scatter: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelihoodResponse(FittedResponse):
    """A response fitted by likelihood, with what only a likelihood knows."""

    facts: LikelihoodFacts


def inflated(covariance: FloatArray, freedom: Freedom) -> FloatArray:
    """Raise the first p rows and columns of a covariance to their strata's degrees of freedom."""
    p = len(freedom.inflation)
    by = np.ones(len(covariance))
    by[:p] = np.sqrt(freedom.inflation)
    raised: FloatArray = covariance * np.outer(by, by)
    return raised


def make_fit(
    layout: Layout,
    found: Estimated,
    *,
    classes: OrdinalPart | None = None,
    counts: CountPart | None = None,
) -> Fit:
    """Put what was estimated into a `Fit`."""
    table, s = layout.table, layout.n_surface
    errors = np.sqrt(np.diag(found.covariance))
    controls = {
        name: (float(found.coefficients[s + i]), float(errors[s + i]))
        for i, name in enumerate(table.control_names)
    }
    repeats = [len(run) for run in layout.data.repeats]
    return Fit(
        response=layout.data.response.name,
        unit="probability" if classes is not None else layout.data.response.unit,
        per=layout.data.response.per,
        scale=found.scale,
        coding=layout.coding,
        model=layout.model,
        columns=table.columns,
        coefficients=found.coefficients[:s],
        covariance=found.covariance[:s, :s],
        coefficient_df=found.df[:s],
        components=found.components,
        component_df=found.component_df,
        block_effects=_block_effects(layout, found),
        control_means=controls,
        with_controls=_with_controls(layout, found),
        n=len(table.run),
        runs=table.run,
        repeats=int(np.floor(np.median(repeats) + 0.5)),
        family=found.family,
        method="ml",
        classes=classes,
        counts=counts,
    )


def _with_controls(layout: Layout, found: Estimated) -> WithControls | None:
    names = layout.table.control_names
    size = layout.n_surface + len(names)
    if not names:
        return None
    return WithControls(
        names=names,
        estimates=found.coefficients[:size],
        covariance=found.covariance[:size, :size],
        estimate_df=found.df[:size],
    )


def assess_likelihood(layout: Layout, found: Estimated, level: float) -> Assessment:
    """Gather what is known of a fit by likelihood; what least squares alone knows is None."""
    data, table = layout.data, layout.table
    planned = np.array(table.is_planned)
    settings = data.actual.values[planned]
    n, p = table.matrix.shape
    k = found.parameters
    spread = vif(settings, layout.coding, layout.model)
    condition = condition_of(settings, layout.coding, layout.model)[1]
    aicc = -2 * found.log_likelihood + 2 * k + 2 * k * (k + 1) / (n - k - 1) if n > k + 1 else None
    scatter = found.components["residual"] ** 0.5
    return Assessment(
        level=level,
        coefficients=_coefficient_rows(layout, found, level),
        r2=None,
        r2_adjusted=None,
        r2_predicted=None,
        press=None,
        aicc=aicc,
        log_likelihood=found.log_likelihood,
        anova=_anova(layout, found),
        anova_by_order=(),
        lack_of_fit=(),
        vif={
            label: float(value) if np.isfinite(value) else None
            for label, value in zip(table.labels, spread, strict=True)
        },
        condition=condition if np.isfinite(condition) else layout.solved.condition,
        digits_left=layout.solved.digits_left,
        box_cox=None,
        outliers=(),
        outlier_limit=None,
        order=None,
        normality=None,
        curvature=None,
        runs=_run_rows(layout, found),
        n=n,
        p=p,
        residual_df=_residual_df(found, n - k),
        residual_sd=scatter if found.family == "censored" else None,
        mean=float(found.observed[planned].mean()),
        strata=tuple(found.components),
        blocks=layout.blocks,
        block_effects=_block_effects(layout, found),
        components=_components(layout, found),
        terms_vary=_terms_vary(layout),
    )


def _residual_df(found: Estimated, left: int) -> int:
    """Count whole degrees of freedom of the scatter; ratings and counts have none to estimate."""
    told = found.component_df["residual"]
    return max(min(left, int(told)) if np.isfinite(told) else left, 0)


def _components(layout: Layout, found: Estimated) -> tuple[ComponentRow, ...]:
    """List the variances where batches are told apart; a rating or count has no residual."""
    if layout.batch is None or found.family != "censored":
        return ()
    units = {"batch": len(set(layout.batch)), "residual": len(layout.table.run)}
    return tuple(
        ComponentRow(
            stratum=name,
            variance=found.components[name],
            sd=found.components[name] ** 0.5,
            interval=None,
            df=found.component_df[name],
            is_zero=found.components[name] == 0.0,
            units=units[name],
        )
        for name in found.components
    )


def _terms_vary(layout: Layout) -> dict[str, str]:
    if layout.batch is None:
        return {}
    by_batch = freedom_of(layout.table.matrix, layout.batch).set_by_batch
    return {
        label: "batch" if is_set else "residual"
        for label, is_set in zip(layout.table.labels, by_batch[: layout.n_surface], strict=True)
    }


def _block_effects(layout: Layout, found: Estimated) -> dict[str, float]:
    names = layout.table.block_names
    if not names:
        return {}
    free = found.coefficients[len(found.coefficients) - len(names) + 1 :]
    return dict(zip(names, [*map(float, free), -float(free.sum())], strict=True))


def _coefficient_rows(layout: Layout, found: Estimated, level: float) -> tuple[CoefficientRow, ...]:
    errors = np.sqrt(np.diag(found.covariance))
    rows = []
    for j, (column, label) in enumerate(
        zip(layout.table.columns, layout.table.labels, strict=True)
    ):
        estimate, error, df = (float(x[j]) for x in (found.coefficients, errors, found.df))
        known = np.isfinite(error) and error > 0.0
        t = estimate / error if known else None
        p = 2 * float(stats.t.sf(abs(t), df)) if t is not None else None
        reach = float(stats.t.isf((1 - level) / 2, df)) * error
        rows.append(
            CoefficientRow(
                term=term_label(column.term),
                label=label,
                powers=dict(column.term.powers),
                antisymmetric=column.term.delta,
                levels=dict(column.levels),
                estimate=estimate,
                std_error=error if known else None,
                df=df,
                t=t,
                p=None if is_linear_blending(column, layout.coding) else p,
                interval=(estimate - reach, estimate + reach) if known else None,
            )
        )
    return tuple(rows)


def _anova(layout: Layout, found: Estimated) -> tuple[AnovaRow, ...]:
    """Test each source by Wald's F; its sum of squares is F times the scatter within."""
    table, s = layout.table, layout.n_surface
    terms = [term_label(column.term) for column in table.columns]
    sources = sources_of(table.columns, terms, layout.coding)
    b, V = found.coefficients[:s], found.covariance[:s, :s]
    scatter = found.components["residual"] or 1.0
    rows = []
    if not np.isfinite(V).all():
        return ()
    for source in tested_apart(sources, table.columns, layout.coding):
        L = source.hypothesis(s)
        k = len(L)
        f = float((L @ b) @ np.linalg.solve(L @ V @ L.T, L @ b)) / k
        df = float(found.df[list(source.columns)].min())
        p = float(stats.f.sf(f, k, df)) if np.isfinite(df) else float(stats.chi2.sf(k * f, k))
        lowest = df >= found.df[:s].max()
        rows.append(
            AnovaRow(
                source=source.name,
                kind="partial",
                stratum="residual" if lowest or "batch" not in found.components else "batch",
                df=k,
                den_df=int(df) if np.isfinite(df) else None,
                ss=f * k * scatter,
                ms=f * scatter,
                f=f,
                p=p,
            )
        )
    return tuple(rows)


def _run_rows(layout: Layout, found: Estimated) -> tuple[RunRow, ...]:
    fitted = layout.table.matrix @ found.coefficients
    sd = sum(found.components.values()) ** 0.5
    # Of the columns, as if every row had been read.
    leverage = np.square(orthonormal(layout.table.matrix)[0]).sum(axis=1)
    return tuple(
        RunRow(
            run=run,
            observed=float(found.observed[i]),
            fitted=float(fitted[i]),
            residual=float(found.residual[i]),
            studentised=float(found.residual[i] / sd) if sd > 0.0 else None,
            studentised_internal=None,
            leverage=float(leverage[i]),
            cook=None,
            control=layout.table.control[i],
            repeats=len(layout.data.repeats[i]),
        )
        for i, run in enumerate(layout.table.run)
    )
