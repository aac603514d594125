"""Repair: make up for runs that were lost or excluded, in new batches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from doe.errors import PlanError
from doe.layouts.extending.frame import samples_per_batch
from doe.layouts.extending.gelled import half_way
from doe.layouts.extending.measure import Yardstick, yardstick
from doe.layouts.extending.request import Extension, Failure, Purpose
from doe.layouts.extending.searching import NewRuns, as_layout, search_round, split_budget
from doe.layouts.placing import REGION_TOLERANCE
from doe.layouts.request import LayoutRuns
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# The same settings are made again unless others predict better by more than this part: they keep
# the balance of the first plan, and a batch that is known is easier to make.
_WORTH = 0.01


def make(ask: Extension) -> LayoutRuns:
    """Make up for what failed: the same settings again, or better ones for what is left.

    Raises:
        PlanError: Nothing failed, or the budget is too small.
    """
    open_ones = to_repair(ask)
    if not open_ones:
        raise PlanError(
            "no run is lost, excluded or gelled, so there is nothing to repair",
            where="--for repair",
            do="Say what failed with 'millbase note', or extend for another purpose.",
        )
    stick = yardstick(ask)
    gelled = tuple(failure for failure in open_ones if failure.gelled)
    again = tuple(failure for failure in open_ones if not failure.gelled)
    sizes, links = split_budget(ask, _room(ask, open_ones), 1)
    n = sum(sizes[links:])
    edges = _edges(ask, gelled) if not ask.shared else np.zeros((0, len(ask.coding.axes)))
    same = _same_again(ask, again, edges, sizes[links:], n)
    best = _best(ask, stick, sizes, links, edges[:n], same)
    if same is None:
        assert best is not None
        kept, said = best, _searched(ask, best)
    else:
        kept, said = _better(ask, search_round(ask, stick, sizes, links, same), best)
    reasons = (_counted(ask, again, gelled, len(edges[:n])), said)
    runs = as_layout(
        ask, stick, kept, "repair", reasons, findings=_on_gelled(gelled, len(edges[:n]))
    )
    made_up = [failure.run for failure in open_ones]
    return replace(runs, details={**runs.details, "repairs": made_up})


def to_repair(ask: Extension) -> tuple[Failure, ...]:
    """List what failed and was not made up for yet."""
    return tuple(failure for failure in ask.failures if not failure.repaired)


def _best(
    ask: Extension,
    stick: Yardstick,
    sizes: tuple[int, ...],
    links: int,
    edges: FloatArray,
    same: FloatArray | None,
) -> NewRuns | None:
    """Search the best settings; None where what is left can't tell the model with them either."""
    try:
        return search_round(ask, stick, sizes, links, edges)
    except PlanError:
        if same is None:
            raise
        return None


def _room(ask: Extension, failures: tuple[Failure, ...]) -> int:
    """Count the runs that make up for what failed: whole batches where runs share them."""
    if not ask.shared:
        return len(failures)
    batches = {ask.plan.batch[ask.plan.run.index(failure.run)] for failure in failures}
    return len(batches) * samples_per_batch(ask)


def _edges(ask: Extension, gelled: tuple[Failure, ...]) -> FloatArray:
    """Place a run at the edge of each part that gels, shape (e, k)."""
    found = [half_way(ask, row) for row in ask.rows_of(gelled)]
    places = [row for row in found if row is not None]
    empty = np.zeros((0, len(ask.coding.axes)))
    return np.unique(np.vstack([empty, *places]), axis=0) if places else empty


