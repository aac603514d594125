"""`agree`, `check` and the card after batches that did not confirm a version, and new versions."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from analysis.report.content import Provenance, ReportContent
from analysis.report.decision import Decision, make_decision
from analysis.report.formula_card_words import card_parts
from doe.cli.show_agree import show_agree
from doe.errors import StudyError
from doe.steps.agree import AgreeOptions, agree_study
from doe.steps.agreed_card import card_if_any
from doe.steps.analysis_of import analyse
from doe.steps.check import check_study
from doe.steps.choose import ChooseOptions, search_compromise
from doe.steps.confirm import ConfirmOptions, confirm_study
from doe.steps.confirm_judging import judged_rounds
from doe.steps.enter import enter_files
from doe.steps.model_choice import FitOptions
from doe.steps.session import open_study
from tests.doe.steps.agreed_studies import AT, adopted_study

DAY = date(2026, 3, 2)
PROPOSE = AgreeOptions(propose=True, at=AT, because="thin enough", batch_kg=40.0)


@pytest.fixture(scope="module")
def failed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A version, then two batches at its settings that came out far too thick."""
    folder = adopted_study(tmp_path_factory.mktemp("refuted"))
    table = folder / "table.csv"
    agree_study(folder, PROPOSE, today=DAY)
    for role in ("formulator", "production"):
        agree_study(folder, AgreeOptions(role=role, says="agrees"), today=DAY)
    agree_study(folder, AgreeOptions(final=True), today=DAY)
    confirm_study(folder, ConfirmOptions(batches=2, at=AT))
    table.write_text("run,viscosity\n13,640\n14,655\n", encoding="utf-8")
    enter_files(folder, [table])
    return folder


@pytest.fixture
def study(failed: Path, tmp_path: Path) -> Path:
    """A copy to write into."""
    return Path(shutil.copytree(failed, tmp_path / "study"))


def test_a_failed_confirmation_stands_at_the_head_of_agreement_and_card(study: Path) -> None:
    """Nobody may read a refuted version as one that was never tried, or one that holds."""
    outcome = agree_study(study, today=DAY)
    shown = " ".join(show_agree(outcome).split())

    assert outcome.is_no
    assert outcome.findings[0].what.startswith("Confirmation failed: Confirmation 1")
    assert "NOT CONFIRMED. Confirmation failed:" in shown[:200]
    assert "no batch was made" not in shown
    assert "Nothing is foretold otherwise" not in str(outcome.findings)
    assert outcome.contract()["confirmation_failed"]
    assert outcome.card is not None
    first = card_parts(outcome.card, outcome.session.study)[0]
    assert first.title == "Expected readings: NOT CONFIRMED by batches"
    line = next(one for one in check_study(study).status if one.text.startswith("Agreement"))
    assert line.state == "doubtful"
    assert "its confirmation failed" in line.text


def _decided(study: Path) -> Decision:
    """Make the half page without drawing the report."""
    session = open_study(study)
    analysis = analyse(session, FitOptions())
    return make_decision(
        ReportContent(
            study=session.study, provenance=Provenance(version="0"), plan=session.plan,
            fitted=analysis.fitted, data=analysis.data,
            compromise=search_compromise(analysis, ChooseOptions(), 3),
            confirmations=judged_rounds(session), agreed=card_if_any(session, analysis),
        )
    )  # fmt: skip


def test_the_report_puts_the_failure_before_the_recipe_and_says_what_to_type(study: Path) -> None:
    """The half page for whoever decides must not recommend what its batches refuted."""
    decision = _decided(study)

    assert decision.recipe_head.startswith("NOT CONFIRMED")
    assert decision.desirability == "NOT CONFIRMED."
    assert "very good" not in decision.verdict
    assert "The mean lies outside its interval: viscosity." in decision.verdict
    assert "did not confirm it" in decision.next_steps[0]
    assert "millbase extend STUDY" in decision.next_steps[0]
    assert "millbase agree STUDY --propose" in decision.next_steps[1]


def test_refuted_settings_are_proposed_again_only_for_a_reason_that_names_it(study: Path) -> None:
    """The failure stays on record with whoever went on in spite of it; the batch size is kept."""
    with pytest.raises(StudyError, match="did not confirm these settings") as refused:
        agree_study(study, replace(PROPOSE, because="still thin enough"), today=DAY)
    assert "despite confirmation 1" in str(refused.value.faults[0].do)

    asked = replace(PROPOSE, because="despite confirmation 1: its pigment was old", batch_kg=None)
    outcome = agree_study(study, asked, today=DAY)

    (caution,) = [one for one in outcome.findings if one.what.startswith("Confirmation failed")]
    assert caution.level == "caution"
    assert outcome.version is not None
    assert outcome.version.batch_kg == 40.0
    assert any("40 kg of mill base, the size of version 1" in o.what for o in outcome.findings)
    assert "NOT CONFIRMED" in show_agree(outcome)
    assert "No tolerance box" not in show_agree(outcome)


def test_other_settings_need_no_such_reason(study: Path) -> None:
    """Batches speak of their own settings alone."""
    other = replace(PROPOSE, at=("dose=2.0", "grind time=40"), because="more dose")
    outcome = agree_study(study, other, today=DAY)
    assert outcome.match is not None
    assert not outcome.match.failed


def _confirm_at(study: Path, at: tuple[str, ...]) -> None:
    confirm_study(study, ConfirmOptions(batches=2, at=at))


def _propose_at(study: Path, at: tuple[str, ...]) -> None:
    agree_study(study, replace(PROPOSE, at=at), today=DAY)


@pytest.mark.parametrize("step", [_propose_at, _confirm_at])
def test_settings_outside_the_region_are_refused_by_name_and_range(
    study: Path, step: Callable[[Path, tuple[str, ...]], None]
) -> None:
    """No run stands behind them: neither a version nor a confirmation can rest on them."""
    at = ("dose=3.1", "grind time=40")
    with pytest.raises(StudyError) as refused:
        step(study, at)
    fault = refused.value.faults[0]
    assert "'dose' is 3.1" in fault.what
    assert fault.allowed == "0.8 to 2.4"
    assert "millbase extend STUDY" in fault.do


def test_a_changed_limit_is_named_and_a_new_version_is_asked_for(
    failed: Path, tmp_path: Path
) -> None:
    """`check` says which limit, from what to what; the report says what to do about it."""
    folder = Path(shutil.copytree(failed, tmp_path / "limit"))
    (folder / "confirmation.json").unlink()
    brief = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(brief.replace("at_most = 700", "at_most = 650"), "utf-8")
    checked = check_study(folder)
    line = next(one for one in checked.status if one.text.startswith("Agreement"))
    said = " ".join(one.what for one in checked.findings)

    assert "at most 700 mPa·s" in line.text
    assert "at most 650 mPa·s" in line.text
    assert "Nothing is foretold otherwise" not in said
    assert any("as limits are others" in step for step in _decided(folder).next_steps)
