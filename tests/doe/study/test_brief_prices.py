"""What the starting briefs hint at of prices and solvents: complete once the # is taken off."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from doe.methods.settling import settle_methods
from doe.model.region import region_of
from doe.steps.recipe_check import recipe_findings
from doe.study.brief_file import parse_brief

_HINT = re.compile(
    r"^# ((?:balance_)?price_per_kg|(?:solvent|voc|active)_percent|density_g_per_ml)(?= = )",
    re.M,
)
_BRIEFS = {
    one.name: text
    for one in files("doe.study").joinpath("briefs").iterdir()
    if '# name = "cost"' in (text := one.read_text(encoding="utf-8"))
}


@pytest.mark.parametrize("name", sorted(_BRIEFS))
@pytest.mark.parametrize("method", ["cost per litre", "cost per kg"])
def test_hints_with_their_marks_taken_off_give_the_cost(name: str, method: str) -> None:
    """A formulator who takes the # off must not be asked for more."""
    text = _HINT.sub(r"\1", _BRIEFS[name])
    start = text.index('# [[response]]\n# name = "cost"')
    end = text.index("\n\n", start)
    own = re.sub(r"^# ", "", text[start:end], flags=re.M).replace("cost per litre", method)
    study = parse_brief((text[:start] + own + text[end:]).encode(), settle=settle_methods)

    assert study.responses[-1].method == method
    assert recipe_findings(study, region_of(study)) == ()
