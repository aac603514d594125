"""Which strata the rows of a response lie in: what the bench made together.

Source:
    DESIGN.md, section 5, "Strata" and "Repeats": a stage is a random stratum if some unit of it
    holds two or more runs; rows without a batch number count as their own; unequal numbers of
    repeats make the reading the lowest stratum.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.lab.response_data import ResponseData
from doe.model.strata import Strata, Stratum, make_strata
from doe.study.finding import Finding
from doe.study.settings import FloatArray, IntArray

RUN = "run"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DataStrata:
    """The rows that are fitted, and what they share.

    Attributes:
        strata: Random strata of the rows; none where all are independent.
        rows: Which run each row belongs to, shape (n,).
        by_reading: Whether rows are single readings; else each is the mean of a run.
        findings: What the reader ought to know of them.
    """

    strata: Strata
    rows: IntArray
    by_reading: bool
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        rows = self.rows.copy()
        rows.setflags(write=False)
        object.__setattr__(self, "rows", rows)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the random strata, coarsest first."""
        return tuple(one.name for one in self.strata.random)

    def repeated(self, of_runs: FloatArray) -> FloatArray:
        """Give each row what its run has."""
        return of_runs[self.rows]


def strata_of_data(data: ResponseData) -> DataStrata:
    """Read the random strata off the rows of a response; fixed blocks are not among them."""
    counts = [len(run) for run in data.repeats]
    by_reading = len(set(counts)) > 1
    rows = np.repeat(np.arange(len(data)), counts) if by_reading else np.arange(len(data))
    units = list(_units(data))
    if by_reading:
        units.append(Stratum(name=RUN, unit=np.arange(len(data))))
    strata = make_strata(len(rows), [Stratum(name=one.name, unit=one.unit[rows]) for one in units])
    return DataStrata(
        strata=strata,
        rows=rows,
        by_reading=by_reading,
        findings=_on_single_units(data),
    )


def _units(data: ResponseData) -> Sequence[Stratum]:
    found: list[Stratum] = []
    blocking = data.blocking
    if blocking is not None and blocking.effect == "random":
        found.append(Stratum(name=blocking.name, unit=_numbers(blocking.of)))
    batch: list[Hashable] = list(data.batch)
    sample = _within(batch, data.sample)
    panel = _within(sample, data.panel)
    for name, labels, there in (
        ("batch", batch, data.batch),
        ("sample", sample, data.sample),
        ("panel", panel, data.panel),
    ):
        if any(number is not None for number in there):
            found.append(Stratum(name=name, unit=_numbers(labels)))
    return found


def _within(outer: Sequence[Hashable], inner: Sequence[int | None]) -> list[Hashable]:
    """Pair a unit with the one that it lies in; numbers may start again in each."""
    return [
        (first, second) if second is not None else None
        for first, second in zip(outer, inner, strict=True)
    ]


def _numbers(labels: Sequence[Hashable]) -> IntArray:
    """Number units in order of first appearance; a run without one is a unit of its own."""
    told: dict[Hashable, int] = {}
    keys = [("own", i) if label is None else label for i, label in enumerate(labels)]
    return np.array([told.setdefault(key, len(told)) for key in keys], dtype=np.int64)


def _on_single_units(data: ResponseData) -> tuple[Finding, ...]:
    batches = set(data.batch)
    if len(data) < 2 or len(batches) != 1 or None in batches:
        return ()
    return (
        Finding(
            level="caution",
            what="All runs come from one batch, so that nothing tells how batches differ: every "
            "interval is for this batch, and a new one may lie elsewhere.",
            evidence={"batches": 1, "runs": len(data)},
            advice="Make at least one more batch before you rely on any level; four or more tell "
            "how far batches scatter.",
        ),
    )
