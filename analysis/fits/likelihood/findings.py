"""What a fit by likelihood has to say: what was off the scale, what runs off, what batches tell."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.fits.fit import Fit
from analysis.fits.likelihood.layout import Freedom, Layout
from analysis.fits.likelihood.outcome import LikelihoodFacts
from analysis.fits.likelihood.weak_prior import PRIOR_SPREAD
from analysis.fits.scales import inverse
from analysis.lab.response_data import in_words
from doe.study.finding import Finding
from doe.study.settings import BoolArray

# Below this the t of an interval is more than a third wider than with many.
_FEW_DF = 4
# Closer than this both are printed alike.
_SEEN_DF = 0.5
# Clusters fewer than twenty make the estimate from them too small as a rule.
_FEW_CLUSTERS = 20
# Errors that differ by more than this part tell different stories.
_APART = 0.25


def common_findings(
    layout: Layout, fit: Fit, facts: LikelihoodFacts, freedom: Freedom
) -> Iterator[Finding]:
    """Say what holds for every family: batches, freedom, clusters, coefficients that run off."""
    yield from _on_batches(layout, fit, freedom)
    yield from _on_clusters(layout, fit, facts, freedom)
    if facts.held:
        named = ", ".join(f"'{label}'" for label in facts.held[:4])
        more = f" and {len(facts.held) - 4} more" if len(facts.held) > 4 else ""
        yield Finding(
            level="caution",
            what=f"Nothing in these runs limits the size of {named}{more}: the runs on one side "
            f"are all {_one_side(fit)}, so that any larger effect would suit them as well. A weak "
            "prior holds the numbers; read them as 'at least', and their intervals as open.",
            evidence={"coefficients held": len(facts.held), "prior spread": PRIOR_SPREAD},
            advice="Make runs between the settings where the answer changes.",
            source="Albert and Anderson (1984), Biometrika 71, 1-10",
        )


def _one_side(fit: Fit) -> str:
    return {"censored": "off the scale", "ordinal": "in the same classes"}.get(
        fit.family, "without any count"
    )


def _on_batches(layout: Layout, fit: Fit, freedom: Freedom) -> Iterator[Finding]:
    df = freedom.within[0]
    if layout.batch is None or freedom.of_batches is None:
        if fit.family == "censored" and df < _FEW_DF:
            yield Finding(
                level="caution",
                what="Few degrees of freedom are left for the scatter, so intervals are wide and "
                "rest on an approximation.",
                evidence={"degrees of freedom": df},
                advice="Drop terms that do nothing, or add runs.",
            )
        return
    of_batches = freedom.of_batches[0]
    n = len(set(layout.batch))
    if n < 2:
        yield Finding(
            level="caution",
            what="All runs are of one batch: what another batch would do cannot be seen, and the "
            "intervals are for this batch alone.",
            evidence={"batches": n},
            advice="Make other batches.",
        )
        return
    spread = fit.components.get("batch", 0.0) ** 0.5
    if spread == 0.0:
        yield Finding(
            level="caution",
            what="No difference between batches is seen beyond the scatter within them; it stays "
            "in the model as zero, which small studies find even where batches do differ.",
            evidence={"batches": n, "degrees of freedom between batches": of_batches},
            advice="Do not take samples of one batch for batches.",
        )
    elif fit.family != "censored":
        words = {"count": f"by ± {100 * np.expm1(spread):.2g} % in their mean"}
        how = words.get(fit.family, f"by ± {spread:.2g} on the logistic scale")
        yield Finding(
            level="note",
            what=f"Batches differ {how} (one standard deviation), at equal settings; values are "
            "for a middling batch.",
            evidence={"batches": n, "standard deviation": float(f"{spread:.3g}")},
        )
    if of_batches < _FEW_DF:
        yield Finding(
            level="caution",
            what="Terms that are set by the batch rest on few batches: their intervals are wide "
            "and rough.",
            evidence={"degrees of freedom between batches": of_batches},
            advice="Make more batches before you rely on these terms.",
        )


def _on_clusters(
    layout: Layout, fit: Fit, facts: LikelihoodFacts, freedom: Freedom
) -> Iterator[Finding]:
    unit = "runs" if layout.batch is None else "batches"
    if not facts.robust_errors:
        yield Finding(
            level="note",
            what=f"Standard errors from the {unit}' own scatter cannot be given: there are no more "
            f"{unit} than parameters. Those shown rest on the model alone.",
            evidence={unit: facts.clusters, "parameters": len(fit.coefficients)},
        )
        return
    errors = np.sqrt(np.diag(fit.covariance))
    if fit.family == "censored":
        # Like is held against like: the clusters' scores are not raised for what columns take up.
        errors = errors / np.sqrt(freedom.inflation[: len(errors)])
    ratio = np.array(facts.robust_errors) / errors
    far = int(np.argmax(np.abs(np.log(np.maximum(ratio, 1e-9)))))
    if abs(ratio[far] - 1.0) > _APART and facts.clusters >= _FEW_CLUSTERS:
        yield Finding(
            level="caution",
            what=f"Standard errors from the {unit}' own scatter differ from those of the model: "
            "the scatter may not be alike everywhere.",
            evidence={"largest ratio": round(float(ratio[far]), 2), unit: facts.clusters},
            advice="Look at the residuals by level; another scale may mend it.",
            source="Liang and Zeger (1986), Biometrika 73, 13-22",
        )


def off_scale_words(layout: Layout, fit: Fit, facts: LikelihoodFacts) -> Iterator[Finding]:
    """Say which readings were off the scale, what they do, and what leaving them out would do."""
    flags: dict[str, list[int]] = {}
    for run, flag in facts.flags.items():
        flags.setdefault(flag, []).append(run)
    listed = "; ".join(f"{flag}: {in_words('run', runs)}" for flag, runs in flags.items())
    yield Finding(
        level="note",
        what=f"Readings of '{fit.response}' off the scale ({listed}) are fitted by what is known "
        "of them, by maximum likelihood; no number was put in their place."
        + _gelled_words(layout, facts),
        evidence={"runs off the scale": len(facts.off_scale), "runs": fit.n},
        advice="The values there rest on the normal curve of the scatter: measure them another way "
        "where they matter.",
        source="Tobin (1958), Econometrica 26, 24-36",
    )
    if facts.left_out is not None and facts.left_out.scale == fit.scale:
        yield from _what_would_mislead(layout, fit, facts.left_out)


def freedom_words(
    fit: Fit, freedom: Freedom, counted: Freedom, on_scale: BoolArray
) -> Iterator[Finding]:
    """Say what is left of the degrees of freedom; a caution where it is little.

    Args:
        fit: The fit.
        freedom: As told by the readings.
        counted: As if all had been on the scale.
        on_scale: Shape (n,), readings on the scale.
    """
    told, full, n = freedom.within[0], counted.within[0], int(on_scale.sum())
    thin = told < _FEW_DF or n <= len(fit.coefficients)
    against = f" They stand against {len(fit.coefficients)} coefficients." if thin else ""
    fewer = f", not the {full:g} that there would be if all had been read"
    if full - told < _SEEN_DF:
        fewer = ""
    yield Finding(
        level="caution" if thin else "note",
        what=f"Of {len(on_scale)} readings {n} lie on the scale: they tell the scatter with "
        f"{told:.1f} degrees of freedom{fewer}.{against} Intervals allow for it, and are an "
        "approximation all the same.",
        evidence={
            "readings on the scale": n,
            "degrees of freedom": float(f"{told:.3g}"),
            "if all had been read": full,
        },
        advice="Fit a smaller model, or measure the runs off the scale another way, before you "
        "rely on any number of it."
        if thin
        else "",
        source="Satterthwaite (1946), Biometrics Bulletin 2, 110-114; between batches and within: "
        "Schluchter and Elashoff (1990), J. Stat. Comput. Simul. 37, 69-87",
    )


def _gelled_words(layout: Layout, facts: LikelihoodFacts) -> str:
    gelled = [run for run in layout.data.gelled if run in facts.off_scale]
    if not gelled:
        return ""
    lows = {run: facts.off_scale[run][0][0] for run in gelled}
    return f" Gelled runs count as above {max(lows.values()):.4g} {fit_unit(layout)}".rstrip() + "."


def fit_unit(layout: Layout) -> str:
    """Give the unit of the response."""
    return layout.data.response.unit


def _what_would_mislead(layout: Layout, fit: Fit, left_out: Fit) -> Iterator[Finding]:
    rows = [i for i, run in enumerate(layout.table.run) if run in layout.data.ends]
    rows = [i for i in rows if layout.table.control[i] is None]
    if not rows or not np.isfinite(left_out.coefficients).all():
        return
    X = layout.table.surface[rows]
    here, there = (inverse(fit.scale, X @ one.coefficients) for one in (fit, left_out))
    gap = np.abs(X @ (fit.coefficients - left_out.coefficients))
    far = int(np.argmax(gap))
    if not gap[far] > fit.components["residual"] ** 0.5:
        return
    yield Finding(
        level="caution",
        what="A fit that leaves these runs out would mislead: at the settings of run "
        f"{layout.table.run[rows[far]]} it gives {there[far]:.3g} {fit.unit}".rstrip()
        + f", this one {here[far]:.3g}.",
        evidence={"left out": float(f"{there[far]:.4g}"), "this fit": float(f"{here[far]:.4g}")},
        advice="Take this fit.",
    )
