"""The statistician's tables of one response: coefficients, variance, quality, runs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from analysis.fits.assessment import AnovaRow, Assessment, CoefficientRow, ComponentRow, RunRow
from analysis.fits.drift_values import slope_in_words
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.mixed_findings import lowest_word, spread_words, teller_word
from analysis.fits.scales import scale_words
from analysis.report.comparison_table import comparison_table
from analysis.report.form_table import form_table
from analysis.report.reduction_table import beside_full_table, near_models_table
from analysis.report.rounding import (
    MISSING,
    MOST_PLACES,
    error_text,
    fixed,
    p_text,
    percent,
    places_for,
    plain,
    sd_interval_text,
    with_error,
)
from analysis.report.table import Cell, Table
from analysis.surface.level_comparison import LevelComparison, middles_words
from doe.model.strata import RESIDUAL, units_word
from doe.study.sentence import begun, listed

SCALE_NOTE = "On the fitted scale ({scale})."
_STRATA_NOTE = (
    " Both predict by the surface alone; what a run's batch adds to it counts as unexplained. "
    "Adjusted R² sets the variance of one new run against that about the mean."
)


def response_tables(
    fitted: FittedResponse, comparisons: Sequence[LevelComparison] = ()
) -> tuple[Table, ...]:
    """Make every table of one response; those without rows are left out."""
    fit, checks = fitted.fit, fitted.assessment
    tables = (
        quality_table(fit, checks),
        beside_full_table(fit.response, fitted.reduction),
        near_models_table(fit.response, fitted.reduction),
        form_table(fit.response, fitted.form),
        component_table(fit, checks),
        coefficient_table(fit, checks),
        comparison_table(fit, comparisons),
        anova_table(fit, checks, "sequential"),
        anova_table(fit, checks, "partial"),
        run_table(fit, checks),
    )
    return tuple(table for table in tables if table.rows)


def quality_table(fit: Fit, checks: Assessment) -> Table:
    """Sum the model up: what it explains, what it misses, how well it is conditioned."""
    rows = [
        ("model", Cell(text=fit.model.name)),
        *_form_rows(fit),
        ("fitted scale", Cell(text=scale_words(fit.scale))),
        ("a prediction is the", Cell(text=fit.value_is)),
        ("unit it belongs to", Cell(text=fit.per)),
        ("estimated by", Cell(text=_method_words(fit))),
        ("runs, controls included", _whole(checks.n)),
        ("coefficients, blocks and controls included", _whole(checks.p)),
        ("residual degrees of freedom", _whole(checks.residual_df)),
        (
            "residual standard deviation",
            Cell(text=error_text(checks.residual_sd), value=checks.residual_sd),
        ),
        ("R²", _share(checks.r2)),
        ("R², adjusted", _share(checks.r2_adjusted)),
        ("R², predicted", _share(checks.r2_predicted)),
        ("PRESS", _plain(checks.press)),
        ("AICc", _plain(checks.aicc)),
        ("condition number", _plain(checks.condition)),
        ("decimal digits it leaves", _plain(checks.digits_left, 2)),
        *_lack_of_fit_rows(checks),
        *_drift_rows(fit, checks),
        *_check_rows(checks),
        *_unit_rows(fit, checks),
    ]
    return Table(
        name=f"{fit.response} quality",
        title=f"{fit.response}: the model as a whole.",
        head=("What", "Value"),
        # A likelihood has no residual of its own and no R²: a line without a number tells nothing.
        rows=tuple(
            (Cell(text=name), cell)
            for name, cell in rows
            if fit.method != "ml" or cell.text != MISSING
        ),
        words=2,
        note=_quality_note(fit, checks),
    )


def _quality_note(fit: Fit, checks: Assessment) -> str:
    strata = _STRATA_NOTE if checks.components else ""
    if fit.method == "ml":
        return f"Fitted by likelihood: there is no R².{strata}"
    return (
        "R² counts variation about the mean of the runs of the plan; predicted R² and PRESS leave "
        f"each run out in turn.{strata}"
    )


def _form_rows(fit: Fit) -> list[tuple[str, Cell]]:
    bend = fit.model.bend
    return [] if bend is None else [(f"form of {bend.factor}", Cell(text=bend.form))]


def component_table(fit: Fit, checks: Assessment) -> Table:
    """List how far units of each stratum differ; no rows where runs share none."""
    return Table(
        name=f"{fit.response} components",
        title=f"{fit.response}: what scatters, {percent(checks.level)} intervals.",
        head=("What differs", "How many", "Variance", "Standard deviation", "From to", "df"),
        rows=tuple(
            (
                Cell(text=_who(fit, row)),
                _whole(row.units),
                _plain(row.variance, 3),
                Cell(text=error_text(row.sd) if row.sd > 0 else plain(row.sd), value=row.sd),
                Cell(text="–" if row.interval is None else sd_interval_text(row.interval)),
                _freedom(row.df),
            )
            for row in checks.components
        ),
        note=f"{SCALE_NOTE.format(scale=scale_words(fit.scale))} {begun(spread_words(fit))}. "
        "The interval is of the standard deviation, by the profile of the restricted likelihood.",
    )


def _who(fit: Fit, row: ComponentRow) -> str:
    return lowest_word(fit) if row.stratum == RESIDUAL else units_word(row.stratum)


def coefficient_table(fit: Fit, checks: Assessment) -> Table:
    """List coefficients with error, interval, test and variance inflation."""
    told = ("Told by",) if checks.components else ()
    return Table(
        name=f"{fit.response} coefficients",
        title=f"{fit.response}: coefficients, coded units, {percent(checks.level)} intervals.",
        head=("Term", *told, "Estimate", "Standard error", "From", "To", "df", "t", "p", "VIF"),
        rows=tuple(_coefficient_row(row, checks) for row in checks.coefficients),
        note=_coefficient_note(fit),
    )


def anova_table(fit: Fit, checks: Assessment, kind: str) -> Table:
    """List the analysis of variance of one kind."""
    places = _square_places(checks)
    word = {
        "sequential": "each source after those above it",
        "partial": "each source after all others",
    }
    return Table(
        name=f"{fit.response} variance {kind}",
        title=f"{fit.response}: analysis of variance, {kind} ({word[kind]}).",
        head=("Source", "Stratum", "df", "Sum of squares", "Mean square", "F", "Error df", "p"),
        rows=tuple(_anova_row(row, places) for row in checks.anova if row.kind == kind),
        words=2,
        note=SCALE_NOTE.format(scale=scale_words(fit.scale)),
    )


def run_table(fit: Fit, checks: Assessment) -> Table:
    """List every run that was fitted with its residual and its pull on the model."""
    return Table(
        name=f"{fit.response} runs",
        title=f"{fit.response}: the runs, one by one.",
        head=(
            "Run", "What", "Readings", "Observed", "Fitted", "Residual", "Studentised", "Leverage",
            "Cook's distance",
        ),
        rows=tuple(_run_row(row, checks) for row in checks.runs),
        words=2,
        note=_run_note(fit, checks),
    )  # fmt: skip


def _run_note(fit: Fit, checks: Assessment) -> str:
    note = f"{SCALE_NOTE.format(scale=scale_words(fit.scale))} Studentised residuals are external"
    limit = checks.outlier_limit
    return f"{note}." if limit is None else f"{note}; beyond ±{limit:.2f} a run is marked."


def _coefficient_row(row: CoefficientRow, checks: Assessment) -> tuple[Cell, ...]:
    low, high = row.interval or (math.nan, math.nan)
    told = Cell(text=teller_word(checks, row.label))
    return (
        Cell(text=row.label),
        *((told,) if checks.components else ()),
        Cell(text=with_error(row.estimate, row.std_error), value=row.estimate),
        Cell(text=error_text(row.std_error), value=row.std_error),
        Cell(text=with_error(low, row.std_error), value=low),
        Cell(text=with_error(high, row.std_error), value=high),
        _plain(row.df, 3),
        _fixed(row.t, 2),
        Cell(text=p_text(row.p), value=row.p),
        _fixed(checks.vif.get(row.label), 2),
    )


def _coefficient_note(fit: Fit) -> str:
    note = SCALE_NOTE.format(scale=scale_words(fit.scale))
    if fit.coding.shares:
        note += (
            " Blending terms carry no p: zero is no sensible value for a pure additive. Variance "
            "inflation is from the shares rescaled between their limits."
        )
    between = middles_words(fit.coding)
    return f"{note} {between}" if between else note


def _square_places(checks: Assessment) -> int | None:
    """Carry sums of squares two places beyond what the residual mean square reaches."""
    mean_squares = [row.ms for row in checks.anova if row.source == "residual" and row.ms]
    places = places_for(mean_squares[0]) if mean_squares else None
    return None if places is None else places + 2


def _anova_row(row: AnovaRow, places: int | None) -> tuple[Cell, ...]:
    return (
        Cell(text=row.source),
        Cell(text=row.stratum),
        _whole(row.df),
        _fixed(row.ss, places),
        _fixed(row.ms, places),
        _fixed(row.f, 2),
        _freedom(row.den_df),
        Cell(text=p_text(row.p), value=row.p),
    )


def _run_row(row: RunRow, checks: Assessment) -> tuple[Cell, ...]:
    error = checks.residual_sd
    is_out = any(outlier.run == row.run for outlier in checks.outliers)
    return (
        Cell(text=str(row.run), value=row.run),
        Cell(text=row.control or "plan"),
        _whole(row.repeats),
        Cell(text=with_error(row.observed, error), value=row.observed),
        Cell(text=with_error(row.fitted, error), value=row.fitted),
        Cell(text=with_error(row.residual, error), value=row.residual),
        Cell(text=fixed(row.studentised, 2), value=row.studentised, sign="doubt" if is_out else ""),
        _fixed(row.leverage, 3),
        _fixed(row.cook, 3),
    )


def _lack_of_fit_rows(checks: Assessment) -> Iterable[tuple[str, Cell]]:
    if not checks.lack_of_fit:
        yield "lack of fit", Cell(text="cannot be told: no replicates left to judge by")
    for row in checks.lack_of_fit:
        name = "lack of fit" if row.stratum == "residual" else f"lack of fit, {row.stratum}"
        df = f"{row.df} and {plain(row.den_df, 3)} df"
        text = f"F = {plain(row.f, 3)} on {df}, p {_equals(row.p)}"
        yield name, Cell(text=text)


def _check_rows(checks: Assessment) -> Iterable[tuple[str, Cell]]:
    if checks.box_cox is not None:
        low, high = checks.box_cox.interval
        text = (
            f"λ = {plain(checks.box_cox.power, 3)} ({plain(low, 3)} to {plain(high, 3)}); "
            f"nearest usual scale: {checks.box_cox.suggestion}"
        )
        yield "power of Box and Cox", Cell(text=text)
    if checks.outlier_limit is not None:
        runs = listed([str(outlier.run) for outlier in checks.outliers]) or "none"
        yield "runs beyond the limit for outliers", Cell(text=runs)
    if checks.order is not None and checks.order.p is not None:
        text = f"{plain(checks.order.slope, 3)} a run, p {_equals(checks.order.p)}"
        yield "drift with order as done", Cell(text=text)
    if checks.normality is not None:
        text = f"W = {plain(checks.normality.w, 3)}, p {_equals(checks.normality.p)}"
        yield "straightness of the normal plot", Cell(text=text)


def _drift_rows(fit: Fit, checks: Assessment) -> Iterable[tuple[str, Cell]]:
    if fit.drift is None:
        return
    told = (fit.drift.slope, *fit.drift.interval(checks.level))
    (slope, low, high), unit = slope_in_words(fit, told)
    interval = f"{plain(low, 3)} to {plain(high, 3)}"
    text = f"{plain(slope, 3)} ({interval}) {unit}, p {_equals(fit.drift.p)}"
    yield "corrected for drift with order as done", Cell(text=text)


def _unit_rows(fit: Fit, checks: Assessment) -> Iterable[tuple[str, Cell]]:
    if not checks.components:
        return
    unit = checks.unit_left_out
    yield f"R², predicted, each {unit} left out", _share(checks.r2_predicted_by_unit)
    yield f"PRESS, each {unit} left out", _plain(checks.press_by_unit)
    yield (
        "standard deviation of one new run",
        Cell(text=error_text(fit.total_sd), value=fit.total_sd),
    )


def _method_words(fit: Fit) -> str:
    return {
        "ols": "least squares",
        "reml": "restricted maximum likelihood, tests after Kenward and Roger",
        "ml": "maximum likelihood",
    }[fit.method]


def _equals(p: float | None) -> str:
    text = p_text(p)
    return text if text.startswith("<") else f"= {text}"


def _share(value: float | None) -> Cell:
    return Cell(text="–" if value is None else f"{value:.3f}".replace("-", "−"), value=value)


def _plain(value: float | None, digits: int = 4) -> Cell:
    usable = value is not None and math.isfinite(value)
    return Cell(text=plain(value, digits), value=value if usable else None)


def _fixed(value: float | None, places: int | None) -> Cell:
    if places is None or places > MOST_PLACES:
        return _plain(value)
    return Cell(text=fixed(value, places), value=value)


def _freedom(df: float | None) -> Cell:
    """Show degrees of freedom: whole where they are, else to a decimal."""
    if df is None or not math.isfinite(df):
        return Cell(text="–" if df is None or math.isnan(df) else "∞")
    return Cell(text=f"{df:.0f}" if df == int(df) else fixed(df, 1), value=df)


def _whole(value: int) -> Cell:
    return Cell(text=str(value), value=value)
