"""The tests to do, in a line for each unit: what is read of a batch, a sample, a panel."""

from __future__ import annotations

from doe.methods.method import Unit
from doe.methods.raw_columns import bench_tests
from doe.sheets.bench_tests import plain_responses
from doe.study.brief import Study

_UNITS: tuple[Unit, ...] = ("batch", "sample", "panel")


def tests_to_do(study: Study) -> tuple[str, ...]:
    """List the tests of each unit with their ages.

    Example:
        `each panel: water uptake at 1 and 7 d, gloss`.
    """
    named: dict[Unit, list[str]] = {unit: [] for unit in _UNITS}
    for response in plain_responses(study.responses):
        ages = () if response.age_d is None else (response.age_d,)
        named[response.per].append(response.name + _at(ages))
    for test in bench_tests(study):
        named[test.per].append(test.table.name + _at(test.ages))
    return tuple(f"each {unit}: {', '.join(those)}" for unit, those in named.items() if those)


def _at(ages_d: tuple[float, ...]) -> str:
    """Say the ages of a test.

    Example:
        >>> _at((1.0, 7.0, 28.0))
        ' at 1, 7 and 28 d'
    """
    if not ages_d:
        return ""
    *most, last = (f"{age_d:g}" for age_d in ages_d)
    return f" at {', '.join(most)} and {last} d" if most else f" at {last} d"
