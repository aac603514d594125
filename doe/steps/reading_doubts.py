"""Readings that cannot be right, told when they come in, with run and place."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

from doe.sheets.raw_in import ShownValue
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.readings import Reading, Readings

# What a spreadsheet shows may be rounded by its own functions; more is another formula.
_SAME_SHOWN = 1e-6


def impossible_readings(study: Study, readings: Sequence[Reading]) -> Iterator[Finding]:
    """Find readings that the scale of their response has no place for."""
    known = {response.name for response in study.responses}
    for reading in readings:
        said = _why_impossible(study, reading) if reading.response in known else ""
        if said:
            yield Finding(
                level="caution",
                what=f"Run {reading.run}, {reading.response}: {reading.value:g} {said}.",
                evidence={"run": reading.run, "reading": reading.id, "source": reading.source},
                advice="Correct it in the file and enter it again with --correct, or note it lost; "
                "until then this response cannot be fitted on its scale.",
            )


def _why_impossible(study: Study, reading: Reading) -> str:
    response = study.response(reading.response)
    value = reading.value
    if value is None or reading.flag != "ok":
        return ""
    if response.scale == "log" and value <= 0:
        return "has no logarithm, and this response is fitted on a log scale"
    if response.scale == "square root" and value < 0:
        return "has no square root, and this response is fitted on that scale"
    if response.scale == "logit" and response.bounds is not None:
        low, high = response.bounds
        if not low < value < high:
            return f"lies outside {low:g} to {high:g}, the bounds that the brief gives it"
    return ""


def homeless_readings(study: Study, readings: Sequence[Reading]) -> Iterator[Finding]:
    """Find readings of responses that the brief does not name any more."""
    known = {response.name for response in study.responses}
    counts = Counter(reading.response for reading in readings if reading.response not in known)
    for name, count in counts.items():
        yield Finding(
            level="note",
            what=f"{count} readings of '{name}' belong to no response of the brief; they are left "
            "aside.",
            evidence={"readings": count},
            advice="Give the response its name back if they should count.",
        )


def shown_otherwise(shown: Sequence[ShownValue], readings: Readings) -> Iterator[Finding]:
    """Find values that the spreadsheet computed otherwise than the method does."""
    known = {reading.key: reading.value for reading in readings.current()}
    for one in shown:
        value = known.get((one.run, one.panel, one.age_d, one.repeat, one.response))
        if value is None or math.isclose(value, one.value, rel_tol=_SAME_SHOWN, abs_tol=1e-12):
            continue
        yield Finding(
            level="caution",
            what=f"{one.where}: the spreadsheet shows {one.value:.6g} for '{one.response}' of run "
            f"{one.run}, and the method gives {value:.6g}, which is used.",
            evidence={"run": one.run, "shown": one.value, "used": value},
            advice="Was the formula changed, or the file saved before it was computed anew?",
        )
