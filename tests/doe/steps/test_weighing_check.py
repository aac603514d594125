"""What cannot be weighed is told before any card is printed."""

from __future__ import annotations

from doe.model.region import region_of
from doe.steps.demo import invented_brief
from doe.steps.weighing_check import weighing_findings
from doe.study.brief import Study
from doe.study.brief_file import parse_brief


def _study(old: str, new: str) -> Study:
    return parse_brief(invented_brief().replace(old, new).encode())


def test_the_demo_can_be_weighed() -> None:
    """No corner of its region lacks room for water."""
    study = _study("", "")

    assert weighing_findings(study, region_of(study)) == ()


def test_a_fraction_typed_for_a_percentage_is_doubted() -> None:
    """0.4 for 40 % also leaves no room for water."""
    study = _study("active_percent = 40.0", "active_percent = 0.4")
    levels = {finding.level for finding in weighing_findings(study, region_of(study))}
    said = " ".join(finding.advice for finding in weighing_findings(study, region_of(study)))

    assert levels == {"caution", "stop"}
    assert "active_percent = 40" in said
