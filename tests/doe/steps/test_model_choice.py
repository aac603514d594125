"""Which model and scale a response is fitted with: asked, kept, planned, or what the runs allow."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from doe.errors import DoeError, FitError
from doe.model.coding import coding_of
from doe.steps.adopt import adopt_table
from doe.steps.analysis_of import analyse
from doe.steps.fit import FitOptions, FitOutcome, fit_study
from doe.steps.model_choice import choose_model, known_model
from doe.steps.note import NoteOptions, note_study
from doe.steps.plan import PlanOptions, plan_study
from doe.steps.session import DEFAULT_SEED, Session, open_study
from tests.journeys.briefs import HEAD, factors, study_of

TWO = (
    '[[response]]\nname = "y"\nper = "batch"\n'
    '[[response]]\nname = "z"\nper = "batch"\nscale = "log"\n'
)


def table_of(rows: int) -> str:
    """Write a table of two factors and both responses, on a grid of three levels."""
    rng = np.random.default_rng(2)
    grid = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)] * 2
    lines = ["z1,z2,y,z"]
    for a, b in grid[:rows]:
        y = 5 + a - 0.5 * b + a * b + 0.1 * rng.normal()
        lines.append(f"{a},{b},{y:.4f},{np.exp(0.2 * y):.4f}")
    return "\n".join(lines) + "\n"


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Adopt eighteen runs of two factors."""
    return with_rows(tmp_path, 18)


def with_rows(folder: Path, rows: int) -> Path:
    """Adopt the first rows of the table."""
    made = study_of(folder / f"s{rows}", factors(2), TWO)
    (folder / "table.csv").write_text(table_of(rows), encoding="utf-8")
    adopt_table(folder / "table.csv", made)
    return made


def models(outcome: FitOutcome) -> dict[str, str]:
    """Give the name of each fitted model."""
    return {name: one.fit.model.name for name, one in outcome.analysis.fitted.items()}


def tried_models(session: Session) -> tuple[str, ...]:
    """Give the models that are tried for the first response when nobody asks for one."""
    response, coding = session.study.responses[0], coding_of(session.study)
    return choose_model(response, session, coding, FitOptions()).models


def test_without_a_word_the_largest_usual_model_is_tried_first(study: Path) -> None:
    """Larger ones are for those who ask for them."""
    assert tried_models(open_study(study)) == ("quadratic", "interactions", "linear")
    assert models(fit_study(study)) == {"y": "quadratic", "z": "quadratic"}


@pytest.mark.parametrize(("rows", "model"), [(18, "quadratic"), (6, "interactions"), (4, "linear")])
def test_too_few_runs_get_a_smaller_model_and_are_told(
    rows: int, model: str, tmp_path: Path
) -> None:
    """With something left to judge it by."""
    outcome = fit_study(with_rows(tmp_path, rows))

    assert set(models(outcome).values()) == {model}
    told = [finding.what for finding in outcome.findings if "too few" in finding.what]
    assert len(told) == (0 if model == "quadratic" else 2)
    assert all(one.assessment.residual_df >= 1 for one in outcome.analysis.fitted.values())


def test_a_model_that_was_asked_for_is_fitted_or_refused(tmp_path: Path) -> None:
    """Nothing else is fitted in its place."""
    few = with_rows(tmp_path, 5)

    assert models(fit_study(few, FitOptions(model="linear"))) == {"y": "linear", "z": "linear"}
    with pytest.raises(FitError):
        fit_study(few, FitOptions(model="quadratic"))


def test_the_planned_model_comes_before_the_usual_ones(tmp_path: Path) -> None:
    """A plan for a linear model is fitted by one."""
    made = study_of(tmp_path / "s", factors(3), TWO)
    plan_study(made, PlanOptions(model="linear", layout="full factorial"))

    assert tried_models(open_study(made))[0] == "linear"


def test_options_try_out_and_leave_no_trace(study: Path) -> None:
    """Neither a decision nor a result is written."""
    outcome = fit_study(study, FitOptions(model="linear"))

    assert not outcome.kept
    assert outcome.files == ()
    assert sorted(path.name for path in study.iterdir()) == [
        "plan.csv", "plan.json", "raw", "readings.csv", "study.toml",
    ]  # fmt: skip


