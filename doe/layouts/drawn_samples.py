"""Whether the samples of a batch can be drawn from it, and what samples drawn alike tell."""

from __future__ import annotations

from collections import Counter

import numpy as np

from doe.errors import PlanError
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.plan import Plan


def refuse_samples(study: Study, each: int) -> None:
    """Refuse more samples than a batch holds, before anything is searched for them.

    Args:
        study: The brief.
        each: Samples drawn from a batch.

    Raises:
        PlanError: The samples weigh more than the batch.
    """
    told = _too_many(study, each)
    if told is None:
        return
    what, most, do = told
    raise PlanError(what, where="study.toml, [millbase] sample_g", allowed=f"at most {most}", do=do)


def samples_finding(study: Study, plan: Plan) -> tuple[Finding, ...]:
    """Tell once, not for each batch, that the samples of a plan do not fit its batches."""
    drawn: dict[int, set[object]] = {}
    for i, (batch, sample) in enumerate(zip(plan.batch, plan.sample, strict=True)):
        if batch is not None:
            drawn.setdefault(batch, set()).add(("run", i) if sample is None else sample)
    sizes = {batch: len(samples) for batch, samples in drawn.items()}
    told = _too_many(study, max(sizes.values(), default=0))
    if told is None:
        return ()
    what, _, do = told
    n = sum(_too_many(study, size) is not None for size in sizes.values())
    return (
        Finding(
            level="stop",
            what=f"{what[:1].upper()}{what[1:]}, in {n} of {len(sizes)} batches.",
            evidence={"batches": n, "samples a batch": max(sizes.values())},
            advice=do,
        ),
    )


def _too_many(study: Study, each: int) -> tuple[str, str, str] | None:
    """Say what is wrong, how many samples a batch holds, and what to do; None where they fit."""
    millbase = study.millbase
    if (
        millbase is None
        or millbase.sample_g is None
        or each * millbase.sample_g <= millbase.batch_g
    ):
        return None
    most = int(millbase.batch_g // millbase.sample_g)
    return (
        f"{each} samples of {millbase.sample_g:g} g are drawn from a batch of "
        f"{millbase.batch_g:g} g",
        f"{most} samples of {millbase.sample_g:g} g",
        f"Raise batch_g to {each * millbase.sample_g:g} or more, lower sample_g, or draw fewer "
        "samples from a batch (--batches with --runs).",
    )


def repeats_finding(plan: Plan) -> tuple[Finding, ...]:
    """Tell what repeats within a batch are good for, where a plan has some."""
    values = np.nan_to_num(np.asarray(plan.settings.values), nan=-9e15)
    places = Counter(
        (plan.batch[i], tuple(np.round(values[i], 9).tolist()))
        for i in range(len(plan))
        if plan.kind[i] != "control" and plan.batch[i] is not None
    )
    n = sum(times - 1 for times in places.values())
    if not n:
        return ()
    return (
        Finding(
            level="note",
            what=f"{n} {'runs repeat' if n > 1 else 'run repeats'} a sample of the same batch at "
            "the same settings. Repeats within the batch tell about sampling and measuring, not "
            "about new batches.",
            evidence={"repeats within a batch": n},
            advice="For the scatter between batches make whole batches again (--replicates), or "
            "draw fewer samples from each.",
        ),
    )
