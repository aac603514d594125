"""What a plan is asked for, and what a layout gives back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from doe.layouts.axial_room import opened_region
from doe.model.coding import Coding
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.plan import Kind
from doe.study.settings import FloatArray, IntArray, frozen_array

Purpose = Literal["screening", "optimising"]
AxialRule = Literal["face-centred", "rotatable", "orthogonal"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Request:
    """What is wanted of a plan; None leaves the decision to the layout.

    Attributes:
        study: The brief.
        coding: Its axes.
        region: All settings it allows.
        models: Names of the models that the runs must be able to estimate; empty follows
            `purpose`: `linear` for screening, `quadratic` for optimising.
        runs: Number of runs, controls not counted.
        batches: Number of mill batches, where samples share them.
        days: Number of days.
        centre: Number of centre runs.
        replicates: Number of further runs with the settings of another, for pure error.
        checks: Number of interior check blends; None for as many as the layout has and the runs
            allow.
        included: Settings of runs that must be in, shape (m, k), lab units (`optimal`).
        lack_of_fit: Number of distinct settings beyond those the model needs (`optimal`).
        levels: Number of levels a range takes in a full factorial, by factor name.
        resolution: Least resolution of a two-level fraction.
        degree: m of a simplex lattice {q, m}.
        axial: Rule for the axial distance of a central composite layout.
        axial_beyond: Axial runs may leave the ranges of the brief.
        purpose: What the plan is for.
        sample_from_batch: Samples of one batch share its number: the layout of the batches is
            crossed with the levels of what is set per sample.
        criterion: Criterion of an optimal layout; empty for its own choice.
        ratios: Variance of batches (and random days) over residual variance, as planned for; a plan
            is made for the average over several.
        progress: Told now and then what part of a search is done.
        starts: Random starts of a search.
        seed: Seed of every random choice.
    """

    study: Study
    coding: Coding
    region: Region
    models: tuple[str, ...] = ()
    runs: int | None = None
    batches: int | None = None
    days: int | None = None
    centre: int | None = None
    replicates: int | None = None
    checks: int | None = None
    included: FloatArray | None = None
    lack_of_fit: int | None = None
    levels: Mapping[str, int] = field(default_factory=dict)
    resolution: int | None = None
    degree: int | None = None
    axial: AxialRule | None = None
    axial_beyond: bool = False
    purpose: Purpose = "optimising"
    sample_from_batch: bool = False
    criterion: str = ""
    ratios: tuple[float, ...] = (1.0,)
    starts: int | None = None
    seed: int = 0
    progress: Callable[[float], None] | None = None

    @property
    def wanted_models(self) -> tuple[str, ...]:
        """The models asked for, or the one that the purpose stands for."""
        return self.models or (("linear",) if self.purpose == "screening" else ("quadratic",))

    @property
    def n_replicates(self) -> int:
        """The replicates asked for, none where none are."""
        return self.replicates or 0

    @property
    def search_region(self) -> Region:
        """The region with its ranges opened for axial runs where those may leave them."""
        return opened_region(self.study) if self.axial_beyond else self.region

    def rng(self) -> np.random.Generator:
        """Start a generator of random numbers from the seed."""
        return np.random.default_rng(self.seed)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayoutRuns:
    """The runs of a layout, before they are put into bench order.

    Attributes:
        layout: Name in the registry.
        models: Names of the models that they can estimate, as asked for.
        values: Shape (n, k), lab units, a named choice as the index of its level.
        kind: What each run is for, n entries.
        block: Shape (n,), number of the block from 1; None where order.py may divide the runs.
        batch: Shape (n,), runs of equal number are samples of one batch; None where every run
            is a batch of its own.
        criterion: Name of the criterion, empty for a classic layout.
        criterion_value: Its value, None for a classic layout.
        details: What the layout wants on record: aliases, axial distance, resolution.
        reasons: How the runs came about, in sentences.
        findings: What the reader ought to know.
    """

    layout: str
    models: tuple[str, ...]
    values: FloatArray
    kind: tuple[Kind, ...]
    block: IntArray | None = None
    batch: IntArray | None = None
    criterion: str = ""
    criterion_value: float | None = None
    details: Mapping[str, Any] = field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        if len(self.kind) != self.values.shape[0]:
            raise ValueError(f"{len(self.kind)} kinds for {self.values.shape[0]} runs")
        object.__setattr__(self, "values", frozen_array(self.values))

    def __len__(self) -> int:
        return len(self.kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One family of layouts, as the registry lists it.

    Attributes:
        name: What the user types.
        title: How a report calls it.
        for_: When to choose it, one sentence.
        make: Makes the runs; raises PlanError where it can't.
        foresee: Tells the number of runs without a long search, and raises what `make` would; None
            where `make` is quick.
    """

    name: str
    title: str
    for_: str
    make: Callable[[Request], LayoutRuns]
    foresee: Callable[[Request], int] | None = None