def _same_again(
    ask: Extension, again: tuple[Failure, ...], edges: FloatArray, sizes: tuple[int, ...], n: int
) -> FloatArray | None:
    """Give the failed settings once more, behind the edges; None where they can't be as they were.

    Whole batches are repeated only where whole batches failed.
    """
    if not again:
        return None
    rows = ask.rows_of(again)
    if not bool(np.all(ask.region.contains(rows, REGION_TOLERANCE))):
        return None
    if ask.shared:
        batches: dict[int | None, list[int]] = {}
        for failure in again:
            i = ask.plan.run.index(failure.run)
            batches.setdefault(ask.plan.batch[i], []).append(i)
        whole = [rows for rows in batches.values() if len(rows) == sizes[0]]
        if len(whole) != len(batches) or len(whole) > len(sizes):
            return None
        values: FloatArray = np.asarray(ask.plan.settings.values)[[i for b in whole for i in b]]
        return values
    if len(rows) + len(edges) > n:
        return None
    return np.vstack([edges, rows])


def _searched(ask: Extension, best: NewRuns) -> str:
    told = "" if best.variance is None else f" ({best.variance:.3g} on average{_counted_so(ask)})"
    return (
        f"The new runs are those that predict best over the region for the {ask.model} model given "
        f"what is left{told}; the failed settings can't be repeated one for one."
    )


def _better(ask: Extension, same: NewRuns, best: NewRuns | None) -> tuple[NewRuns, str]:
    """Choose between the same settings and the best ones, and say why."""
    if best is None or best.variance is None:
        why = "no others let the model be told from what is left"
        return same, f"The same settings are made again: {why}."
    if same.variance is not None and same.variance <= (1 + _WORTH) * best.variance:
        why = (
            "the best that a search found for what is left predicts hardly better (average "
            f"variance {best.variance:.3g} against {same.variance:.3g}{_counted_so(ask)})"
        )
        return same, f"The same settings are made again: {why}."
    before = "can't estimate the model" if same.variance is None else f"{same.variance:.3g}"
    return best, (
        "Other settings than the failed ones are made: given what is left they predict better for "
        f"the {ask.model} model (average variance {best.variance:.3g}; the same settings again: "
        f"{before}{_counted_so(ask)})."
    )


def _counted_so(ask: Extension) -> str:
    """Say that a search leaves controls out, where there are some."""
    return ", controls not counted" if ask.study.controls else ""


def _counted(
    ask: Extension, again: tuple[Failure, ...], gelled: tuple[Failure, ...], n_edges: int
) -> str:
    parts = []
    if again:
        runs = ", ".join(_named(ask, failure) for failure in again)
        parts.append(f"lost or excluded: run{'s' if len(again) > 1 else ''} {runs}")
    if gelled:
        runs = ", ".join(str(failure.run) for failure in gelled)
        parts.append(f"gelled: run{'s' if len(gelled) > 1 else ''} {runs}")
    said = f"What failed ({'; '.join(parts)}) is made up for in new mill batches: a batch that is "
    said += "used up can't be sampled again."
    if n_edges:
        said += f" {n_edges} of them lie half-way between what gelled and what did not."
    return said


def _named(ask: Extension, failure: Failure) -> str:
    """Give the number of a run, with the responses that lack it where others have it."""
    partly = 0 < len(failure.responses) < len(ask.study.responses)
    return f"{failure.run} ({', '.join(failure.responses)} only)" if partly else str(failure.run)


def _on_gelled(gelled: tuple[Failure, ...], n_edges: int) -> tuple[Finding, ...]:
    if not gelled:
        return ()
    runs = ", ".join(str(failure.run) for failure in gelled)
    where = "Runs at the edge of that part take their place." if n_edges else ""
    return (
        Finding(
            level="caution",
            what=f"Run{'s' if len(gelled) > 1 else ''} {runs} gelled and would gel again, so the "
            f"same settings are not repeated. {where}".rstrip(),
            evidence={"gelled": len(gelled), "at the edge": n_edges},
            advice="If the edge gels, too, narrow the range or add a [[limit]] to the brief.",
        ),
    )


PURPOSE = Purpose(
    name="repair",
    title="Repair of what failed",
    for_="Runs or batches were lost, excluded or gelled.",
    make=make,
)
