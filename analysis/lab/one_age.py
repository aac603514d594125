"""Readings of one age: a film a week old and the same film a month old are two responses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from doe.study.finding import Finding
from doe.study.readings import Reading


def at_one_age(
    readings: Sequence[Reading], age_d: float | None = None
) -> tuple[list[Reading], tuple[Finding, ...]]:
    """Keep the readings of one age: the brief's, else that of most runs, of equals the oldest.

    Args:
        readings: Of one response.
        age_d: The age that the brief gives the response, days; None where it gives none. Readings
            without an age count as of that age.

    Returns:
        The readings kept, and a caution where others were left aside.
    """
    if age_d is not None:
        return [reading for reading in readings if reading.age_d in (age_d, None)], ()
    runs_at = Counter(age for _, age in {(reading.run, reading.age_d) for reading in readings})
    if len(runs_at) < 2:
        return list(readings), ()
    age = max(runs_at, key=lambda a: (runs_at[a], a if a is not None else -1.0))
    others = sorted(a for a in runs_at if a is not None and a != age)
    aside = ", ".join(f"{a:g}" for a in others) or "no age given"
    used = f"{age:g} days" if age is not None else "no age given"
    finding = Finding(
        level="caution",
        what=f"'{readings[0].response}' was read at several ages; those at {used} are fitted, the "
        f"others ({aside}) are left aside.",
        evidence={"runs at the age fitted": runs_at[age]},
        advice="Give each age a response of its own in the brief.",
    )
    return [reading for reading in readings if reading.age_d == age], (finding,)
