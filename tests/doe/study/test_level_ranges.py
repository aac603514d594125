"""The range of a factor at each level of a choice."""

from __future__ import annotations

from doe.study.brief import Study
from doe.study.brief_file import parse_brief
from doe.study.level_ranges import may_lack, own_ranges

HEAD = """\
format = 1
[study]
title = "Invented chemistries"
{package}
[[factor]]
name = "chemistry"
levels = ["none", "Electrosteric"]
[[factor]]
name = "dose"
role = "dose"
{ends}
[[factor.range]]
when = {{ CHEMISTRY = "electrosteric" }}
low = 1.0
high = 2.4
[[response]]
name = "viscosity"
"""
PACKAGE = '[package]\n[[package.additive]]\nname = "dispersant"\nlow = 1.0\nhigh = 1.0'


def test_a_level_without_an_entry_lacks_the_factor() -> None:
    """A chemistry of no additive has no dose."""
    study = _study(ends="low = 0.5\nhigh = 2.4")

    assert own_ranges(study, study.factors[1]) == {"none": None, "Electrosteric": (1.0, 2.4)}
    assert may_lack(study, study.factors[1])


def test_the_stated_dose_of_a_package_holds_where_no_entry_stands() -> None:
    """A package without a dose cannot be weighed."""
    study = _study(ends="low = 0.5\nhigh = 2.4", package=PACKAGE)

    assert own_ranges(study, study.factors[1])["none"] == (0.5, 2.4)
    assert not may_lack(study, study.factors[1])


def test_a_dose_with_ranges_alone_is_lacking_elsewhere_with_a_package_too() -> None:
    """Nothing else says what the dose would be."""
    study = _study(ends="", package=PACKAGE)

    assert own_ranges(study, study.factors[1])["none"] is None


def test_a_factor_of_one_range_has_no_ranges_by_level() -> None:
    """The choice itself has none either."""
    study = _study(ends="low = 0.5\nhigh = 2.4")

    assert own_ranges(study, study.factors[0]) == {}


def _study(*, ends: str, package: str = "") -> Study:
    return parse_brief(HEAD.format(ends=ends, package=package).encode())
