"""What the team should know of a probability before it relies on it."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.risk.model import NO_LIMIT, RiskModel
from analysis.risk.response_part import BATCH, COEFFICIENTS, TEST, stands_for_batch
from doe.model.strata import RESIDUAL
from doe.study.finding import Finding
from doe.study.settings import FloatArray

FORM = "Every probability here is valid if the form of the models is right."
# Parts that are worth a word; our own choices.
OUTSIDE_WORTH_SAYING = 0.01
CUT_WORTH_SAYING = 0.001
# Below this many degrees of freedom a variance is a guess: its upper limit lies many times above.
FEW_DF = 4.0


def risk_findings(model: RiskModel, outside: float, cut: FloatArray) -> tuple[Finding, ...]:
    """Gather what to know.

    Args:
        model: Of the study.
        outside: Part of the batches beyond the ranges, 0..1.
        cut: Part of the draws cut at zero, by scatter source, shape (d,).
    """
    return (
        *model.scatter.findings,
        *_left_out(model),
        *_outside(outside),
        *_cut(model, cut),
        *_few(model),
        *_not_told_apart(model),
        *_apart(model),
        *_blocks(model),
        Finding(level="note", what=FORM, source="Peterson (2004), J. Quality Technology 36, 139"),
    )


def _left_out(model: RiskModel) -> Iterator[Finding]:
    for name, why in model.left_out.items():
        has_limit = why != NO_LIMIT
        yield Finding(
            level="caution" if has_limit else "note",
            what=f"'{name}' does not count in the probability: {why}.",
            advice="Enter more readings or fit a smaller model." if has_limit else "",
        )


def _outside(part: float) -> Iterator[Finding]:
    if part > OUTSIDE_WORTH_SAYING:
        yield Finding(
            level="caution" if part > 0.1 else "note",
            what=f"{part:.0%} of production batches lie beyond the ranges that were tried, by more "
            "than a hundredth of a range: there the models extrapolate.",
            evidence={"part of batches": round(part, 4)},
            advice="Choose settings further inside, or add runs beyond the ends.",
        )


def _cut(model: RiskModel, cut: FloatArray) -> Iterator[Finding]:
    for source, part in zip(model.scatter.sources, cut, strict=True):
        if part > CUT_WORTH_SAYING:
            yield Finding(
                level="note",
                what=f"{source.name}: {part:.1%} of the draws would fall below 0: cut there.",
                evidence={"part of draws": round(float(part), 5)},
            )


def _few(model: RiskModel) -> Iterator[Finding]:
    for part in model.posterior.parts if model.posterior else ():
        told = zip(part.strata, part.components.df, strict=True)
        few = {name: df for name, df in told if df < FEW_DF and name != COEFFICIENTS}
        if few:
            words = " and ".join(few)
            yield Finding(
                level="caution",
                what=f"'{part.name}': how far one {words} lies from another is told by few: the "
                "probability allows for that, and more would make it surer.",
                evidence={f"degrees of freedom, {k}": round(float(v), 1) for k, v in few.items()},
                advice=f"Spread further runs over more {words}s." if words == "day" else "",
            )


def _not_told_apart(model: RiskModel) -> Iterator[Finding]:
    """Name responses of which batch and test are one."""
    names = []
    for part in model.posterior.parts if model.posterior else ():
        sources = {unit.source for unit in part.units}
        whole = stands_for_batch(part.fit) == RESIDUAL and TEST not in sources
        if whole and BATCH in sources and not part.is_told_by_class:
            names.append(f"'{part.name}'")
    if names:
        yield Finding(
            level="note",
            what=f"In {', '.join(names)} nothing tells the error of the test from the scatter of "
            "batches: all of it counts as the batch's own, so that true values do no better than "
            "tested ones.",
            advice="State repeatability_sd with the response, read runs twice, or draw two "
            "samples from a batch.",
        )


def _apart(model: RiskModel) -> Iterator[Finding]:
    parts = model.posterior.parts if model.posterior else ()
    names = [f"'{part.name}'" for part in parts if part.fit.method == "ml"]
    if names and len(parts) > 1:
        yield Finding(
            level="note",
            what=f"{', '.join(names)}: fitted by likelihood, so that nothing tells how its scatter "
            "goes with that of the other responses; it is drawn on its own.",
        )


def _blocks(model: RiskModel) -> Iterator[Finding]:
    parts = model.posterior.parts if model.posterior else ()
    names = [f"'{part.name}'" for part in parts if part.fit.block_effects]
    if names:
        yield Finding(
            level="caution",
            what=f"{', '.join(names)}: days or other blocks are fixed, so that the probability is "
            "for the blocks of this study and knows of no new one.",
            advice="Make runs on four days or more, so that days count as random.",
        )
