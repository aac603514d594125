"""A table of settings in lab units: the one form in which runs and candidates travel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def frozen_array(values: FloatArray) -> FloatArray:
    """Copy an array and close the copy to writing."""
    copy = np.array(values, dtype=np.float64)
    copy.setflags(write=False)
    return copy


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settings:
    """Settings of n runs in lab units.

    Attributes:
        names: Names of the k settings: additives first, then varied factors (Study.setting_names).
        values: Shape (n, k). Shares as proportions, factors in their units, a named choice as the
            index of its level; NaN where a level lacks the factor or a control leaves it open.
        labels: The level names of each named choice, in the brief's order.
    """

    names: tuple[str, ...]
    values: FloatArray
    labels: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.values.ndim != 2 or self.values.shape[1] != len(self.names):
            raise ValueError(f"{len(self.names)} names for values of shape {self.values.shape}")
        object.__setattr__(self, "values", frozen_array(self.values))

    def __len__(self) -> int:
        return int(self.values.shape[0])

    def column(self, name: str) -> FloatArray:
        """Give one setting over all runs, shape (n,); a named choice as level indices."""
        column: FloatArray = self.values[:, self.names.index(name)]
        return column

    def row(self, i: int) -> dict[str, float | str | None]:
        """Give one run as words and numbers: level names for choices, None for what is open."""
        return {
            name: self._word(name, float(value))
            for name, value in zip(self.names, self.values[i], strict=True)
        }

    def take(self, rows: Sequence[int] | IntArray | BoolArray) -> Settings:
        """Keep some rows, in the order given."""
        return Settings(names=self.names, values=self.values[np.asarray(rows)], labels=self.labels)

    def _word(self, name: str, value: float) -> float | str | None:
        if np.isnan(value):
            return None
        return self.labels[name][int(value)] if name in self.labels else value
