"""Search for the best new runs beside those that are done, link runs included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from doe.errors import PlanError
from doe.layouts.completing import of_kind
from doe.layouts.extending.frame import Frame, links_needed, make_frame, new_batches
from doe.layouts.extending.gelled import away_from_gelled
from doe.layouts.extending.linking import best_units, repeatable_units
from doe.layouts.extending.measure import Yardstick, average_variance
from doe.layouts.extending.request import LAYOUT, Extension
from doe.layouts.optimal.search import Wanted, best_plan
from doe.layouts.request import LayoutRuns
from doe.model.strata import stages_of
from doe.study.finding import Finding
from doe.study.plan import Kind
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NewRuns:
    """New runs in the order of their batches.

    Attributes:
        frame: Their batches, blocks and strata.
        values: Settings, shape (n, k), lab units; link runs first.
        n_links: Runs at the front that repeat earlier ones.
        n_given: Runs behind them that were given.
        variance: Average prediction variance after them; None if the model can't be estimated.
        said: How the search went.
        findings: What the reader ought to know.
    """

    frame: Frame
    values: FloatArray
    n_links: int
    n_given: int = 0
    variance: float | None
    said: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = field(default=())


def split_budget(ask: Extension, default: int, need: int) -> tuple[tuple[int, ...], int]:
    """Split the batches of a round into links and the rest.

    Args:
        ask: What is wanted.
        default: Runs beside the links where nothing was asked for.
        need: Fewest runs beside the links that make sense.

    Returns:
        Runs of each new batch, link batches first; and how many batches are links.

    Raises:
        PlanError: The budget holds fewer runs than links and need.
    """
    links = min(links_needed(ask), max(len(repeatable_units(ask)), 0))
    per = len(repeatable_units(ask)[0]) if links else 1
    sizes = new_batches(ask, default + links * per)
    # Links are whole units: the batches that hold them have the usual size.
    rest = sum(sizes) - links * per
    free = len(sizes) - links
    # Every batch beside the links holds a sample at least.
    need = max(need, free)
    if rest < need or free < 1:
        least = need + links * per
        raise PlanError(
            f"{sum(sizes)} new run{'s are' if sum(sizes) > 1 else ' is'} too few: "
            + (
                f"{links * per} {_verb(links * per, 'link')} this round to the ones before, and "
                if links
                else ""
            )
            + f"{need} {'is' if need == 1 else 'are'} needed for its purpose",
            where="--runs" if ask.runs is not None else "--batches",
            allowed=f"{least} or more" if ask.runs is not None else "more batches",
        )
    base, more = divmod(rest, free)
    return (per,) * links + (base + 1,) * more + (base,) * (free - more), links


def search_round(
    ask: Extension,
    stick: Yardstick,
    sizes: Sequence[int],
    n_link_units: int,
    given: FloatArray | None = None,
) -> NewRuns:
    """Search the best settings of a round, and the links that serve them best.

    Args:
        ask: What is wanted.
        stick: Model and moments.
        sizes: Runs of each new batch: links first, then the given ones, then those to be found.
        n_link_units: Batches at the front that repeat earlier units.
        given: Settings that must be among the new runs, shape (g, k), whole batches.

    Returns:
        The new runs on the bench's steps.
    """
    frame = make_frame(ask, sizes)
    n = int(sum(sizes))
    held = ask.held
    fixed = np.zeros((0, held.shape[1])) if given is None else np.asarray(given)
    units = repeatable_units(ask)
    chosen = best_units(ask, stick, _part(ask, sizes, n_link_units, fixed), n_link_units, fixed) \
        if n_link_units else []  # fmt: skip
    best: NewRuns | None = None
    for _ in range(2):
        links = np.vstack([np.zeros((0, held.shape[1])), *(units[i] for i in chosen)])
        found = _found(ask, stick, frame, np.vstack([links, fixed]), n)
        if best is None or _less(found.variance, best.variance):
            best = replace(found, n_links=len(links), n_given=len(fixed))
        if not n_link_units:
            break
        free = best.values[len(links) :]
        again = best_units(ask, stick, frame, n_link_units, free, chosen)
        if again == chosen:
            break
        chosen = again
        links = np.vstack([units[i] for i in chosen])
        values = np.vstack([links, free])
        swapped = average_variance(ask, stick, frame, np.vstack([held, values]))
        if _less(swapped, best.variance):
            best = replace(best, values=values, variance=swapped)
    assert best is not None
    return best


def as_layout(
    ask: Extension,
    stick: Yardstick,
    new: NewRuns,
    kind: Kind,
    reasons: tuple[str, ...],
    *,
    kinds: Sequence[Kind] = (),
    findings: tuple[Finding, ...] = (),
) -> LayoutRuns:
    """Put new runs into the form that the bench order takes.

    Args:
        ask: What is wanted.
        stick: Model and moments.
        new: The runs.
        kind: What they are for, links apart.
        reasons: Why they were chosen.
        kinds: What each is for, links included, where they differ.
        findings: What the reader ought to know.
    """
    each = tuple(kinds) or (
        *of_kind("replicate", new.n_links),
        *of_kind(kind, len(new.values) - new.n_links),
    )
    said = link_reason(new.n_links) if new.n_links < len(new.values) else ()
    return LayoutRuns(
        layout=LAYOUT, models=(stick.model.name,), values=new.values, kind=each,
        block=new.frame.block, batch=new.frame.batch if ask.shared else None,
        criterion="I", criterion_value=new.variance,
        details={"links": new.n_links}, reasons=(*reasons, *said, *new.said),
        findings=(*new.findings, *findings),
    )  # fmt: skip


def link_reason(n_links: int) -> tuple[str, ...]:
    """Say what link runs are for."""
    if not n_links:
        return ()
    return (
        f"{n_links} {'runs repeat' if n_links > 1 else 'run repeats'} earlier settings, to link "
        "this round to the ones before: a shift between them is not taken for an effect then.",
    )


def _verb(n: int, verb: str) -> str:
    return f"{verb}s" if n == 1 else verb


def _found(ask: Extension, stick: Yardstick, frame: Frame, fixed: FloatArray, n: int) -> NewRuns:
    held = ask.held
    said: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    new = fixed
    if len(fixed) < n:
        _refuse_too_few(ask, stick, n)
        found = best_plan(
            Wanted(
                region=ask.region, model=stick.model, weights={"I": 1.0}, n=len(held) + n,
                strata=frame.strata, stages=stages_of(ask.study), held=np.vstack([held, fixed]),
                ratios=(stick.ratio,), area=ask.area, starts=ask.starts, seed=ask.seed,
            )
        )  # fmt: skip
        searched, findings = away_from_gelled(ask, found.values[len(held) + len(fixed) :])
        new = np.vstack([fixed, searched])
        said = (f"{found.agreeing} of {found.groups} independent searches ended at these runs.",)
    variance = average_variance(ask, stick, frame, np.vstack([held, new]))
    return NewRuns(
        frame=frame, values=new, n_links=0, variance=variance, said=said, findings=findings
    )


def _refuse_too_few(ask: Extension, stick: Yardstick, n: int) -> None:
    """Refuse a search among so few runs that no settings of theirs could tell the model.

    Raises:
        PlanError: What is left and what is new are fewer runs than the model has terms.
    """
    left, p = len(ask.standing), len(stick.moments)
    if left + n >= p:
        return
    raise PlanError(
        f"{left} runs of the earlier rounds are left and {n} {'are' if n > 1 else 'is'} new, too "
        f"few for the {p} terms of the {stick.model.name} model",
        where="--runs",
        allowed=f"{p - left} or more",
        do="Name a smaller model (--model), or keep the runs that are still to be made.",
    )


def _part(ask: Extension, sizes: Sequence[int], n_links: int, fixed: FloatArray) -> Frame:
    """Give the frame of the links and the given runs alone, before anything is searched."""
    kept, total = list(sizes[:n_links]), 0
    for size in sizes[n_links:]:
        if total >= len(fixed):
            break
        kept.append(size)
        total += size
    return make_frame(ask, kept)


def _less(one: float | None, other: float | None) -> bool:
    if one is None:
        return False
    return other is None or one < other
