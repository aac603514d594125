"""The runs that are appraised: settings, and who shares a batch or a day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from doe.model.strata import Strata, Stratum, make_strata, strata_of_plan
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.settings import BoolArray, FloatArray, IntArray, frozen_array

# A run without a batch number is a batch of its own, and a batch without samples is one sample.
SINGLE = frozenset({"batch", "sample"})


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanRuns:
    """Runs in bench order, controls among them.

    Attributes:
        values: Settings, shape (n, k), lab units; of no use at a control.
        run: Run numbers, n entries.
        control: Name of the control of each run, empty for a run of the plan.
        units: Units of every stage that the plan has, before those that tie nothing are left out.
        scatter: Random strata whose variance is told apart from the residual one. Where each of
            their units holds one run, that run has both; a plan alone then calls the sum residual,
            but beside a plan that shares batches it must not.
    """

    values: FloatArray
    run: tuple[int, ...]
    control: tuple[str, ...]
    units: tuple[Stratum, ...] = ()
    scatter: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", frozen_array(self.values))

    def __len__(self) -> int:
        return len(self.run)

    @property
    def strata(self) -> Strata:
        """Who shares what, all runs counted."""
        return make_strata(len(self), self.units)

    @property
    def alone(self) -> tuple[str, ...]:
        """The strata of `scatter` of which every run of this plan is a unit of its own."""
        tied = {stratum.name for stratum in self.strata.above}
        return tuple(
            name
            for name in self.scatter
            if name not in tied and (name in SINGLE or self._is_single(name))
        )

    def _is_single(self, name: str) -> bool:
        unit = self.unit(name)
        return unit is not None and len(np.unique(unit)) == len(self)

    @property
    def is_design(self) -> BoolArray:
        """Marks the runs of the plan, controls left out, shape (n,)."""
        return np.array([name == "" for name in self.control], dtype=np.bool_)

    @property
    def design_values(self) -> FloatArray:
        """Settings of the runs of the plan, shape (n_design, k)."""
        return np.asarray(self.values[self.is_design])

    @property
    def control_columns(self) -> FloatArray:
        """A mean of its own for each control, shape (n, controls)."""
        names = [name for name in dict.fromkeys(self.control) if name]
        return np.array([[float(own == name) for name in names] for own in self.control]).reshape(
            len(self), len(names)
        )

    def unit(self, name: str) -> IntArray | None:
        """Give the unit of each run at a stage, None where the plan does not have it."""
        return next((one.unit for one in self.units if one.name == name), None)

    @property
    def n_batches(self) -> int:
        """Mill batches of the runs of the plan; every run is one where the plan names none."""
        return self.count("batch")

    def count(self, name: str) -> int:
        """Count the units of a stage that hold runs of the plan."""
        unit = self.unit(name)
        return int(self.is_design.sum()) if unit is None else len(np.unique(unit[self.is_design]))

    def take(self, rows: Sequence[int] | IntArray | BoolArray) -> PlanRuns:
        """Keep some runs, in the order given."""
        kept = np.asarray(rows)
        # No rows at all are floats to numpy, and floats are no indices.
        kept = np.flatnonzero(kept) if kept.dtype == np.bool_ else kept.astype(np.int64)
        return PlanRuns(
            values=self.values[kept],
            run=tuple(self.run[i] for i in kept),
            control=tuple(self.control[i] for i in kept),
            units=tuple(replace(one, unit=one.unit[kept]) for one in self.units),
            scatter=self.scatter,
        )

    def beside(self, *others: PlanRuns) -> PlanRuns:
        """Tell the same variances apart as other plans do, so that all are in one unit."""
        names = [name for runs in (self, *others) for name in runs.scatter]
        return replace(self, scatter=tuple(dict.fromkeys(names)))


def runs_of_plan(plan: Plan, study: Study) -> PlanRuns:
    """Read the runs off a plan, all rounds together."""
    names = plan.control_names
    units = _units(plan, study)
    tied = make_strata(len(plan), units)
    return PlanRuns(
        values=plan.settings.values,
        run=plan.run,
        control=tuple(
            names.get(run, "control") if kind == "control" else ""
            for run, kind in zip(plan.run, plan.kind, strict=True)
        ),
        units=units,
        scatter=tuple(stratum.name for stratum in tied.random),
    )


def runs_of_values(values: FloatArray, *units: Stratum) -> PlanRuns:
    """Take settings as runs, numbered from 1; independent of one another without units."""
    return PlanRuns(
        values=values,
        run=tuple(range(1, len(values) + 1)),
        control=("",) * len(values),
        units=units,
        scatter=tuple(stratum.name for stratum in make_strata(len(values), units).random),
    )


def _units(plan: Plan, study: Study) -> tuple[Stratum, ...]:
    """Give days and batches as the plan has them, beside the strata that tie runs together."""
    units = list(strata_of_plan(plan, study).above)
    for name, column in (("day", plan.day), ("batch", plan.batch)):
        known = any(stratum.name == name for stratum in units)
        if not known and all(number is not None for number in column):
            unit = np.array([int(number) for number in column if number is not None])
            units.append(Stratum(name=name, unit=unit))
    # Coarsest first: a batch that is the whole of a day must be seen to repeat it.
    return tuple(sorted(units, key=lambda stratum: _ORDER.get(stratum.name, _BLOCK)))


_ORDER = {"round": 0, "day": 2, "batch": 3, "sample": 4}
_BLOCK = 1
