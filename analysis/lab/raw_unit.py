"""The raw readings of one unit, and what a method makes of them, as values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from doe.study.curves import Curve
from doe.study.finding import Finding
from doe.study.readings import Flag, Reading

OptionValues = Mapping[str, float | str]


@dataclass(frozen=True, slots=True, kw_only=True)
class RawUnit:
    """All raw readings of one unit, age and repeat that a method may need.

    Attributes:
        label: Names the unit in messages: `run 7`, `run 7, repeat 2`.
        values: Number by raw column, its unit; pending ones are missing.
        off_scale: Raw readings flagged above, below, between, gelled or lost, by raw column.
        curves: Curve by its word, such as `rubbed`; the plain one under the empty word.
        standard: Curves of the standard drawn the same day or card, by word; empty without one.
        white: Curves of the white alone, by word.
        points: Values of another response over grind time (min) or age (d), ascending; for methods
            that gather them.
    """

    label: str
    values: Mapping[str, float] = field(default_factory=dict)
    off_scale: Mapping[str, Reading] = field(default_factory=dict)
    curves: Mapping[str, Curve] = field(default_factory=dict)
    standard: Mapping[str, Curve] = field(default_factory=dict)
    white: Mapping[str, Curve] = field(default_factory=dict)
    points: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Computed:
    """The value of a response for one unit.

    Attributes:
        value: Response unit; None where nothing can be computed, and then `findings` say why.
        value_to: Upper end where the flag is `between`.
        flag: As of a reading.
        findings: Doubts: outside the valid range of the method, impossible, not settled.
    """

    value: float | None
    value_to: float | None = None
    flag: Flag = "ok"
    findings: tuple[Finding, ...] = ()


# What a family of methods registers: the arithmetic of each by its name.
Compute = Callable[[RawUnit, OptionValues], Computed]
