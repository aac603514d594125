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


def test_levels_that_tie_before_the_steps_are_all_brought_onto_them(
    tmp_path: Path, millbase: Millbase
) -> None:
    """Both levels reach full desirability between the steps; on the steps only one is good."""
    study = tmp_path / "study"
    study.mkdir()
    (study / "study.toml").write_text(
        'format = 1\n[study]\ntitle = "t"\n[[factor]]\nname = "u"\nlow = 0\nhigh = 10\nstep = 5\n'
        '[[factor]]\nname = "n"\nlevels = ["a", "b"]\n'
        '[[response]]\nname = "y"\naim = "high"\nbest = 9.9\nworst = 5\n',
        encoding="utf-8",
    )
    rows = ["u,n,y"]
    for level, summit in (("a", 2.4), ("b", 6.0)):
        for u in (0, 2.5, 5, 7.5, 10):
            rows += [f"{u},{level},{10 - (u - summit) ** 2 / 2 + e}" for e in (0.01, -0.01)]
    (tmp_path / "t.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert millbase("adopt", tmp_path / "t.csv", study).status == 0
    chosen = millbase("choose", study, "--json").json

    # At u = 5 the mean is 10 − (5 − 6)²/2 = 9.5, and (9.5 − 5)/4.9 = 0.918.
    assert chosen["settings"] == {"u": 5.0, "n": "b"}
    assert chosen["desirability"] == pytest.approx(4.5 / 4.9, abs=1e-6)
    assert chosen["loss_by_steps"] == pytest.approx(0.4 / 4.9, abs=1e-6)
