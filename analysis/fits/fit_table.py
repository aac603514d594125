"""The table that least squares sees: surface columns, controls, blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.model.matrix import Column
from doe.study.settings import FloatArray, frozen_array

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
    """

    run: tuple[int, ...]
    y: FloatArray
    surface: FloatArray
    columns: tuple[Column, ...]
    labels: tuple[str, ...]
    control: tuple[str | None, ...]
    block: tuple[str | None, ...]

    def __post_init__(self) -> None:
        if self.surface.shape != (len(self.run), len(self.columns)):
            raise ValueError(f"{len(self.run)} runs, surface of shape {self.surface.shape}")
        object.__setattr__(self, "y", frozen_array(self.y))
        object.__setattr__(self, "surface", frozen_array(self.surface))

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
    def matrix(self) -> FloatArray:
        """All columns: surface, controls, blocks; shape (n, p)."""
        return np.hstack([self.surface, self.control_columns, self.block_columns])

    @property
    def all_labels(self) -> tuple[str, ...]:
        """Names of the p columns in words."""
        controls = tuple(f"mean of control '{name}'" for name in self.control_names)
        blocks = tuple(f"block {name}" for name in self.block_names[:-1])
        return self.labels + controls + blocks

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
