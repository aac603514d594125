"""What functions of several families share: what is lacking, doubted, passed on as it stands.

Sentences hold no number and no unit of the plan, so that equal doubts are told once with all their
units; the numbers are their evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from doe.study.finding import Finding


def doubt(what: str, *, advice: str = "", source: str = "", **evidence: float) -> Finding:
    """Doubt a value that is still given; evidence by name, `_` for blanks."""
    numbers = {name.replace("_", " "): value for name, value in evidence.items()}
    return Finding(level="caution", what=what, evidence=numbers, advice=advice, source=source)


def lacking(
    unit: RawUnit, columns: Sequence[str], *, above_zero: Sequence[str] = ()
) -> Computed | None:
    """Say why nothing can be computed; None where all readings are there.

    Args:
        unit: The raw readings.
        columns: Raw columns that are needed as numbers.
        above_zero: Those of them that the arithmetic divides by.
    """
    absent = [name for name in columns if name not in unit.values]
    if off := [name for name in absent if name in unit.off_scale]:
        what = f"{_listed(off)} ran off the scale, and nothing follows from a limit here."
        return _nothing(doubt(what, advice="Read again on a scale that reaches."))
    if absent:
        return _nothing(Finding(level="note", what=f"{_listed(absent)} not read yet."))
    if empty := [name for name in above_zero if unit.values[name] <= 0]:
        what = f"{_listed(empty)} of zero or less cannot be."
        return _nothing(doubt(what, advice="Look at the raw reading and correct it."))
    return None


def lacking_option(options: OptionValues, *names: str) -> Computed | None:
    """Say which options the brief must set first; None where all are numbers above zero."""
    wrong = [name for name in names if not number_option(options, name) > 0]
    if not wrong:
        return None
    keys = ", ".join(f"{name} = …" for name in wrong)
    return _nothing(
        doubt(f"{_listed(wrong)} must be a number above zero.", advice=f"Set with = {{ {keys} }}.")
    )


def number_option(options: OptionValues, name: str) -> float:
    """Give an option as a number; NaN where the brief says none."""
    value = options.get(name)
    return float("nan") if value is None or isinstance(value, str) else float(value)


def passed_on(unit: RawUnit, column: str) -> Computed | None:
    """Give a raw reading as it stands, off the scale too; None where it is pending."""
    if column in unit.values:
        return Computed(value=unit.values[column])
    off = unit.off_scale.get(column)
    if off is None or off.flag not in ("above", "below", "between") or off.value is None:
        return None
    return Computed(value=off.value, value_to=off.value_to, flag=off.flag)


def doubting_logarithm(compute: Compute) -> Compute:
    """Doubt values of zero or less of a method whose numbers are fitted as logarithms as a rule."""

    def doubting(unit: RawUnit, options: OptionValues) -> Computed:
        done = compute(unit, options)
        if done.value is None or done.value > 0:
            return done
        what = "zero or less, which has no logarithm."
        advice = "Leave the reading out with a note, or fit the response on the scale identity."
        found = doubt(what, advice=advice, value=done.value)
        return replace(done, findings=(*done.findings, found))

    return doubting


def _nothing(why: Finding) -> Computed:
    return Computed(value=None, findings=(why,))


def _listed(names: Sequence[str]) -> str:
    return " and ".join(f"'{name}'" for name in names)
