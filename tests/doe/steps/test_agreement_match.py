"""An agreement beside what the bench told after it."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from doe.steps.agree import AgreeOptions, agree_study
from doe.steps.check import check_study
from doe.steps.confirm import ConfirmOptions, confirm_study
from doe.steps.enter import enter_files
from doe.steps.session import open_study
from tests.doe.steps.agreed_studies import AT, adopted_study


@pytest.fixture(scope="module")
def confirming(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve runs, an agreement on them, and two confirmation batches that wait."""
    folder = adopted_study(tmp_path_factory.mktemp("match"))
    agree_study(folder, AgreeOptions(propose=True, at=AT, because="thin"), today=date(2026, 3, 2))
    confirm_study(folder, ConfirmOptions(batches=2, at=AT))
    return folder


def _write(file: Path, lines: list[str]) -> None:
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _told(confirming: Path, to: Path, viscosity: float) -> Path:
    """Enter what both batches gave."""
    folder = Path(shutil.copytree(confirming, to / "study"))
    _write(folder / "new.csv", ["run,viscosity", f"13,{viscosity}", f"14,{viscosity + 2}"])
    enter_files(folder, [folder / "new.csv"])
    return folder


def _matches(folder: Path) -> bool:
    said = agree_study(folder, today=date(2026, 3, 3)).contract()["matches"]
    assert isinstance(said, bool)
    return said


def test_batches_that_confirm_an_agreement_leave_it_as_it_is(
    confirming: Path, tmp_path: Path
) -> None:
    """They wait, then hold what was agreed; no model was built on them."""
    assert _matches(confirming)

    folder = _told(confirming, tmp_path, 303)
    assert _matches(folder)
    (told,) = [one for one in check_study(folder).findings if "Runs were added" in one.what]
    assert told.level == "note"
    assert told.what.endswith("2 runs at these settings: confirmed.")


def test_batches_that_do_not_confirm_it_or_are_taken_in_end_the_match(
    confirming: Path, tmp_path: Path
) -> None:
    """A failure speaks against it, and new models foretell otherwise."""
    (tmp_path / "failed").mkdir()
    assert not _matches(_told(confirming, tmp_path / "failed", 390))

    folder = _told(confirming, tmp_path, 303)
    confirm_study(folder, ConfirmOptions(take_in=True, because="more runs"))
    assert not _matches(folder)


def test_an_earlier_reading_that_is_corrected_ends_the_match_whatever_came_later(
    confirming: Path, tmp_path: Path
) -> None:
    """Only what came after the agreement may be there without breaking it."""
    folder = _told(confirming, tmp_path, 303)
    was = open_study(folder).readings.current()[0]
    assert was.value is not None
    _write(folder / "mended.csv", ["run,viscosity", f"1,{was.value + 40}"])
    enter_files(folder, [folder / "mended.csv"], correct=True, because="misread")
    assert not _matches(folder)
    checked = check_study(folder)
    (line,) = [one for one in checked.status if one.text.startswith("Confirmation 1")]
    assert line.state == "doubtful", "it was foretold from the reading as it was"
    assert any("readings of the runs that it was foretold from" in f.what for f in checked.findings)
