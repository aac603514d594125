"""What the recipe card knows, before any browser reads it."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace

import numpy as np

from analysis.report.decide.numbers import number
from analysis.report.decide.page import MODULES, page_script, render_decide
from analysis.report.decide.page_data import as_script_data, page_data
from doe.study.brief import Study
from tests.analysis.report.decide.cases import RANGED_BRIEF, package_models, ranged_case


def test_the_same_basis_gives_the_same_page() -> None:
    """No clock and no chance in it."""
    assert render_decide(ranged_case()) == render_decide(ranged_case())


def test_names_cannot_end_the_script() -> None:
    """A title may hold what looks like markup; in the data no sign can begin any."""
    data = page_data(package_models())
    text = as_script_data(data)

    assert "</script>" in data["title"]
    assert "<" not in text
    assert json.loads(text) == data


def test_the_page_needs_nothing_beside_it() -> None:
    """Its policy allows its own script alone, by its hash, and no connection."""
    page = render_decide(ranged_case())
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert policy is not None
    digest = hashlib.sha256(page_script().encode("utf-8")).digest()

    assert "default-src 'none'" in policy[1]
    assert f"'sha256-{base64.b64encode(digest).decode()}'" in policy[1].replace("&#43;", "+")
    assert re.findall(r"""(?:src|href)=["'](?!#|data:)""", page) == []
    assert not re.search(r"\son\w+=", page.split("<script", 1)[0])


def test_every_module_of_the_script_is_in_the_page() -> None:
    """A module that is written and forgotten would be found by a browser only."""
    from importlib.resources import files

    folder = files("analysis.report.decide") / "js"

    assert sorted(one.name for one in folder.iterdir()) == sorted(f"{m}.js" for m in MODULES)


def test_what_has_no_model_is_named_and_what_has_no_aim_is_not_weighed() -> None:
    """Nothing is left out in silence."""
    data = page_data(package_models())
    aimless = [one["name"] for one in data["responses"] if one["aim"] is None]

    assert data["untold"] == [{"name": "odour", "why": "no readings yet"}]
    assert aimless == ["settling", "sediment", "cost"]


def test_a_study_without_aims_still_has_a_card() -> None:
    """What a recipe gives can be told before anybody said what is wanted."""
    study = ranged_case().study
    responses = tuple(
        one.model_copy(update={"aim": None, "best": None, "worst": None}) for one in study.responses
    )
    bare = study.model_copy(update={"responses": responses, "millbase": None})
    data = page_data(replace(ranged_case(), study=bare))

    assert isinstance(bare, Study)
    assert [one["aim"] for one in data["responses"]] == [None, None]
    assert data["recipe"] is None


def test_endless_and_missing_numbers_are_told_apart() -> None:
    """JSON has neither; degrees of freedom without end are not missing ones."""
    assert number(np.inf) == 1e300
    assert number(np.nan) is None


def test_a_level_that_lacks_the_dose_says_so() -> None:
    """The choice has three levels, the dose two ranges."""
    dose = next(one for one in page_data(ranged_case())["axes"] if one["name"] == "dose")

    assert RANGED_BRIEF.count("[[factor.range]]") == 2
    assert dose["ranges"] == [False, [0.5, 2.5], [0.2, 1.2]]
