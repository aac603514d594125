"""Curves off an instrument as values: reflectance over wavelength, stress over shear rate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Subject = Literal["run", "standard", "white"]
CurveKey = tuple[Subject, int | None, int | None, str, int | None, float | None, int, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One curve.

    Attributes:
        id: Issued once a study and kind of curve, from 1.
        replaces: The curve that this one corrects, None for a first one.
        entered: ISO date and time of entry, UTC; no result depends on it.
        subject: What was read: a run, the standard, or the white alone.
        run: Run number; None for standard and white.
        day: Day of a standard or white; None where it holds for all.
        card: Drawdown card that they share, as written; empty where none is named.
        panel: Panel number, None without panels.
        age_d: Film or storage age, days, None without.
        repeat: 1 for the first.
        what: Which of several curves of a unit: empty, `rubbed`, `over black`, `over white` …
        x: Wavelength, nm, or shear rate, 1/s, strictly ascending.
        y: Reflectance factor, 0..1, or shear stress, Pa; as many.
        source: File and line or column.
    """

    id: int = 1
    replaces: int | None = None
    entered: str = ""
    subject: Subject = "run"
    run: int | None = None
    day: int | None = None
    card: str = ""
    panel: int | None = None
    age_d: float | None = None
    repeat: int = 1
    what: str = ""
    x: tuple[float, ...]
    y: tuple[float, ...]
    source: str = ""

    def __post_init__(self) -> None:
        if len(self.x) != len(self.y) or not self.x:
            raise ValueError(f"{len(self.x)} places, {len(self.y)} values")
        if any(b <= a for a, b in zip(self.x, self.x[1:], strict=False)):
            raise ValueError("a curve's places ascend")

    @property
    def key(self) -> CurveKey:
        """What makes two curves the same reading."""
        return (
            self.subject, self.run, self.day, self.card, self.panel, self.age_d, self.repeat,
            self.what,
        )  # fmt: skip
