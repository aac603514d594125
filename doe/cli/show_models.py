"""How `fit` and `predict` look in the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from analysis.fits.assessment import Assessment, CoefficientRow
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.mixed_findings import lowest_word, spread_words, teller_word
from analysis.report.comparison_table import HEAD, comparison_cells
from analysis.report.rounding import (
    error_text,
    fixed,
    interval_error,
    interval_text,
    p_text,
    plain,
    sd_interval_text,
    with_error,
)
from analysis.surface.exact import COMPUTED
from analysis.surface.level_comparison import LevelComparison, middles_words
from doe.cli.screen import WIDTH, findings_text, paragraph, text_table
from doe.cli.show_drift import show_correction, show_drift
from doe.cli.show_forms import show_forms
from doe.cli.show_landscape import show_landscape
from doe.cli.show_reduction import show_reduction
from doe.model.strata import RESIDUAL, units_word
from doe.steps.drift_contract import corrected_value
from doe.steps.fit import FitOutcome
from doe.steps.next_steps import NextStep, next_steps
from doe.steps.predict import PredictOutcome
from doe.study.sentence import begun


def show_fit(outcome: FitOutcome) -> str:
    """Show every fitted response, those that the recipe gives, then those that have no model."""
    comparisons = outcome.analysis.comparisons
    parts = [
        _fitted(
            name,
            fitted,
            comparisons[name],
            show_correction(fitted, corrected_value(outcome.analysis, name)),
        )
        + show_landscape(outcome.landscapes.get(name))
        for name, fitted in outcome.analysis.fitted.items()
    ]
    parts += [
        paragraph(f"{name}: computed from the recipe ({one.method}), without readings or error.")
        for name, one in outcome.analysis.computed.items()
    ]
    parts += [
        paragraph(f"{name}: not fitted. {why}") for name, why in outcome.analysis.not_fitted.items()
    ]
    parts += [
        paragraph(f"{name}: cannot be computed from the recipe. {why}")
        for name, why in outcome.analysis.not_computed.items()
    ]
    if drift := show_drift(outcome.analysis.control_drifts, outcome.analysis.fits):
        parts.append(drift)
    if outcome.kept:
        parts.append("Kept in choices.toml.")
    steps = next_steps(outcome.analysis)
    parts += [_next(steps)] if steps else []
    return "\n\n".join(parts)


def _next(steps: Sequence[NextStep]) -> str:
    """Number what to do next."""
    lines = [
        textwrap.fill(
            one.sentence, WIDTH, initial_indent=f"  {number}. ", subsequent_indent="     ",
            break_on_hyphens=False, break_long_words=False,
        )
        for number, one in enumerate(steps, start=1)
    ]  # fmt: skip
    return "\n".join(["What to do next:", *lines])


def show_predict(outcome: PredictOutcome) -> str:
    """Show each row of settings with what to expect there."""
    parts = []
    for i in range(len(outcome.settings)):
        row = outcome.settings.row(i)
        head = ", ".join(f"{name} {_word(value)}" for name, value in row.items())
        rows = [
            [
                p.response,
                with_error(float(p.value[i]), interval_error(*map(float, p.mean_interval[i]))),
                p.unit,
                "computed" if p.predict_for == COMPUTED else p.value_is,
                _interval(*map(float, p.mean_interval[i])),
                _interval(*map(float, p.run_interval[i])),
            ]
            for p in outcome.predictions.values()
        ]
        # Why is among the findings below.
        rows += [[name, "no model", "", "", "", ""] for name in outcome.not_fitted]
        heads = ["response", "value", "unit", "value is", "true value within", "one new run within"]
        parts.append(f"{head}\n{text_table(heads, rows)}")
    parts += _what_intervals_are(outcome)
    return "\n\n".join(parts)


def _what_intervals_are(outcome: PredictOutcome) -> list[str]:
    """Say what a new run is, for each group of responses that mean the same by it."""
    modelled = [one for one in outcome.predictions.values() if one.predict_for != COMPUTED]
    if not modelled:
        return []
    words = list(dict.fromkeys(one.predict_for for one in modelled))
    if len(words) > 1:
        named = {w: ", ".join(p.response for p in modelled if p.predict_for == w) for w in words}
        words = [f"{word} ({named[word]})" for word in words]
    return [
        paragraph(f"Intervals at {100 * modelled[0].level:g} %; one new run: {'; '.join(words)}.")
    ]


def _fitted(
    name: str,
    fitted: FittedResponse,
    comparisons: Sequence[LevelComparison],
    beside: Sequence[str] = (),
) -> str:
    fit, known = fitted.fit, fitted.assessment
    scale = "" if fit.scale.name == "identity" else f", {fit.scale.name} scale"
    unit = f" ({fit.unit})" if fit.unit else ""
    bend = fit.model.bend
    form = "" if bend is None else f", {bend.factor} bent by {bend.form}"
    head = f"{name}{unit}: {fit.model.name} model{scale}{form}, {known.n} runs"
    heads = ["term", "estimate", "std error", "t", "p", f"{100 * known.level:g} % interval"]
    rows = [_coefficient(row) for row in known.coefficients]
    if known.components:
        # Where rows share units each term has degrees of freedom of its own.
        heads[3:3] = ["told by", "df"]
        for row, shown in zip(known.coefficients, rows, strict=True):
            shown[3:3] = [teller_word(known, row.label), fixed(row.df, 1)]
    parts = [head, text_table(heads, rows), *_strata(fit, known)]
    parts += [*_levels_compared(fit, comparisons), paragraph(_summary(fit, known))]
    parts += show_reduction(name, fitted.reduction)
    parts += show_forms(name, fitted.form)
    parts += beside
    parts.append(findings_text(fitted.findings))
    return "\n\n".join(part for part in parts if part)


def _strata(fit: Fit, known: Assessment) -> list[str]:
    """Show the scatter of each stratum with its interval and degrees of freedom."""
    if not known.components:
        return []
    rows = [
        [
            lowest_word(fit) if row.stratum == RESIDUAL else units_word(row.stratum),
            plain(row.sd, 3),
            "–" if row.interval is None else sd_interval_text(row.interval),
            fixed(row.df, 1),
            str(row.units),
        ]
        for row in known.components
    ]
    heads = ["scatter of", "sd", f"{100 * known.level:g} % interval", "df", "how many"]
    return [text_table(heads, rows), paragraph(f"{begun(spread_words(fit))}.")]


def _levels_compared(fit: Fit, comparisons: Sequence[LevelComparison]) -> list[str]:
    """Show levels in pairs, between their range middles and at equal real value."""
    if not comparisons:
        return []
    words = f"{middles_words(fit.coding)} In pairs, and at an equal real value beside it:"
    rows = [[text for text, _ in comparison_cells(one)] for one in comparisons]
    return [paragraph(words), text_table([head.lower() for head in HEAD], rows)]


def _coefficient(row: CoefficientRow) -> list[str]:
    interval = "–" if row.interval is None else interval_text(*row.interval, row.std_error)
    return [
        row.label,
        with_error(row.estimate, row.std_error),
        error_text(row.std_error),
        fixed(row.t, 2),
        p_text(row.p),
        interval,
    ]


def _summary(fit: Fit, known: Assessment) -> str:
    """Sum the model up in a line; empty for ratings and counts, which have no scatter of runs."""
    parts = []
    if known.residual_sd is not None:
        of = f" of {lowest_word(fit)}" if fit.by_reading else ""
        n = known.residual_df
        freedom = f"{n} degree{'s' if n != 1 else ''} of freedom"
        parts.append(f"Residual sd{of} {plain(known.residual_sd, 3)} on {freedom}")
    for label, value in (
        ("R²", known.r2), ("adjusted", known.r2_adjusted), ("predicted", known.r2_predicted),
    ):  # fmt: skip
        if value is not None:
            parts.append(f"{label} {fixed(value, 3)}")
    if known.r2_predicted_by_unit is not None:
        by_unit = fixed(known.r2_predicted_by_unit, 3)
        parts.append(f"predicted with each {known.unit_left_out} left out {by_unit}")
    for test in known.lack_of_fit:
        if test.p is not None:
            where = "" if test.stratum == RESIDUAL else f" between {units_word(test.stratum)}"
            df = f"{test.df} and {plain(test.den_df, 3)} df"
            parts.append(f"lack of fit{where} p {p_text(test.p)} ({df})")
    return "; ".join(parts) + "." if parts else ""


def _interval(low: float, high: float) -> str:
    return interval_text(low, high, interval_error(low, high))


def _word(value: float | str | None) -> str:
    return value if isinstance(value, str) else plain(value)