def test_what_is_kept_for_one_response_leaves_the_others(study: Path) -> None:
    """Decisions are merged response by response, notes and all."""
    note_study(study, NoteOptions(says="excluded", because="spilt", run=3))
    fit_study(study, FitOptions(only=("Y",), model="linear", keep=True, because="enough", role="a"))
    fit_study(study, FitOptions(only=("z",), drop=("z2²",), keep=True, because="flat"))
    choices = open_study(study).choices

    assert (choices.response("y").model, choices.response("y").role) == ("linear", "a")
    assert choices.response("z").dropped == ("z2²",)
    assert [note.number for note in choices.notes] == [3]
    assert models(fit_study(study)) == {"y": "linear", "z": "quadratic"}
    assert fit_study(study).analysis.fitted["z"].fit.n == 17
    assert "z2²" not in [
        row.label for row in fit_study(study).analysis.fitted["z"].assessment.coefficients
    ]


def test_a_later_decision_takes_the_place_of_an_earlier(study: Path) -> None:
    """One decision a response; the reason is that of the last."""
    fit_study(study, FitOptions(only=("y",), drop=("z1²",), keep=True, because="first"))
    fit_study(study, FitOptions(only=("y",), model="quadratic", keep=True, because="second"))
    choice = open_study(study).choices.response("y")

    assert (choice.dropped, choice.because) == ((), "second")


def test_a_kept_scale_beats_the_brief_and_an_option_beats_both(study: Path) -> None:
    """And keeping a model says nothing of the scale."""
    fit_study(study, FitOptions(only=("y",), scale="log", keep=True))
    fit_study(study, FitOptions(only=("y",), model="linear", keep=True))
    fits = fit_study(study).analysis.fits
    tried = fit_study(study, FitOptions(scale="Square  Root")).analysis.fits

    assert (fits["y"].scale.name, fits["z"].scale.name) == ("log", "log")
    assert {fit.scale.name for fit in tried.values()} == {"square root"}


def test_a_reduced_model_is_kept_by_its_dropped_terms(study: Path) -> None:
    """So that the same model comes back without a search."""
    reduced = fit_study(study, FitOptions(reduce=True, keep=True))
    again = fit_study(study)

    assert open_study(study).choices.response("y").dropped
    for name, fitted in reduced.analysis.fitted.items():
        assert again.analysis.fits[name].model.terms == fitted.fit.model.terms


def test_one_response_that_cannot_be_fitted_does_not_stop_the_others(tmp_path: Path) -> None:
    """It is named with its reason."""
    made = study_of(tmp_path / "s", factors(2), TWO)
    rows = [line.split(",") for line in table_of(18).splitlines()]
    rows[4][3] = "-1"
    table = tmp_path / "t.csv"
    table.write_text("\n".join(",".join(row) for row in rows) + "\n", encoding="utf-8")
    adopt_table(table, made)
    analysis = analyse(open_study(made), FitOptions())

    assert set(analysis.fitted) == {"y"}
    assert "above zero" in analysis.not_fitted["z"]


@pytest.mark.parametrize("name", ["Quadratic", "quadratic ", "QUADRATIC"])
def test_model_names_are_matched_as_all_names(name: str, study: Path) -> None:
    """Case and blanks do not count, hyphens stand for blanks."""
    assert known_model(name, coding_of(open_study(study).study)) == "quadratic"


def test_an_unknown_model_is_named_with_its_place(study: Path) -> None:
    """On the command line, or in the file of decisions."""
    (study / "choices.toml").write_text(
        'format = 1\n[response.y]\nmodel = "quartic"\n[response.z]\nmodel = "quartic"\n',
        encoding="utf-8",
    )
    with pytest.raises(DoeError) as kept:
        fit_study(study)
    with pytest.raises(DoeError) as asked:
        fit_study(study, FitOptions(model="quintic"))

    assert [fault.where for fault in kept.value.faults] == ["choices.toml"]
    assert [fault.where for fault in asked.value.faults] == ["--model"]
    assert "quadratic" in asked.value.faults[0].allowed


def test_the_seed_asked_for_beats_the_brief(study: Path, tmp_path: Path) -> None:
    """And a study without one repeats, too."""
    session = open_study(study)
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "study.toml").write_text(
        HEAD.replace("seed = 11\n", "") + factors(1) + TWO, encoding="utf-8"
    )

    assert session.seed(0) == 0
    assert session.seed(None) == 11
    assert open_study(bare).seed(None) == DEFAULT_SEED
