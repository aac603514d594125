"""Published data sets through the command line: `adopt`, then `fit --json`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journeys.conftest import Millbase
from tests.journeys.published_cases import CASES, Case, look_up


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_published_numbers_come_out_of_the_command_line(
    case: Case, tmp_path: Path, millbase: Millbase
) -> None:
    """Source: tests/reference/<case>/SOURCE.md; tolerance: half a unit of the last printed digit.

    Numbers that the collection found not reproducible from the printed data are left out there.
    """
    study = tmp_path / "study"
    study.mkdir()
    (study / "study.toml").write_text(case.brief(), encoding="utf-8")
    table = tmp_path / "data.csv"
    table.write_text(case.table(), encoding="utf-8")
    adopted = millbase("adopt", table, study)
    assert adopted.status == 0, adopted.err
    answer = millbase("fit", study, "--json", *case.options)
    assert answer.status == 0, answer.err
    response = answer.json["responses"][case.response]
    printed = list(case.printed())

    misses = [
        f"{entry}: printed {value}, found {found} ({path})"
        for entry, value, tolerance, path in printed
        if abs((found := look_up(response, path)) - value) > tolerance * (1 + 1e-9)
    ]

    assert printed
    assert not misses, "\n".join(misses)
