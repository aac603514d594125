"""The table that least squares sees: surface columns, controls, drift, blocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from doe.model.matrix import Column
from doe.study.settings import FloatArray, IntArray, frozen_array

# How tables call the column of a drift that is corrected for.
DRIFT = "drift along the order"
# Differences below this part of the readings are their rounding.
EXACT = 16.0 * float(np.finfo(np.float64).eps)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitTable:
    """n runs, ready to be fitted.

    Attributes:
        run: Run numbers.
        y: Shape (n,), fitted scale; mean of the repeats of a run.
        surface: Shape (n, s), columns of the model at the settings as made; zeros for controls.
        columns: What the s columns are.
        labels: Their names in tables.
        control: Name of the control of each run, None for runs of the plan.
        block: Block of each run; all None where no blocks are fitted.
        drift: Place of each run in the order as done, less its middle, shape (n,); None where a
            drift is not corrected for.
    """

    run: tuple[int, ...]
    y: FloatArray
    surface: FloatArray
    columns: tuple[Column, ...]
    labels: tuple[str, ...]
    control: tuple[str | None, ...]
    block: tuple[str | None, ...]
    drift: FloatArray | None = None

    def __post_init__(self) -> None:
        if self.surface.shape != (len(self.run), len(self.columns)):
            raise ValueError(f"{len(self.run)} runs, surface of shape {self.surface.shape}")
        object.__setattr__(self, "y", frozen_array(self.y))
        object.__setattr__(self, "surface", frozen_array(self.surface))
        if self.drift is not None:
            object.__setattr__(self, "drift", frozen_array(self.drift))

    @property
    def control_names(self) -> tuple[str, ...]:
        """Controls among the runs, in order of first appearance."""
        return tuple(dict.fromkeys(name for name in self.control if name is not None))

    @property
    def block_names(self) -> tuple[str, ...]:
        """Blocks among the runs, in order of first appearance; empty for fewer than two."""
        names = tuple(dict.fromkeys(name for name in self.block if name is not None))
        return names if len(names) > 1 else ()

    @property
    def is_constant(self) -> bool:
        """Whether all runs of the plan read the same, and those of each control: no scatter."""
        groups = [self.y[group] for group in self.own_means.T.astype(np.bool_)]
        return all(np.ptp(y) <= EXACT * np.abs(self.y).max() for y in groups if len(y))

    @property
    def control_columns(self) -> FloatArray:
        """One indicator a control, shape (n, c)."""
        return indicators(self.control, self.control_names)

    @property
    def block_columns(self) -> FloatArray:
        """Blocks as columns that sum to zero over the blocks, shape (n, b − 1)."""
        names = self.block_names
        every = indicators(self.block, names)
        columns: FloatArray = every[:, :-1] - every[:, -1:]
        return columns

    @property
    def drift_columns(self) -> FloatArray:
        """The column of the drift, shape (n, 1); no column where it is not corrected for."""
        return np.zeros((len(self.run), 0)) if self.drift is None else self.drift[:, None]

    @property
    def passing(self) -> FloatArray:
        """What passes over runs whatever their recipe: drift, then blocks; shape (n, d + b − 1)."""
        return np.hstack([self.drift_columns, self.block_columns])

    @property
    def beside(self) -> FloatArray:
        """All that is fitted beside the surface: controls, drift, blocks."""
        return np.hstack([self.control_columns, self.passing])

    @property
    def matrix(self) -> FloatArray:
        """All columns: surface, controls, drift, blocks; shape (n, p)."""
        return np.hstack([self.surface, self.beside])

    @property
    def passing_parts(self) -> tuple[tuple[str, FloatArray, tuple[int, ...]], ...]:
        """Drift and blocks as sources: name, columns, and their places among all p."""
        parts = [(DRIFT, self.drift_columns), ("blocks", self.block_columns)]
        start, found = self.surface.shape[1] + len(self.control_names), []
        for name, columns in parts:
            places = tuple(range(start, start + columns.shape[1]))
            start += len(places)
            if places:
                found.append((name, columns, places))
        return tuple(found)

    @property
    def drift_place(self) -> int | None:
        """Which of the p columns is the drift; None where it is not corrected for."""
        return None if self.drift is None else self.surface.shape[1] + len(self.control_names)

    def of_rows(self, rows: Sequence[int] | IntArray) -> FitTable:
        """Keep or repeat rows, in the order given; blocks and controls without a row go."""
        return replace(
            self,
            run=tuple(self.run[i] for i in rows),
            y=self.y[rows],
            surface=self.surface[rows],
            control=tuple(self.control[i] for i in rows),
            block=tuple(self.block[i] for i in rows),
            drift=None if self.drift is None else self.drift[rows],
        )

    @property
    def all_labels(self) -> tuple[str, ...]:
        """Names of the p columns in words."""
        controls = tuple(f"mean of control '{name}'" for name in self.control_names)
        blocks = tuple(f"block {name}" for name in self.block_names[:-1])
        drift = () if self.drift is None else (DRIFT,)
        return self.labels + controls + drift + blocks

    @property
    def is_planned(self) -> tuple[bool, ...]:
        """Tell the runs of the plan from those of controls."""
        return tuple(name is None for name in self.control)

    @property
    def own_means(self) -> FloatArray:
        """Indicators of the runs of the plan and of each control, shape (n, 1 + c)."""
        planned = np.array(self.is_planned, dtype=np.float64)
        return np.column_stack([planned, self.control_columns])


def indicators(words: tuple[str | None, ...], names: tuple[str, ...]) -> FloatArray:
    """Give one 0/1 column for each name, shape (n, names).

    Example:
        >>> indicators(("a", None, "b"), ("a", "b")).tolist()
        [[1.0, 0.0], [0.0, 0.0], [0.0, 1.0]]
    """
    table = np.zeros((len(words), len(names)))
    for j, name in enumerate(names):
        table[:, j] = [word == name for word in words]
    return table
