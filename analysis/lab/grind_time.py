"""Which factor of a brief is the grind time; light, as planning commands ask it, too."""

from __future__ import annotations

from doe.study.brief import Factor, Study


def grind_time_of(study: Study) -> Factor | None:
    """Find the factor that says how long a sample was ground: per sample, in minutes or hours."""
    timed = [one for one in study.varied_factors if one.unit in ("min", "h", "s")]
    per_sample = [one for one in timed if one.set_per == "sample"]
    return next(iter((*per_sample, *timed)), None)
