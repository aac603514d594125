"""What came out of a round of batches: their tested values, on the scale of the prediction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field

import numpy as np

from analysis.agreement.units import RoundUnits
from analysis.fits.fit import Scale
from analysis.fits.readings_on_scale import averaged
from analysis.lab.response_data import ResponseData
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ObservedUnits:
    """The values of one recipe in a round.

    Attributes:
        run: Run that each value stands by.
        z: Values, shape (n,), fitted scale.
        units: Their batches and days.
    """

    run: tuple[int, ...]
    z: FloatArray
    units: RoundUnits

    def __len__(self) -> int:
        return len(self.run)

    @property
    def mean(self) -> float:
        """Their mean, fitted scale; NaN without a value."""
        return float(self.z.mean()) if len(self.z) else float("nan")

    def by_batch(self) -> dict[int, tuple[tuple[int, ...], float]]:
        """Give runs and mean of each batch, fitted scale."""
        found = {}
        for batch in dict.fromkeys(self.units.batch):
            rows = [i for i, own in enumerate(self.units.batch) if own == batch]
            runs = tuple(self.run[i] for i in rows)
            found[int(str(batch))] = (runs, float(self.z[rows].mean()))
        return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Observed:
    """One response in a round.

    Attributes:
        formula: Values of the formula that is to be confirmed.
        controls: Values of each control.
        off_scale: Runs whose reading is an end only: `above` or `below`.
        gelled: Runs that gelled.
        waiting: Runs of the formula without a reading so far.
        left_out: Why each other run of the formula has no value.
        controls_unread: Controls that give no value: they wait, gelled or were lost.
        made: Mean of the settings as made, shape (k,), lab units; empty without a value.
    """

    formula: ObservedUnits
    controls: Mapping[str, ObservedUnits] = field(default_factory=dict)
    off_scale: Mapping[int, str] = field(default_factory=dict)
    gelled: tuple[int, ...] = ()
    waiting: tuple[int, ...] = ()
    left_out: Mapping[int, str] = field(default_factory=dict)
    controls_unread: tuple[int, ...] = ()
    made: FloatArray = field(default_factory=lambda: np.zeros(0))


def observe(data: ResponseData, scale: Scale, controls: Set[int] = frozenset()) -> Observed:
    """Sort the readings of a round, gathered as if its runs built a model.

    Args:
        data: The runs of the round alone.
        scale: Of the prediction.
        controls: Runs of controls, which no verdict on the formula waits for.

    Raises:
        FitError: The scale cannot take a reading.
    """
    whole = data.whole if data.whole is not None else data
    z = averaged(whole, scale) if len(whole) else np.zeros(0)
    own = [i for i, control in enumerate(whole.control) if control is None]
    names = dict.fromkeys(name for name in whole.control if name is not None)
    return Observed(
        formula=_units(whole, z, own),
        controls={
            name: _units(whole, z, [i for i, one in enumerate(whole.control) if one == name])
            for name in names
        },
        off_scale=dict(data.off_scale),
        gelled=tuple(run for run in data.gelled if run not in controls),
        waiting=tuple(run for run in data.pending if run not in controls),
        left_out={run: why for run, why in data.left_out.items() if run not in controls},
        controls_unread=tuple(sorted(controls & {*data.gelled, *data.pending, *data.left_out})),
        made=whole.actual.values[own].mean(axis=0) if own else np.zeros(0),
    )


def _units(data: ResponseData, z: FloatArray, rows: Sequence[int]) -> ObservedUnits:
    return ObservedUnits(
        run=tuple(data.run[i] for i in rows),
        z=z[list(rows)],
        units=RoundUnits(
            # Where no day is on record all were made on one: the cautious reading.
            day=tuple(data.day[i] if data.day[i] is not None else 0 for i in rows),
            batch=tuple(data.batch[i] if data.batch[i] is not None else data.run[i] for i in rows),
            unit=tuple(data.run[i] for i in rows),
        ),
    )
