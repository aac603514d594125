"""What single runs, their order and their spread say of a fit."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.fits.assessment import Assessment
from analysis.fits.diagnostics import ALONE
from analysis.fits.fit import Fit
from analysis.lab.response_data import ResponseData, in_words
from doe.study.finding import Finding

CLEAR = 0.05
# Residuals of a fit look normal by themselves: only a gross departure is told. Bartlett's ratio
# takes long tails for unequal scatter: the same.
_GROSS = 0.01
# Cook and Weisberg (1982), section 3.5: a distance of 1 is worth study.
_LARGE_COOK = 1.0


def findings_on_runs(fit: Fit, assessment: Assessment, data: ResponseData) -> tuple[Finding, ...]:
    """Say which runs, and what about their order, the reader should look at."""
    return (
        *outlier_findings(assessment),
        *_on_influence(assessment),
        *_on_order(assessment),
        *_on_curvature(fit, assessment),
        *_on_scatter(assessment),
        *_on_levels(assessment),
        *_on_normality(assessment),
        *_on_controls(fit, data),
    )


def outlier_findings(a: Assessment) -> Iterator[Finding]:
    """Name the runs beyond the limit for outliers."""
    for outlier in a.outliers:
        side = "above" if outlier.studentised > 0 else "below"
        yield Finding(
            level="caution",
            what=f"Run {outlier.run} lies far {side} what the model gives from the other runs.",
            evidence={
                "run": outlier.run,
                "studentised residual": round(outlier.studentised, 2),
                "limit for all runs together": round(outlier.limit, 2),
            },
            advice="Check its weighing card and its readings: two additives transposed look like "
            "this. Exclude it only for a reason found there, and see whether the compromise moves.",
            source="Cook and Weisberg (1982), Residuals and Influence in Regression, section 2.2",
        )


def _on_influence(a: Assessment) -> Iterator[Finding]:
    alone = [row.run for row in a.runs if row.leverage > 1 - ALONE and row.control is None]
    if alone and a.residual_df > 0:
        one = len(alone) == 1
        yield Finding(
            level="caution",
            what=f"{in_words('run', alone).capitalize()} alone {'fixes' if one else 'fix'} a term "
            "of the model; a slip there would not show.",
            evidence={"leverage": 1.0},
            advice="Repeat it, or drop the term that rests on it."
            if one
            else "Repeat them, or drop the terms that rest on them.",
        )
    strong = [row for row in a.runs if row.cook is not None and row.cook > _LARGE_COOK]
    if strong:
        one = len(strong) == 1
        named = in_words("run", [row.run for row in strong])
        yield Finding(
            level="note",
            what=f"{named.capitalize()} may move the whole fit: Cook's distance is above 1, as it "
            "often is at corners and axial points.",
            evidence={f"Cook's distance of run {row.run}": _short(row.cook) for row in strong[:4]},
            advice=f"See whether the answer differs without {'it' if one else 'each of them'}; "
            "repeat what it hangs on.",
            source="Cook (1977), Technometrics 19, 15-18",
        )


def _on_order(a: Assessment) -> Iterator[Finding]:
    drift = a.order
    if drift is None:
        return
    if drift.p is not None and drift.slope is not None and drift.p < CLEAR:
        way = "rise" if drift.slope > 0 else "fall"
        yield Finding(
            level="caution",
            what=f"Residuals {way} along the order of the runs: if they were made in this order, "
            "something may have drifted.",
            evidence={"change a run, fitted scale": _short(drift.slope), "p": _short(drift.p)},
            advice="Look at bead wear, temperature, ageing of the raw materials and the "
            "instrument's calibration; compare the runs of a control along the order.",
        )
    elif drift.neighbours is not None and _is_alike(drift.neighbours_p, drift.neighbours):
        yield Finding(
            level="caution",
            what="Neighbours in the order of the runs miss the model in the same direction.",
            evidence={
                "Durbin-Watson ratio": _short(drift.neighbours),
                "p": _short(drift.neighbours_p),
            },
            advice="If they were made in this order, look for what changed between days or "
            "batches of raw material; else the model may lack a curve along it.",
            source="Durbin and Watson (1950), Biometrika 37, 409-428",
        )


def _on_curvature(fit: Fit, a: Assessment) -> Iterator[Finding]:
    curvature = a.curvature
    if curvature is None or curvature.p >= CLEAR:
        return
    side = "above" if curvature.gap > 0 else "below"
    yield Finding(
        level="caution",
        what=f"Centre runs lie {side} what the {fit.model.name} model gives: the response is "
        "curved, and this model cannot follow it.",
        evidence={
            "gap on the fitted scale": _short(curvature.gap),
            "standard error": _short(curvature.std_error),
            "p": _short(curvature.p),
            "centre runs": len(curvature.runs),
        },
        advice="Add axial runs (`extend --for axial`) and fit the quadratic model.",
        source="Box, Hunter and Hunter (2005), Statistics for Experimenters, 2nd ed., chapter 11",
    )


def _on_scatter(a: Assessment) -> Iterator[Finding]:
    found = a.scatter
    if found is None:
        return
    if found.koenker_p is not None and found.koenker_p < CLEAR:
        yield Finding(
            level="caution",
            what=f"The scatter is not alike: it is larger where the model gives "
            f"{'more' if found.grows else 'less'}. Intervals are too narrow there and too wide at "
            "the other end.",
            evidence={"n R²": _short(found.koenker), "p": _short(found.koenker_p)},
            advice="Look at what the likelihood says of the scale: the logarithm mends a scatter "
            "that grows with the value.",
            source="Koenker (1981), Journal of Econometrics 17, 107-112",
        )
    by_levene = found.levene_p is not None
    p = found.levene_p if by_levene else found.bartlett_p
    if p is not None and p < (CLEAR if by_levene else _GROSS):
        yield Finding(
            level="caution",
            what="Replicates scatter more at some settings than at others.",
            evidence={"groups of replicates": found.groups, "p": _short(p)},
            advice="Look at the readings of the group that scatters most, then at the scale.",
            source="Brown and Forsythe (1974), J. Am. Stat. Assoc. 69, 364-367"
            if by_levene
            else "Bartlett (1937), Proc. R. Soc. A 160, 268-282",
        )


def _on_levels(a: Assessment) -> Iterator[Finding]:
    for found in a.scatter.by_level if a.scatter is not None else ():
        if found.p >= CLEAR:
            continue
        quiet = min(found.sd, key=lambda level: found.sd[level])
        yield Finding(
            level="caution",
            what=f"Runs with {found.choice} {found.widest} scatter more about the model than those "
            f"with {quiet}: intervals are too narrow for the one and too wide for the other.",
            evidence={
                **{f"sd at {level}, fitted scale": _short(sd) for level, sd in found.sd.items()},
                "p": _short(found.p),
            },
            advice=f"Look at how {found.widest} is handled at the bench, and whether the model "
            "lacks a term with it; more replicates at it would tell its scatter.",
            source="Brown and Forsythe (1974), J. Am. Stat. Assoc. 69, 364-367",
        )


def _on_normality(a: Assessment) -> Iterator[Finding]:
    if a.normality is None or a.normality.p >= _GROSS:
        return
    yield Finding(
        level="note",
        what="Residuals do not look like one normal curve: a few runs stand apart, or the scale is "
        "skewed.",
        evidence={"W": _short(a.normality.w), "p": _short(a.normality.p)},
        advice="Look at outliers and the scale first; the intervals bear a mild departure.",
        source="Shapiro and Wilk (1965), Biometrika 52, 591-611",
    )


def _on_controls(fit: Fit, data: ResponseData) -> Iterator[Finding]:
    for name in fit.control_means:
        runs = [run for run, own in zip(data.run, data.control, strict=True) if own == name]
        yield Finding(
            level="note",
            what=f"Control '{name}' has a mean of its own; it adds to the error, not to the "
            "surface.",
            evidence={"runs": len(runs)},
        )


def _is_alike(p: float | None, ratio: float) -> bool:
    return p is not None and p < CLEAR and ratio < 2


def _short(value: float | None) -> float:
    return float(f"{value:.3g}") if value is not None else float("nan")
