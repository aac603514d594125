"""Raw readings as values: what the bench wrote down before anything was computed from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from doe.study.curves import Curve
from doe.study.readings import Readings

REFLECTANCE, FLOW_CURVE = "reflectance", "flow curve"
CURVE_KINDS = (REFLECTANCE, FLOW_CURVE)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawData:
    """All raw readings of a study.

    Attributes:
        tables: By name of the test; the `response` of each line is the raw column's name.
        curves: By kind of curve, in order of entry, corrected ones included.
    """

    tables: Mapping[str, Readings] = field(default_factory=dict)
    curves: Mapping[str, tuple[Curve, ...]] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        """Whether nothing has come in yet."""
        return not any(table.rows for table in self.tables.values()) and not any(
            self.curves.values()
        )

    def runs(self) -> set[int]:
        """Give the runs that raw readings belong to."""
        read = {row.run for table in self.tables.values() for row in table.rows}
        return read | {
            curve.run for kind in self.curves.values() for curve in kind if curve.run is not None
        }

    def current_curves(self, kind: str) -> tuple[Curve, ...]:
        """Give the curves that stand: the latest of each key, those replaced left out."""
        every = self.curves.get(kind, ())
        replaced = {curve.replaces for curve in every if curve.replaces is not None}
        return tuple({one.key: one for one in every if one.id not in replaced}.values())
