"""Problems on which an earlier search ended on the wrong hill; see tests/reference/search-traps."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journeys.conftest import Millbase

TRAPS = Path(__file__).parents[1] / "reference" / "search-traps"


@pytest.mark.parametrize(
    ("number", "at_least"), [(164, 0.33829), (145, 0.26930), (27, 0.45729), (108, 0.71138)]
)
def test_the_search_is_not_trapped(
    number: int, at_least: float, tmp_path: Path, millbase: Millbase
) -> None:
    """An independent search found a recipe at least so desirable; printed to five places."""
    study = tmp_path / "study"
    study.mkdir()
    (study / "study.toml").write_bytes((TRAPS / f"trap-{number}.toml").read_bytes())
    assert millbase("adopt", TRAPS / f"trap-{number}.csv", study).status == 0
    options = ("--model", "quadratic", "--keep", "--because", "noiseless")
    assert millbase("fit", study, *options).status == 0
    chosen = millbase("choose", study, "--json").json
    rivals = [rival["desirability"] for rival in chosen["alternatives"]]

    assert chosen["desirability"] >= at_least
    assert all(rival <= chosen["desirability"] + 1e-9 for rival in rivals)
