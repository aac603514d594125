"""What a fit of ratings has to say."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.fits.likelihood.layout import Layout
from analysis.fits.likelihood.outcome import LikelihoodFacts
from analysis.fits.likelihood.parts import OrdinalPart
from doe.study.finding import Finding

_CLEAR = 0.05
# Peduzzi and others (1996), J. Clin. Epidemiol. 49, 1373-1379, ask for ten; below five even the
# direction of effects is uncertain.
_FEW_A_COEFFICIENT = 5


def rating_findings(
    layout: Layout, part: OrdinalPart, facts: LikelihoodFacts, by: str
) -> Iterator[Finding]:
    """Say what the value is, which classes count, and whether one surface serves all thresholds."""
    named = ", ".join(f"{one:g}" for one, ok in zip(part.classes, part.accepted, strict=True) if ok)
    seen = ", ".join(f"{one:g}" for one in part.classes)
    yield Finding(
        level="note",
        what=f"'{layout.data.response.name}' is a rating: the order of its classes counts, their "
        f"distance does not. Its value is the probability of the classes {named} ({by}) in a "
        "middling batch.",
        evidence={"classes seen": seen},
        source="McCullagh (1980), J. R. Stat. Soc. B 42, 109-142",
    )
    yield from _on_size(layout, part)
    test = facts.proportional_odds
    if test is None:
        if len(part.classes) > 2:
            yield Finding(
                level="note",
                what="Too few runs to see whether the settings move all thresholds of the rating "
                "alike; that they do is taken for granted.",
            )
    elif test.p < _CLEAR:
        yield Finding(
            level="caution",
            what="The settings do not move all thresholds of the rating alike: one surface for all "
            "classes is too simple.",
            evidence={"χ²": round(test.statistic, 2), "df": test.df, "p": float(f"{test.p:.2g}")},
            advice="Trust the accepted classes' side; or rate as met or not met.",
            source="McCullagh (1980), section 3",
        )


def _on_size(layout: Layout, part: OrdinalPart) -> Iterator[Finding]:
    ratings = np.array([float(np.median(run)) for run in layout.data.repeats])
    counts = [int(np.sum(ratings == one)) for one in part.classes]
    accepted = sum(n for n, ok in zip(counts, part.accepted, strict=True) if ok)
    fewer = min(accepted, sum(counts) - accepted)
    p = layout.table.matrix.shape[1]
    if fewer < _FEW_A_COEFFICIENT * p:
        yield Finding(
            level="caution",
            what=f"{fewer} runs are on the rarer side of what is accepted, for {p} coefficients: "
            "sizes of effects are too large as a rule, and their errors rough.",
            evidence={"runs on the rarer side": fewer, "coefficients": p},
            advice="Fit fewer terms, or measure the number behind the rating.",
            source="Peduzzi and others (1996), J. Clin. Epidemiol. 49, 1373-1379",
        )
