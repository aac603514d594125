"""A reading of a batch cannot depend on what is set per sample after it."""

from __future__ import annotations

from pathlib import Path

import pytest

from doe.steps.fit import FitOptions, fit_study
from tests.doe.steps.awkward_studies import AT, Bench, design, make, response, said

# Haze of each batch, read at whatever sample came first to hand.
HAZE = (9.1, 14.2, 6.8, 11.9, 7.7, 13.1, 11.3, 8.8, 10.2, 10.6, 9.7)
OF_BATCH = 'per = "batch"\n'


@pytest.fixture
def bench(capsys: pytest.CaptureFixture[str]) -> Bench:
    """Commands and what they print."""
    return Bench(capsys)


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Gloss of every sample, haze of every batch: at its first, second or third sample in turn."""
    rows = [
        row | {"haze": HAZE[row["batch"] - 1] if i % 3 == (i // 3) % 3 else ""}
        for i, row in enumerate(design())
    ]
    return make(tmp_path, rows, response(), response("haze", OF_BATCH))


def test_a_reading_of_a_batch_is_fitted_on_batches(study: Path, bench: Bench) -> None:
    """Eleven values; the grind time and every product with it are no part of the model."""
    found = bench.contract("fit", study)
    haze = found["responses"]["haze"]

    assert found["not_fitted"] == {}
    assert haze["n"] == 11
    assert haze["terms"] == ["intercept", "acid", "beads", "acid × beads", "acid²", "beads²"]
    assert "'haze' is a reading of the batch, and 'time' comes after that" in said(haze["findings"])
    assert "time" in found["responses"]["gloss"]["terms"]


def test_what_comes_after_every_reading_is_not_said_to_have_stood_still(
    tmp_path: Path, bench: Bench
) -> None:
    """Haze stands on each batch's first row, where the grind time is always the same."""
    rows = [
        row | {"haze": HAZE[row["batch"] - 1] if i % 3 == 0 else ""}
        for i, row in enumerate(design())
    ]
    found = bench.contract("fit", make(tmp_path, rows, response("haze", OF_BATCH)))

    assert "in every run" not in said(found["findings"])
    assert "'time' comes after that" in said(found["responses"]["haze"]["findings"])
    assert "acid²" in found["responses"]["haze"]["terms"]


def test_equal_batches_replicate_whichever_sample_was_read(study: Path, bench: Bench) -> None:
    """Three batches in the middle: two degrees of freedom, though the samples differ in time."""
    haze = bench.contract("fit", study, "--only", "haze")["responses"]["haze"]

    assert [row["den_df"] for row in haze["lack_of_fit"]] == [2]


def test_a_prediction_does_not_move_with_what_comes_later(study: Path, bench: Bench) -> None:
    """Whatever the grind time."""
    early, late = (
        bench.contract("predict", study, *AT[:4], "--at", f"time={time}")["rows"][0]["predictions"]
        for time in (15, 45)
    )

    assert early["haze"] == late["haze"]
    assert early["gloss"]["value"] != late["gloss"]["value"]


def test_what_comes_later_is_not_left_out_by_choice(study: Path, bench: Bench) -> None:
    """Nothing was selected, so no p-value is too sure for it; kept, it reads back as it was."""
    fit_study(study, FitOptions(keep=True, because="as planned"))
    again = bench.contract("fit", study, "--only", "haze")["responses"]["haze"]

    assert len(again["terms"]) == 6
    assert "by choice" not in said(again["findings"])
    assert again["full"] is None


def test_a_term_to_drop_may_be_one_that_a_response_cannot_have(study: Path, bench: Bench) -> None:
    """`--drop` holds for every response: of haze there is nothing to drop."""
    found = bench.contract("fit", study, "--drop", "time²", "--drop", "acid × time")["responses"]

    assert "time²" not in found["gloss"]["terms"]
    assert len(found["haze"]["terms"]) == 6
    assert "by choice" not in said(found["haze"]["findings"])
