"""The readings of a response as they would be without some runs."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import compress
from typing import TypeVar

from analysis.lab.response_data import ResponseData

_T = TypeVar("_T")


def without_runs(data: ResponseData, runs: Collection[int]) -> ResponseData:
    """Leave runs out of a response, wherever they stand; all others keep their places.

    Args:
        data: The response over its runs.
        runs: Numbers of the runs to leave out; those that it has not are passed over.
    """
    stay = [run not in runs for run in data.run]

    def kept(column: Sequence[_T]) -> tuple[_T, ...]:
        return tuple(compress(column, stay))

    rows = [i for i, stays in enumerate(stay) if stays]
    blocking = data.blocking
    return replace(
        data,
        run=kept(data.run),
        planned=data.planned.take(rows),
        actual=data.actual.take(rows),
        repeats=kept(data.repeats),
        kind=kept(data.kind),
        control=kept(data.control),
        batch=kept(data.batch),
        day=kept(data.day),
        sample=kept(data.sample),
        panel=kept(data.panel),
        block=kept(data.block),
        order=kept(data.order),
        blocking=None if blocking is None else replace(blocking, of=kept(blocking.of)),
        whole=None if data.whole is None else without_runs(data.whole, runs),
        off_scale={run: flag for run, flag in data.off_scale.items() if run not in runs},
        off_scale_readings={
            run: own for run, own in data.off_scale_readings.items() if run not in runs
        },
        ends={run: own for run, own in data.ends.items() if run not in runs},
    )
