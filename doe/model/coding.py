"""Coding: how lab settings become the unit-free numbers that models work with.

Source:
    DESIGN.md, section 5, "Coding"; for shares Cornell (2002), Experiments with Mixtures, 3rd ed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Spacing = Literal["even", "log"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareAxis:
    """A member of the package; enters models as its real proportion.

    Attributes:
        name: Name of the additive.
        low: Lowest share of the brief, proportion of active matter.
        high: Highest share of the brief.
        step: Smallest difference the bench can set, None for any.
    """

    name: str
    low: float
    high: float
    step: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisRange:
    """The range of a numeric axis at one level of a named choice; low is None if it lacks one."""

    choice: str
    level: str
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NumericAxis:
    """A numeric factor; coded (x − middle) / half range, of ln x where spacing is `log`.

    Attributes:
        name: Name of the factor.
        unit: Lab unit.
        low: Setting coded −1.
        high: Setting coded +1.
        spacing: `log` codes ln x.
        levels: The only settings the bench can make; empty for a whole range.
        step: Smallest difference the bench can set, None for any.
        ranges: The factor's own range at each level of one named choice; empty for one range.
        noise: Drifts in production and is never chosen.
    """

    name: str
    unit: str
    low: float
    high: float
    spacing: Spacing = "even"
    levels: tuple[float, ...] = ()
    step: float | None = None
    ranges: tuple[AxisRange, ...] = ()
    noise: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ChoiceAxis:
    """A named choice; its L levels enter as L − 1 columns that sum to zero over the levels."""

    name: str
    levels: tuple[str, ...]
    noise: bool = False


Axis = ShareAxis | NumericAxis | ChoiceAxis


@dataclass(frozen=True, slots=True, kw_only=True)
class Coding:
    """The axes of a study, in the column order of its tables of settings."""

    axes: tuple[Axis, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the k settings."""
        return tuple(axis.name for axis in self.axes)

    @property
    def shares(self) -> tuple[ShareAxis, ...]:
        """The members of the package; empty without one."""
        return tuple(axis for axis in self.axes if isinstance(axis, ShareAxis))

    @property
    def factors(self) -> tuple[NumericAxis | ChoiceAxis, ...]:
        """Everything set besides the shares."""
        return tuple(axis for axis in self.axes if not isinstance(axis, ShareAxis))

    @property
    def labels(self) -> Mapping[str, tuple[str, ...]]:
        """Level names of each named choice."""
        return {axis.name: axis.levels for axis in self.axes if isinstance(axis, ChoiceAxis)}

    def index(self, name: str) -> int:
        """Find the column of a setting.

        Raises:
            ValueError: No setting has that name.
        """
        return self.names.index(name)
