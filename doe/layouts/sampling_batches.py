"""Samples of one batch: a layout of the batches, crossed with the levels of what is set later."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from doe.errors import PlanError
from doe.layouts.parts import batch_part
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.model.coding import ChoiceAxis, NumericAxis, decode
from doe.model.strata import stages_of
from doe.model.terms import model_names
from doe.study.brief import STAGES, Study
from doe.study.settings import FloatArray, IntArray

_SAMPLE = STAGES.index("sample")


def has_samples(study: Study) -> bool:
    """Tell whether some factor, or the package, is set per sample or panel."""
    return any(STAGES.index(stage) >= _SAMPLE for stage in stages_of(study))


def from_batches(layout: Layout, request: Request) -> LayoutRuns:
    """Make the layout for the batches and draw samples at every level of the later factors.

    Args:
        layout: Layout of the batches.
        request: `batches` is the number of batches, `runs` that of all samples.

    Returns:
        Runs with `batch` set; the samples of a batch stand together, in ascending order.

    Raises:
        PlanError: Nothing is set per batch, or the samples don't divide among the batches.
    """
    package = request.study.package
    if package is not None and STAGES.index(package.set_per) >= _SAMPLE:
        raise PlanError(
            f"the layout '{layout.name}' makes batches of blends, and here the package is set per "
            f"{package.set_per}",
            where="[package] set_per",
            do="Take the layout 'optimal', or set the package per batch.",
        )
    part = batch_part(request)
    if not part.coding.axes:
        raise PlanError(
            "nothing varies between batches, so there is no layout of batches",
            where="[[factor]] set_per",
            do="Set a factor or the package per batch.",
        )
    later = [axis.name for axis in request.coding.axes if axis.name not in part.coding.names]
    levels = [_levels(request, name) for name in later]
    samples = np.array(list(itertools.product(*levels)))
    n_batches = _batches(request, len(samples))
    allowed = model_names(part.coding)
    models = tuple(dict.fromkeys(_model_of_batches(m, allowed) for m in request.wanted_models))
    made = layout.make(replace(part, models=models, runs=n_batches, sample_from_batch=False))
    n, s = len(made), len(samples)
    values = np.zeros((n * s, len(request.coding.axes)))
    for name in part.coding.names:
        column = made.values[:, part.coding.index(name)]
        values[:, request.coding.index(name)] = np.repeat(column, s)
    for position, name in enumerate(later):
        values[:, request.coding.index(name)] = np.tile(samples[:, position], n)
    _put_own_ranges(values, later, request)
    batch = np.repeat(np.arange(1, n + 1), s)
    kept = _first_of_equal(values, batch)
    return LayoutRuns(
        layout=made.layout,
        models=request.wanted_models,
        values=values[kept],
        kind=tuple(made.kind[i // s] for i in kept),
        block=None if made.block is None else np.repeat(made.block, s)[kept],
        batch=batch[kept],
        details={**made.details, "batches": n, "samples a batch": s},
        reasons=(
            *made.reasons,
            f"{n} batches with {s} samples each: {', '.join(later)} ascending within a batch, not "
            "randomised.",
        ),
        findings=made.findings,
    )


def _put_own_ranges(values: FloatArray, later: list[str], request: Request) -> None:
    """Bring sample factors with a range by level, which are coded so far, to lab units."""
    decoded = decode(values, request.coding)
    for name in later:
        j = request.coding.index(name)
        if _is_ranged(request.coding.axes[j]):
            values[:, j] = np.round(decoded[:, j], 9)


def _first_of_equal(values: FloatArray, batch: IntArray) -> list[int]:
    """Keep one sample of those in a batch that are equal without what its level lacks."""
    open_rows = [bool(np.isnan(row).any()) for row in values]
    cells = np.nan_to_num(values, nan=-1e9).tolist()
    seen: set[tuple[float, ...]] = set()
    kept = []
    for i, row in enumerate(cells):
        key = (float(batch[i]), *row)
        if not open_rows[i] or key not in seen:
            kept.append(i)
        seen.add(key)
    return kept


def _is_ranged(axis: object) -> bool:
    return isinstance(axis, NumericAxis) and bool(axis.ranges)


def _levels(request: Request, name: str) -> list[float]:
    """Give the levels of a factor set per sample, ascending; coded where ranges differ."""
    i = request.coding.index(name)
    axis = request.coding.axes[i]
    if isinstance(axis, ChoiceAxis):
        return [float(level) for level in range(len(axis.levels))]
    if isinstance(axis, NumericAxis) and axis.levels:
        return sorted(axis.levels)
    curved = any(m not in ("linear", "interactions") for m in request.wanted_models)
    coded = np.linspace(-1.0, 1.0, 3 if curved else 2)
    if _is_ranged(axis):
        return [float(value) for value in coded]
    rows = np.zeros((len(coded), len(request.coding.axes)))
    rows[:, i] = coded
    decoded: FloatArray = decode(rows, request.coding)[:, i]
    return [round(float(value), 9) for value in decoded]


def _batches(request: Request, n_samples: int) -> int | None:
    if request.batches is not None:
        if request.runs is not None and request.runs != request.batches * n_samples:
            raise PlanError(
                f"{request.batches} batches with {n_samples} samples each are "
                f"{request.batches * n_samples} runs, and {request.runs} are asked for",
                where="--runs",
                allowed=f"{request.batches * n_samples}",
            )
        return request.batches
    if request.runs is None:
        return None
    if request.runs % n_samples:
        raise PlanError(
            f"{request.runs} runs don't divide into batches of {n_samples} samples",
            where="--runs",
            allowed=f"a multiple of {n_samples}",
        )
    return request.runs // n_samples


def _model_of_batches(name: str, allowed: tuple[str, ...]) -> str:
    """Give the batches' share of a model: the same name, else the largest one below it."""
    if name in allowed:
        return name
    return "linear" if name == "interactions" else "quadratic"
