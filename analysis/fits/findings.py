"""What to believe of a fit, what to doubt and what to do next, in the words of the bench."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from analysis.fits.assessment import AnovaRow, Assessment
from analysis.fits.box_cox import typed_scale
from analysis.fits.findings_on_runs import findings_on_runs
from analysis.fits.fit import Fit
from analysis.lab.response_data import ResponseData
from doe.study.finding import Finding

# The usual 5 %, and a band above it where one more run may decide.
CLEAR = 0.05
EDGE = 0.15
# A gap this wide between fit and prediction: Montgomery (2017), section 10.6, "reasonable
# agreement ... within about 0.2".
_WIDE_GAP = 0.2
# Below half, the mean does as well for most purposes as the model.
_WEAK_PREDICTION = 0.5
# With four degrees of freedom a 95 % interval is 1.4 times as wide as with many.
_FEW_DF = 4
# Readings carry three to four digits; with fewer than six left by the condition they suffer.
_FEW_DIGITS = 6.0
# Usual scales lie half a power apart: within half of that there is no better one.
_NEAR_POWER = 0.25
# Marquardt (1970), Technometrics 12, 591-612: serious above 10.
_LARGE_VIF = 10.0

# Fewer replicate degrees of freedom than this make a test that misses most (F of 3: 5.4 to 10).
FEW_REPLICATES = 4


def findings_of(fit: Fit, assessment: Assessment, data: ResponseData) -> tuple[Finding, ...]:
    """Say what to believe, what to doubt and what to do next."""
    return (
        *_on_information(assessment),
        *_on_lack_of_fit(assessment, data),
        *findings_of_any(fit, assessment, data),
    )


def findings_of_any(fit: Fit, assessment: Assessment, data: ResponseData) -> tuple[Finding, ...]:
    """Say what is said of any fit, whatever strata its runs lie in."""
    return (
        *_on_effects(assessment),
        *_on_prediction(assessment),
        *_on_scale(fit, assessment),
        *_on_digits(assessment),
        *findings_on_runs(fit, assessment, data),
    )


def _on_information(a: Assessment) -> Iterator[Finding]:
    total = next(row for row in a.anova if row.source == "total")
    if total.ss <= 0 and total.df > 0:
        yield Finding(
            level="caution",
            what="The response does not vary: all readings are the same, and nothing that was "
            "changed shows in them. There is nothing to model, and no error can be given.",
            evidence={"value on the fitted scale": a.mean},
            advice="Check the resolution of the instrument: what it rounds away cannot be seen. "
            "Read in finer steps, or by another method, or leave this response out.",
        )
    residual = next(row for row in a.anova if row.source == "residual")
    if a.residual_df > 0 and residual.ss == 0 and total.ss > 0:
        yield Finding(
            level="caution",
            what="The model passes through every run to the last digit: this response looks "
            "computed from the settings, not measured, so there is no scatter to test against, and "
            "no error can be given.",
            evidence={"residual degrees of freedom": a.residual_df},
            advice="Check that readings were entered and not the values of a formula, and that the "
            "instrument reads finely enough to show a scatter.",
        )
    if a.residual_df == 0:
        yield Finding(
            level="caution",
            what="There are as many coefficients as runs: the model passes through every run, and "
            "nothing is left to judge it by. Coefficients are given without standard errors.",
            evidence={"runs": a.n, "coefficients": a.p},
            advice="Fit a smaller model or make more runs before you rely on any of it.",
        )
    elif a.residual_df < _FEW_DF:
        yield Finding(
            level="caution",
            what="Few degrees of freedom are left for the error, so intervals are wide and tests "
            "blunt.",
            evidence={"residual degrees of freedom": a.residual_df},
            advice="Drop terms that do nothing, or add runs; four or more would do.",
        )


def _on_effects(a: Assessment) -> Iterator[Finding]:
    tested = [row for row in a.anova if row.kind == "partial" and row.p is not None]
    tested = [row for row in tested if row.source != "blocks"]
    if not tested:
        return
    clear = sorted((row for row in tested if _p(row) < CLEAR), key=_p)
    edge = [row for row in tested if CLEAR <= _p(row) < EDGE]
    if clear:
        yield Finding(
            level="note",
            what=f"What stands out of the scatter: {_named(clear)}.",
            evidence={f"p of {row.source}": _short(_p(row)) for row in clear[:6]},
        )
    else:
        yield Finding(
            level="caution",
            what="No term stands out of the scatter of the runs.",
            evidence={"smallest p": _short(min(map(_p, tested)))},
            advice="Do not read effects out of this model; widen the ranges, add replicates or "
            "sharpen the test method.",
        )
    if edge:
        yield Finding(
            level="note",
            what=f"At the edge, neither shown nor ruled out: {_named(edge)}.",
            evidence={f"p of {row.source}": _short(_p(row)) for row in edge[:6]},
            advice="Keep them while they cost nothing, and let the next runs decide.",
        )


def _n_replicates(data: ResponseData) -> int:
    """Count the runs whose planned settings another run had before."""
    rows = np.round(np.nan_to_num(data.planned.values, nan=-9e15), 9)
    return len(rows) - len(np.unique(rows, axis=0))


def _on_lack_of_fit(a: Assessment, data: ResponseData) -> Iterator[Finding]:
    if a.residual_sd == 0:
        return
    pure = next((row for row in a.anova if row.source == "pure error"), None)
    if pure is None:
        if a.residual_df > 0 and _n_replicates(data):
            yield Finding(
                level="note",
                what=f"The replicates tell the {a.blocks or 'block'}s apart and nothing more, so "
                "it cannot be seen whether the form of the model is right.",
                evidence={"runs that repeat another": _n_replicates(data)},
                advice="Plan more replicates, two of them on one day, in the next round.",
            )
        elif a.residual_df > 0:
            yield Finding(
                level="note",
                what="No settings were run twice, so it cannot be seen whether the form of the "
                "model is right.",
                advice="Plan replicates, at the centre or at the compromise, in the next round.",
            )
        return
    if not a.lack_of_fit:
        yield Finding(
            level="note",
            what="There are as many coefficients as different settings: replicates tell the "
            "scatter, but nothing tells whether the form of the model is right.",
            evidence={"replicate df": pure.df},
            advice="Add check runs inside the region in the next round.",
        )
    for test in a.lack_of_fit:
        if test.f is None or test.p is None:
            if pure.ss == 0:
                yield Finding(
                    level="caution",
                    what="Replicates agree to the last digit: they look like copies or second "
                    "readings, not like runs made anew, and nothing is left to test the form by.",
                    evidence={"replicate df": pure.df},
                    advice="Enter second readings as repeats of one run; replicate whole batches.",
                )
            continue
        evidence = {"F": _short(test.f), "p": _short(test.p), "replicate df": test.den_df}
        if test.p < CLEAR:
            yield Finding(
                level="caution",
                what="The model misses more than replicates scatter: its form is too simple, the "
                "scale is wrong, or the replicates were too alike to be true batches.",
                evidence=evidence,
                advice="Try the next larger model or another scale; ask whether replicates were "
                "made from the first weighing on.",
                source="Draper and Smith (1998), Applied Regression Analysis, section 2.1",
            )
        else:
            yield _not_shown(test.p, test.den_df, evidence)


def count_of_df(df: float) -> str:
    """Count degrees of freedom in words.

    Example:
        >>> count_of_df(1), count_of_df(2.54)
        ('1 degree of freedom', '2.5 degrees of freedom')
    """
    told = f"{df:.2g}" if df < 10 else f"{df:.0f}"
    return f"{told} degree{'' if told == '1' else 's'} of freedom"


def _not_shown(p: float, den_df: float, evidence: Mapping[str, float]) -> Finding:
    """Say that lack of fit is not shown, and how much that is worth."""
    if p >= EDGE:
        what = "No lack of fit is seen: what the model misses is within the scatter of replicates."
    else:
        what = (
            "Lack of fit is neither shown nor ruled out: the model misses somewhat more than "
            "replicates scatter."
        )
    few = den_df < FEW_REPLICATES
    if few:
        what += f" With {count_of_df(den_df)} of replicates the test could hardly see it."
    return Finding(
        level="note",
        what=what,
        evidence=evidence,
        advice="Add replicates in the next round." if few else "",
    )


def _on_prediction(a: Assessment) -> Iterator[Finding]:
    if a.r2_predicted is None or a.r2_adjusted is None:
        return
    evidence = {
        "predicted R²": _short(a.r2_predicted),
        "adjusted R²": _short(a.r2_adjusted),
    }
    if a.r2_predicted <= 0:
        yield Finding(
            level="caution",
            what="Left-out runs are predicted no better than by the mean of all runs.",
            evidence=evidence,
            advice="Use this model for no decision: reduce it, or look for a run that misleads it.",
            source="Allen (1974), Technometrics 16, 125-127",
        )
    elif a.r2_adjusted - a.r2_predicted > _WIDE_GAP:
        yield Finding(
            level="caution",
            what="The model fits its own runs much better than it predicts runs left out: it has "
            "too many terms for them, or leans on single runs.",
            evidence=evidence,
            advice="Drop terms that do nothing; look at the runs with high leverage.",
            source="Montgomery (2017), Design and Analysis of Experiments, 9th ed., section 10.6",
        )
    elif a.r2_predicted < _WEAK_PREDICTION:
        yield Finding(
            level="note",
            what="The model predicts new runs only roughly.",
            evidence=evidence,
            advice="Trust directions more than numbers; more replicates would sharpen them.",
        )


def _on_scale(fit: Fit, a: Assessment) -> Iterator[Finding]:
    box = a.box_cox
    used = {"identity": 1.0, "log": 0.0, "square root": 0.5}.get(fit.scale.name)
    if fit.scale.name == "power":
        used = fit.scale.power
    if box is None or used is None or box.interval[0] <= used <= box.interval[1]:
        return
    if abs(box.power - used) <= _NEAR_POWER:
        return
    yield Finding(
        level="caution",
        what=f"The scatter may ask for another scale than the one used: {typed_scale(box)} would "
        "suit this model better.",
        evidence={
            "best power": round(box.power, 2),
            "from": round(box.interval[0], 2),
            "to": round(box.interval[1], 2),
            "power used": used,
        },
        advice=f"Write {typed_scale(box)} into the brief and fit again; keep it if lack of fit and "
        "the residual plot improve, and check that no single run asks for it.",
        source="Box and Cox (1964), J. R. Stat. Soc. B 26, 211-252",
    )


def _on_digits(a: Assessment) -> Iterator[Finding]:
    if a.digits_left < _FEW_DIGITS:
        yield Finding(
            level="caution",
            what="The settings are so nearly tied to each other that few digits of the "
            "coefficients are certain.",
            evidence={"digits left": round(a.digits_left, 1), "condition": _short(a.condition)},
            advice="Drop one of the tied terms.",
        )
    large = {label: v for label, v in a.vif.items() if v is not None and v > _LARGE_VIF}
    if large:
        worst = sorted(large, key=lambda label: -large[label])
        shown = ", ".join(f"'{label}'" for label in worst[:4])
        yield Finding(
            level="note",
            what=f"Some terms are hard to tell apart in these runs: {shown}"
            f"{' and others' if len(worst) > 4 else ''}.",
            evidence={f"VIF of {label}": _short(large[label]) for label in worst[:4]},
            advice="Read them together, not one by one; predictions inside the region are not "
            "harmed by it.",
            source="Marquardt (1970), Technometrics 12, 591-612",
        )


def _p(row: AnovaRow) -> float:
    return row.p if row.p is not None else 1.0


def _named(rows: list[AnovaRow]) -> str:
    names = [row.source for row in rows[:6]]
    return ", ".join(names) + (f" and {len(rows) - 6} more" if len(rows) > 6 else "")


def _short(value: float) -> float:
    return float(f"{value:.3g}")
