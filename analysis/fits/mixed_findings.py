"""What to make of a fit whose runs share batches or days, in the words of the bench."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.fits.assessment import Assessment, LackOfFit, Misleading
from analysis.fits.findings import CLEAR, FEW_REPLICATES, count_of_df, findings_of_any
from analysis.fits.fit import Fit, Scale
from analysis.fits.in_strata import InStrata
from analysis.fits.strata_of_data import RUN
from analysis.lab.response_data import ResponseData
from doe.model.strata import RESIDUAL, residual_df, units_word
from doe.study.finding import Finding

# With four df a 95 % interval is 1.4 times as wide as with many; with one or two it says little.
FEW_DF = 4
TOO_FEW_DF = 2
_SOURCE = "Kenward and Roger (1997), Biometrics 53, 983-997"


def mixed_findings(
    fit: Fit, assessment: Assessment, data: ResponseData, fitted: InStrata
) -> tuple[Finding, ...]:
    """Say what the strata do, then all that is said of any fit."""
    df = residual_df(fitted.strata.strata, fitted.table.matrix)
    return (
        *_on_strata(fit, assessment),
        *_on_untold(fitted),
        *_on_zero(fit, assessment),
        *_on_few(assessment, df, fitted.solution.untold),
        *_on_what_terms_rest(assessment, df),
        *_on_misleading(assessment),
        *_on_search(fitted),
        *_on_lack_of_fit(assessment),
        *_on_units_left_out(assessment),
        *_on_outlying_units(assessment),
        *findings_of_any(fit, assessment, data),
    )


def lowest_word(fit: Fit) -> str:
    """Name what differs in the lowest stratum of a fit."""
    if fit.by_reading:
        return "readings of one run"
    above = [name for name in fit.components if name != RESIDUAL]
    return f"runs of one {above[-1]}" if above else "runs"


def teller_word(known: Assessment, label: str) -> str:
    """Name the units that tell a coefficient apart, many of them."""
    stratum = known.terms_vary.get(label, RESIDUAL)
    if stratum != RESIDUAL:
        return units_word(stratum)
    return "readings" if RUN in known.strata else "runs"


def _within_word(stratum: str) -> str:
    """Say what lies within a unit of a stratum: readings within a run, else runs."""
    return "the readings of one run" if stratum == RUN else "runs within them"


def spread_words(fit: Fit) -> str:
    """Say how far units differ, as one standard deviation, from the coarsest to the finest."""
    parts: list[str] = []
    for name, variance in fit.components.items():
        if not np.isfinite(variance):
            continue
        who = lowest_word(fit) if name == RESIDUAL else units_word(name)
        sd = spread_text(fit.scale, float(variance**0.5), fit.unit)
        parts.append(f"{who} by {sd}" if parts else f"{who} differ by {sd}")
    return ", ".join(parts)


def spread_text(scale: Scale, sd: float, unit: str) -> str:
    """Write one standard deviation of the fitted scale for the bench: per cent of a logarithm.

    Example:
        >>> spread_text(Scale(name="log"), 0.06, "mPa·s"), spread_text(Scale(), 12.4, "mPa·s")
        ('± 6.2 %', '± 12 mPa·s')
    """
    name = scale.name
    if name == "log":
        return f"± {_two_digits(100 * (np.exp(sd) - 1))} %"
    tail = f" {unit}" if name == "identity" and unit else ""
    return f"± {_two_digits(sd)}{tail}" + ("" if name == "identity" else " on the fitted scale")


def _on_strata(fit: Fit, a: Assessment) -> Iterator[Finding]:
    above = [units_word(name) for name in fit.components if name not in (RESIDUAL, RUN)]
    if fit.by_reading:
        yield Finding(
            level="note",
            what="Runs were read unequally often, so that single readings are fitted and a run "
            f"counts by what it is worth: {spread_words(fit)} (one standard deviation). Intervals "
            f"for one new run are for the mean of {fit.repeats} "
            f"reading{'s' if fit.repeats != 1 else ''}.",
            evidence={"rows": next(c.units for c in a.components if c.stratum == RESIDUAL)},
        )
    if not above:
        return
    new = "a new batch" if "batch" in fit.components else f"a new {a.strata[0]}"
    if "day" in fit.components and "batch" in fit.components:
        new += " on a new day"
    yield Finding(
        level="note",
        what=f"Runs share {' and '.join(above)}, and the model allows for it: {spread_words(fit)} "
        f"(one standard deviation). Intervals for one new run are for {new}.",
        evidence={
            f"sd of {row.stratum}": _short(row.sd) for row in a.components if np.isfinite(row.sd)
        },
        source=_SOURCE,
    )


def _on_untold(fitted: InStrata) -> Iterator[Finding]:
    untold = fitted.solution.untold
    if RESIDUAL in untold:
        yield Finding(
            level="caution",
            what="Beside this model nothing is left that tells the scatter within "
            f"{units_word(fitted.strata.names[-1])} from that between them: coefficients are given "
            "without standard errors.",
            advice="Fit a smaller model, or "
            + (
                "read some runs again."
                if RUN in fitted.strata.names
                else "add runs within a batch."
            ),
        )
        return
    for name in untold:
        yield Finding(
            level="caution",
            what=f"The model has as many terms that differ between {units_word(name)} as there are "
            f"{units_word(name)} to tell them by: how far {units_word(name)} scatter cannot be "
            "seen, and these terms, and every level, are given without standard errors.",
            evidence={units_word(name): len(np.unique(fitted.units(name)))},
            advice=f"{'Drop terms' if name == RUN else f'Drop terms set per {name}'}, or make more "
            f"{units_word(name)}.",
        )


def _on_zero(fit: Fit, a: Assessment) -> Iterator[Finding]:
    for row in a.components:
        if not row.is_zero:
            continue
        upper = row.interval[1] if row.interval else float("nan")
        limit = spread_text(fit.scale, upper**0.5, fit.unit) if np.isfinite(upper) else "anything"
        yield Finding(
            level="caution",
            what=f"{units_word(row.stratum).capitalize()} differ no more than "
            f"{_within_word(row.stratum)} do: their own scatter is estimated as 0. It stays in the "
            "model all the same, as "
            f"{row.units} {units_word(row.stratum)} rule out only differences beyond {limit}.",
            evidence={
                "upper limit of the sd": _short(upper**0.5),
                "level": a.level,
                units_word(row.stratum): row.units,
            },
            advice="Do not plan as if there were none; a few more of them, or a look at earlier "
            "studies, would tell.",
            source="Searle, Casella and McCulloch (1992), Variance Components, section 3.8",
        )


def _on_few(a: Assessment, df: dict[str, int], untold: tuple[str, ...]) -> Iterator[Finding]:
    for name, count in df.items():
        if count >= FEW_DF or name in untold:
            continue
        where, more = f"among {units_word(name)}", units_word(name)
        if name == RESIDUAL:
            lowest = units_word(a.strata[-2]) if len(a.strata) > 1 else "units"
            where, more = f"among the runs within {lowest}", f"runs within {lowest}"
        if name == RESIDUAL and RUN in df:
            where, more = "among the readings of one run", "second readings"
        yield Finding(
            level="caution",
            what=f"Only {count_of_df(count)} {'are' if count != 1 else 'is'} left {where}: what "
            "rests on them has wide intervals and blunt tests.",
            evidence={f"degrees of freedom, {name}": count},
            advice=f"Add {more}; four or more would do.",
        )
    thin = [row for row in a.coefficients if np.isfinite(row.df) and row.df < TOO_FEW_DF]
    if thin:
        names = ", ".join(f"'{row.label}'" for row in thin[:4])
        more = f" and {len(thin) - 4} more" if len(thin) > 4 else ""
        yield Finding(
            level="caution",
            what=f"The error of {names}{more} rests on fewer than 2 degrees of freedom: its "
            "interval is little better than a guess.",
            evidence={f"df of {row.label}": _short(row.df) for row in thin[:4]},
            advice="Read these coefficients as directions only.",
            source=_SOURCE,
        )


def _on_what_terms_rest(a: Assessment, df: dict[str, int]) -> Iterator[Finding]:
    for name in (one for one in a.strata if one != RESIDUAL):
        own = [label for label, stratum in a.terms_vary.items() if stratum == name]
        own = [label for label in own if label != "intercept"]
        if not own:
            continue
        shown = ", ".join(f"'{label}'" for label in own[:6])
        more = f" and {len(own) - 6} more" if len(own) > 6 else ""
        count = next((c.units for c in a.components if c.stratum == name), 0)
        each, instead = "many runs were made in each", "runs within them"
        if name == RUN:
            each, instead = "often each was read", "readings of them"
        yield Finding(
            level="note",
            what=f"Told by {units_word(name)} only: {shown}{more}. They rest on {count} "
            f"{units_word(name)}, however {each}.",
            evidence={units_word(name): count, "degrees of freedom": df.get(name, 0)},
            advice=f"To sharpen them, add {units_word(name)}, not {instead}.",
        )


def _on_misleading(a: Assessment) -> Iterator[Finding]:
    if not a.misleading:
        return
    worst = sorted(a.misleading, key=lambda one: -abs(np.log(one.plain_error / one.std_error)))
    sure = [one for one in worst if one.plain_error < one.std_error]
    shown = (sure or worst)[:4]
    turned = [one for one in worst if _turns(one)]
    own = "reading had come from a run of its own" if RUN in a.strata else "run had been made alone"
    what = f"Plain least squares, as if every {own}, would mislead here: "
    what += "; ".join(
        f"for '{one.label}' its standard error is {one.plain_error:.2g}, not {one.std_error:.2g}"
        for one in shown
    )
    if turned:
        what += ". It would turn the verdict on " + ", ".join(
            f"'{one.label}' (p {one.plain_p:.2g} instead of {one.p:.2g})" for one in turned[:4]
        )
    yield Finding(
        level="note",
        what=f"{what}.",
        evidence={
            f"standard error of {one.label}, plain over allowed for": _short(
                one.plain_error / one.std_error
            )
            for one in shown
        },
        source="Goos (2002), The Optimal Design of Blocked and Split-Plot Experiments, chapter 6",
    )


def _turns(one: Misleading) -> bool:
    if one.p is None or one.plain_p is None:
        return False
    return (one.p < CLEAR) != (one.plain_p < CLEAR)


def _on_search(fitted: InStrata) -> Iterator[Finding]:
    optimum = fitted.solution.optimum
    if optimum.at_end:
        yield Finding(
            level="caution",
            what="Within units all runs agree with the model to the last digit: they look like "
            "copies or second readings, not like runs made anew.",
            advice="Enter second readings as repeats of one run.",
        )
    elif not optimum.is_settled:
        yield Finding(
            level="caution",
            what="The search for the variance components did not settle; errors are approximate.",
            evidence={"slope left": _short(optimum.slope)},
            advice="Fit a smaller model, and compare.",
        )


def _on_lack_of_fit(a: Assessment) -> Iterator[Finding]:
    if not a.lack_of_fit:
        yield Finding(
            level="note",
            what="No settings were made twice in a way that tells scatter from misfit, so it "
            "cannot be seen whether the form of the model is right.",
            advice="Plan replicates in the next round: whole batches, and samples within a batch.",
        )
    for test in a.lack_of_fit:
        yield _lack(test)


def _lack(test: LackOfFit) -> Finding:
    batches = test.stratum != RESIDUAL
    where = f"between {units_word(test.stratum)}" if batches else "within units"
    judges = f"{units_word(test.stratum)} made twice" if batches else "runs repeated within units"
    evidence: dict[str, float | int | str] = {"df": test.df, "error df": _short(test.den_df)}
    if test.f is not None and test.p is not None:
        evidence |= {"F": _short(test.f), "p": _short(test.p)}
    if test.p is not None and test.p < CLEAR:
        return Finding(
            level="caution",
            what=f"The model misses more {where} than {judges} scatter: its form is too simple "
            "there, or the scale is wrong.",
            evidence=evidence,
            advice="Try the next larger model or another scale.",
            source="Goos and Gilmour (2017), Journal of Quality Technology 49, 320-336",
        )
    few = test.den_df < FEW_REPLICATES
    what = f"No lack of fit is seen {where}."
    if few:
        what += f" With {count_of_df(test.den_df)} the test could hardly see it."
    return Finding(
        level="note",
        what=what,
        evidence=evidence,
        advice="Add replicates in the next round." if few else "",
    )


def _on_units_left_out(a: Assessment) -> Iterator[Finding]:
    by_unit, by_run = a.r2_predicted_by_unit, a.r2_predicted
    if by_unit is None or by_run is None or by_run - by_unit <= 0.2:
        return
    yield Finding(
        level="caution",
        what=f"A {a.unit_left_out} left out whole is predicted much worse than a single run: what "
        f"looks known within this study's {units_word(a.unit_left_out)} is less so for a new one.",
        evidence={
            "predicted R² by run": _short(by_run),
            f"predicted R² by {a.unit_left_out}": _short(by_unit),
        },
        advice="Judge the model by the lower number.",
    )


def _on_outlying_units(a: Assessment) -> Iterator[Finding]:
    for units in a.units:
        for label, effect, t in zip(units.labels, units.effect, units.standardised, strict=True):
            if t is None or units.limit is None or abs(t) <= units.limit:
                continue
            yield Finding(
                level="caution",
                what=f"{units.stratum.capitalize()} {label} lies far "
                f"{'above' if effect > 0 else 'below'} what its settings give, further than "
                f"{units_word(units.stratum)} that differ by chance.",
                evidence={
                    "predicted effect, fitted scale": _short(effect),
                    "studentised": round(t, 2),
                    f"limit for all {units_word(units.stratum)} together": round(units.limit, 2),
                },
                advice="Look at what was different when it was made: weighing, raw material, mill, "
                "day. Exclude it only for a reason found there.",
                source="Lange and Ryan (1989), Annals of Statistics 17, 624-642",
            )


def _two_digits(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def _short(value: float) -> float:
    return float(f"{value:.3g}")
