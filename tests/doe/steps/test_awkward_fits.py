"""What `fit`, `predict` and `choose` say where readings are unlike a textbook's."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.report.appendix_tables import quality_table
from analysis.report.rounding import MISSING
from doe.steps.fit import FitOptions, fit_study
from tests.doe.steps.awkward_studies import AT, Bench, alone, design, make, response, said

RATING = response("gloss", 'from = "cross-cut class"\naim = "low"\nbest = 0\nworst = 5\n')
COUNT = response("gloss", 'kind = "count"\naim = "low"\nbest = 0\nworst = 50\n')


@pytest.fixture
def bench(capsys: pytest.CaptureFixture[str]) -> Bench:
    """Commands and what they print."""
    return Bench(capsys)


def test_a_response_without_a_model_is_named_by_predict(tmp_path: Path, bench: Bench) -> None:
    """In the contract, in the table and as a caution with the reason: it must not just vanish."""
    rows = [row | {"haze": 3 if row["run"] == 1 else ""} for row in design()]
    study = make(tmp_path, rows, response(), response("haze"))
    found = bench.contract("predict", study, *AT)

    assert list(found["not_fitted"]) == ["haze"]
    assert list(found["rows"][0]["predictions"]) == ["gloss"]
    assert "'haze' is not predicted, as it has no model." in said(found["findings"], "caution")
    shown = bench.screen("predict", study, *AT)
    assert "haze no model" in shown
    assert "! 'haze' is not predicted" in shown


def test_a_run_given_more_narrowly_than_the_mean_is_told(tmp_path: Path, bench: Bench) -> None:
    """Seven samples of four batches: 0.8 degrees of freedom for the mean, 3 for the total.

    The definitions are the published ones (DESIGN.md, section 5); the sentence is ours.
    """
    values = (45.23, 53.84, 48.86, 56.48, 44.94, 51.99, 47.58)
    picked = [row for row in design() if row["time"] != 30 and row["batch"] <= 4][:7]
    study = make(tmp_path, [row | {"gloss": y} for row, y in zip(picked, values, strict=True)])
    found = bench.contract("predict", study, *AT)

    one = found["rows"][0]["predictions"]["gloss"]
    assert one["run_interval"][1] - one["run_interval"][0] < (
        one["mean_interval"][1] - one["mean_interval"][0]
    )
    words = "The interval of one new run of 'gloss' is narrower than that of its true value"
    assert words in said(found["findings"], "caution")
    assert "make more batches" in said(found["findings"], "caution")
    recipes = bench.contract("choose", study)
    narrow = [
        span["run_interval"][1] - span["run_interval"][0]
        < span["mean_interval"][1] - span["mean_interval"][0]
        for recipe in (recipes, *recipes["alternatives"])
        for span in recipe["predictions"].values()
    ]
    assert any(narrow) == (words in said(recipes["findings"]))


def test_enough_batches_need_no_such_words(tmp_path: Path, bench: Bench) -> None:
    """Eleven batches: a run is less sure than the mean, as it should be."""
    found = bench.contract("predict", make(tmp_path, design()), *AT)

    assert "narrower than" not in said(found["findings"])


@pytest.mark.parametrize("kind", ["equal", "computed"])
def test_readings_without_scatter_have_no_errors(tmp_path: Path, bench: Bench, kind: str) -> None:
    """No error is known; it is neither zero nor mended by more batches."""
    rows = design(lambda _, i: 7.5) if kind == "equal" else design()
    if kind == "computed":
        rows = [row | {"gloss": 2 * row["acid"] + 3 * row["beads"] + row["time"]} for row in rows]
    study = make(tmp_path, rows)
    found = bench.contract("fit", study)["responses"]["gloss"]

    assert {row["std_error"] for row in found["coefficients"]} == {None}
    assert {row["interval"] for row in found["coefficients"]} == {None}
    words = said(found["findings"], "caution")
    assert "resolution" in words if kind == "equal" else "formula" in words
    assert "no error can be given" in words
    assert "add batches" not in words
    assert "another scale" not in words
    predicted = bench.contract("predict", study, *AT)["rows"][0]["predictions"]["gloss"]
    assert predicted["mean_interval"] == predicted["run_interval"] == [None, None]


def test_computed_readings_leave_no_rounding_in_the_coefficients(
    tmp_path: Path, bench: Bench
) -> None:
    """A square of 3e-89 is no square, and no landscape may be read out of it."""
    rows = [row | {"gloss": 2 * row["acid"] + row["time"]} for row in design()]
    found = bench.contract("fit", make(tmp_path, rows))["responses"]["gloss"]
    estimates = {row["term"]: row["estimate"] for row in found["coefficients"]}

    assert {estimates.pop(term) for term in ("intercept", "acid", "time")} == {40.0, 10.0, 15.0}
    assert set(estimates.values()) == {0.0}


def test_unequal_repeats_are_told_as_readings(tmp_path: Path, bench: Bench) -> None:
    """Below the run lies the reading: no run lies within a run."""
    base = design()
    rows = [
        row | {"gloss": row["gloss"] + (-0.4, 0.5, 0.1)[k]}
        for i, row in enumerate(base)
        for k in range(1 + i * 7 % 3)
    ]
    shown = bench.screen("fit", make(tmp_path, rows), "--model", "linear")

    assert "Residual sd of readings of one run" in shown
    assert "however often each was read" in shown
    assert "as if every reading had come from a run of its own" in shown
    assert "add runs, not runs within them" not in shown


@pytest.mark.parametrize(
    ("brief", "value_is"),
    [
        (response(), "mean"),
        (response("gloss", 'scale = "log"\naim = "low"\nbest = 1\nworst = 99\n'), "median"),
        (COUNT, "mean"),
        (RATING, "probability"),
    ],
)
def test_a_value_is_called_what_it_is(
    tmp_path: Path, bench: Bench, brief: str, value_is: str
) -> None:
    """The logarithm of a Poisson mean gives a mean back, the logit of a probability that."""
    whole = brief in (COUNT, RATING)
    rows = alone(design((lambda y, _: min(max(round((y - 44) / 3), 0), 5)) if whole else float_of))
    study = make(tmp_path, rows, brief)

    fitted = bench.contract("fit", study, "--model", "linear")["responses"]["gloss"]
    assert fitted["value_is"] == value_is
    one = bench.contract("predict", study, *AT)["rows"][0]["predictions"]["gloss"]
    assert one["value_is"] == value_is
    assert value_is in bench.screen("predict", study, *AT)


@pytest.mark.parametrize(("scale", "value_is"), [("identity", "mean"), ("log", "median")])
def test_readings_off_the_scale_keep_what_the_scale_makes(
    tmp_path: Path, bench: Bench, scale: str, value_is: str
) -> None:
    """The normal curve lies on the fitted scale: its centre is the mean there, the median back."""
    rows = alone(design(lambda y, _: f"> {53}" if y > 53 else y))
    brief = response("gloss", f'scale = "{scale}"\naim = "low"\nbest = 1\nworst = 99\n')
    study = make(tmp_path, rows, brief)

    found = bench.contract("fit", study, "--model", "linear")["responses"]["gloss"]
    assert (found["family"], found["value_is"]) == ("censored", value_is)


@pytest.mark.parametrize("brief", [COUNT, RATING])
def test_no_line_stands_without_a_number(tmp_path: Path, bench: Bench, brief: str) -> None:
    """Ratings and counts have no residual scatter of their own, on the screen or in the report."""
    rows = alone(design(lambda y, _: min(max(round((y - 44) / 3), 0), 5)))
    study = make(tmp_path, rows, brief)

    assert "Residual sd" not in bench.screen("fit", study, "--model", "linear")
    one = fit_study(study, FitOptions(model="linear")).analysis.fitted["gloss"]
    table = quality_table(one.fit, one.assessment)
    assert "residual standard deviation" not in [row[0].text for row in table.rows]
    assert MISSING not in [row[1].text for row in table.rows]


def float_of(y: float, _: int) -> float:
    """Give a reading as it is."""
    return y
