"""The names under which curves are saved in the instrument, so that each finds its unit."""

from __future__ import annotations

from doe.study.numerals import number_text


def curve_name(unit: str, *, age_d: float | None = None, repeat: int = 1, what: str = "") -> str:
    """Name one curve.

    Args:
        unit: What is read: `run 7`, `standard day 2`, `white`.
        age_d: Age of the film or sample, days; None without.
        repeat: 1 for the first reading.
        what: Which of several curves of the unit: `rubbed`, `over black`; empty for the plain one.

    Example:
        >>> curve_name("run 7", what="rubbed"), curve_name("run 7", age_d=28.0, repeat=2)
        ('run 7 rubbed', 'run 7 age 28 d repeat 2')
    """
    age = "" if age_d is None else f"age {number_text(age_d)} d"
    again = f"repeat {repeat}" if repeat > 1 else ""
    return " ".join(part for part in (unit, age, again, what) if part)


def reference_unit(subject: str, day: int | None) -> str:
    """Name a standard or a white: `standard day 2`, or `standard` in a plan without days."""
    return subject if day is None else f"{subject} day {day}"
