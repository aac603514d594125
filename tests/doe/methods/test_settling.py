"""The test methods that a brief names: found, checked, and completed where it is silent."""

from __future__ import annotations

import pytest

from doe.errors import StudyError
from doe.methods.goals import aim_findings
from doe.methods.raw_columns import bench_tests, named_columns
from doe.methods.settling import settle_methods
from doe.study.brief import Study
from doe.study.brief_file import parse_brief

HEAD = """
[study]
title = "an invented study"
[[factor]]
name = "dose"
low = 1
high = 2
"""


def _read(responses: str) -> Study:
    return parse_brief((HEAD + responses).encode(), settle=settle_methods)


def _refusal(responses: str) -> str:
    with pytest.raises(StudyError) as caught:
        _read(responses)
    return str(caught.value)


def test_a_method_fills_in_what_the_brief_leaves_open() -> None:
    """Unit, stage, scale; what the brief says itself stays."""
    study = _read(
        '[[response]]\nname = "viscosity"\nfrom = "Two-Speed viscosity"\n'
        '[[response]]\nname = "uptake"\nfrom = "water uptake"\nscale = "identity"\nper = "batch"\n'
    )
    viscosity, uptake = study.responses

    assert (viscosity.method, viscosity.unit) == ("two-speed viscosity", "mPa·s")
    assert (viscosity.per, viscosity.scale) == ("sample", "log")
    assert (uptake.scale, uptake.per) == ("identity", "batch")


def test_an_unknown_method_is_told_with_line_and_likely_meaning() -> None:
    """A slip of the pen must not silently leave a response without its method."""
    said = _refusal('[[response]]\nname = "uptake"\nfrom = "water uptoke"\n')

    assert "line 10" in said
    assert '"water uptake" is meant' in said


@pytest.mark.parametrize(
    ("responses", "part"),
    [
        ('name = "v"\nfrom = "efflux time"\n', "needs 'cup'"),
        ('name = "v"\nfrom = "two-speed viscosity"\nwith = { sped = "low" }\n', "no option 'sped'"),
        ('name = "v"\nfrom = "two-speed viscosity"\nwith = { speed = "mid" }\n', "low, high"),
        ('name = "v"\nfrom = "two-speed viscosity"\nunit = "KU"\n', "gives mPa·s"),
        ('name = "v"\nwith = { speed = "low" }\n', "no method that they are of"),
        ('name = "v"\nfrom = "change after storage"\nwith = { of = "w" }\n', "is no response"),
    ],
)
def test_options_that_do_not_fit_are_refused(responses: str, part: str) -> None:
    """Each says what would."""
    assert part in _refusal(f"[[response]]\n{responses}")


def test_responses_computed_from_each_other_are_refused() -> None:
    """A circle has no beginning."""
    said = _refusal(
        '[[response]]\nname = "a"\nfrom = "change after storage"\nwith = { of = "b" }\n'
        '[[response]]\nname = "b"\nfrom = "change after storage"\nwith = { of = "a" }\n'
    )

    assert "computed from itself" in said


def test_one_test_serves_several_responses_at_all_their_ages() -> None:
    """Its columns are asked for once, at each age that somebody names."""
    study = _read(
        '[[response]]\nname = "uptake"\nfrom = "water uptake"\nage_d = 7\n'
        '[[response]]\nname = "leached"\nfrom = "leached part"\nage_d = 14\n'
        '[[response]]\nname = "drift"\nfrom = "change after storage"\n'
        'with = { of = "uptake", start_d = 7, end_d = 28 }\n'
    )
    (test,) = bench_tests(study)

    assert test.ages == (7.0, 14.0, 28.0)
    assert test.per == "panel"
    assert set(named_columns(study)) == {"mass before", "mass wet", "mass re-dried"}


def test_a_word_that_is_a_number_needs_no_quotes() -> None:
    """The ten-degree observer is 10 to anybody."""
    study = _read('[[response]]\nname = "s"\nfrom = "colour strength"\nwith = { observer = 10 }\n')

    assert study.responses[0].options["observer"] == "10"


@pytest.mark.parametrize("method", ["wet-scrub loss", "wet-scrub loss by mass", "wet-scrub class"])
def test_an_area_that_nobody_gives_is_refused_with_its_line(method: str) -> None:
    """The bench would write down masses that nothing can be computed from."""
    head = f'[[response]]\nname = "loss"\nfrom = "{method}"\n'
    density = "" if method.endswith("mass") else ", density = 1.5"
    for given in ("stroke = 300", "width = 40"):
        said = _refusal(head + f"with = {{ {given}{density} }}\n")

        assert "line 10" in said
        assert "needs area, or stroke and width" in said

    _read(head + f"with = {{ area = 0.012{density} }}\n")
    _read(head + f"with = {{ stroke = 300, width = 40{density} }}\n")


@pytest.mark.parametrize(
    "goal",
    [
        'aim = "low"\nbest = 0\nworst = 10',
        'aim = "high"\nbest = 10\nworst = 0',
        'aim = "target"\nbest = 2\nworst_low = -1\nworst_high = 4',
        "accept = { at_most = 7 }",
    ],
)
def test_goals_that_the_method_never_gives_are_refused(goal: str) -> None:
    """Degrees of rusting go from 0 to 5: a 10 is one of the sister scale."""
    said = _refusal(f'[[response]]\nname = "rust"\nfrom = "rust grade"\n{goal}\n')

    assert "never gives" in said
    assert "0 to 5" in said


def test_an_aim_against_the_method_is_doubted_and_stands() -> None:
    """More rust is hardly wanted, and the formulator may know better."""
    against = (
        '[[response]]\nname = "rust"\nfrom = "rust grade"\naim = "high"\nbest = 5\nworst = 0\n'
    )
    (found,) = aim_findings(_read(against))

    assert found.level == "caution"
    assert "lower is better" in found.what
    assert aim_findings(_read(against.replace("grade", "rating"))) == ()


def test_a_wrong_method_is_answered_with_the_nearest_few() -> None:
    """A hundred names are no answer; the page lists them all."""
    said = _refusal('[[response]]\nname = "v"\nfrom = "capillary coefficient of water"\n')

    assert "docs/methods.md" in said
    assert "capillary water coefficient" in said
    assert "yellowness" not in said
