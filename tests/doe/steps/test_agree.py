"""`agree` from the first proposal to a final version that no longer matches."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import pytest

from doe.cli.app import run
from doe.cli.show_agree import show_agree
from doe.errors import StudyError
from doe.steps.agree import AgreeOptions, AgreeOutcome, agree_study
from doe.steps.check import check_study
from doe.study.agreement import Says
from tests.doe.steps.agreed_studies import AT, adopted_study

DAY, NEXT = date(2026, 3, 2), date(2026, 3, 3)
PROPOSE = AgreeOptions(propose=True, at=AT, because="thin enough")


@pytest.fixture(scope="module")
def adopted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve runs adopted from a table."""
    return adopted_study(tmp_path_factory.mktemp("agree"))


@pytest.fixture(scope="module")
def proposed(adopted: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with a first version."""
    folder = tmp_path_factory.mktemp("proposed") / "study"
    shutil.copytree(adopted, folder)
    agree_study(folder, PROPOSE, today=DAY)
    return folder


@pytest.fixture
def study(proposed: Path, tmp_path: Path) -> Path:
    """A copy to write into."""
    return Path(shutil.copytree(proposed, tmp_path / "study"))


def say(study: Path, role: str, says: Says, because: str = "so it is") -> AgreeOutcome:
    """Let a role speak."""
    return agree_study(study, AgreeOptions(role=role, says=says, because=because), today=NEXT)


def test_a_version_holds_all_that_it_rests_on(study: Path) -> None:
    """Settings, formula, readings, probability, hashes: the record needs nothing beside it."""
    told = agree_study(study, today=DAY).contract()
    one = told["agreement"]

    assert (told["version"], told["state"], told["matches"]) == (1, "draft", True)
    assert one["inputs"] == told["inputs"]
    assert one["readings"][0]["limits"] == ["at most 700 mPa·s"]
    assert 0.9 < one["probability"] <= 1.0
    assert [line["name"] for line in told["weigh_out"]][-1] == "pigment"
    assert told["missing"] == ["formulator", "production"]
    assert one["laboratory"] == [{"name": "grind time", "value": 40.0, "unit": "min"}]
    kept = json.loads((study / "results" / "agree.json").read_text(encoding="utf-8"))
    assert kept == json.loads(json.dumps(told)) | {"card": "results/formula-card.pdf"}


def test_a_version_carries_the_tolerance_box_of_its_own_settings(study: Path) -> None:
    """Though `risk` never looked at them; where there is none the team is told why."""
    one = agree_study(study, today=DAY).contract()["agreement"]
    assert one["window_probability"] == 0.9
    ends = [(row["window_low"], row["value"], row["window_high"]) for row in one["settings"]]
    assert all(low <= value <= high and low < high for low, value, high in ends)

    brief = study / "study.toml"
    # What is foretold at these settings, so that half of all batches miss it.
    tight = brief.read_text(encoding="utf-8").replace("at_most = 700", "at_most = 304")
    brief.write_text(tight, encoding="utf-8")
    outcome = agree_study(study, PROPOSE, today=NEXT)

    assert outcome.contract()["agreement"]["window_probability"] is None
    (told,) = [own for own in outcome.findings if "no tolerance box" in own.what]
    assert "of 100 production batches meet every limit, below the 90" in told.what
    assert "Version 1 had one" in told.what
    assert "No tolerance box" in " ".join(show_agree(outcome).split())[:900]


def test_a_final_version_waits_for_every_role_and_names_who_is_missing(study: Path) -> None:
    """An objection stands in the way until the same role takes it back; both words stay."""
    final = AgreeOptions(final=True)
    bare = agree_study(study, final, today=NEXT)
    say(study, "Formulator", "agrees")
    say(study, "production", "objects", "too slow")
    objected = agree_study(study, final, today=NEXT)
    say(study, "production", "agrees")
    agreed = agree_study(study, final, today=NEXT)

    assert bare.is_no
    assert len(bare.in_the_way) == 2
    assert "production objects since 2026-03-03 (too slow)" in objected.in_the_way[0]
    assert "NOT made final" in show_agree(objected)
    assert (agreed.did, agreed.is_no) == ("made final", False)
    assert [line.says for line in agreed.agreement.versions[0].lines] == [
        "agrees", "objects", "agrees",
    ]  # fmt: skip
    assert "final since 2026-03-03" in agree_study(study, final, today=NEXT).in_the_way[0]


def test_the_state_names_what_follows(study: Path) -> None:
    """All agree: the final word; an objection after it: a new version; the old one was final."""
    say(study, "formulator", "agrees")
    told = " ".join(show_agree(say(study, "production", "agrees")).split())
    assert "no final word yet: give it with 'millbase agree STUDY --final'" in told
    agree_study(study, AgreeOptions(final=True), today=NEXT)
    told = " ".join(show_agree(say(study, "production", "objects", "too slow")).split())
    assert "FINAL since 2026-03-03. Objects: production. The version stays final on record" in told
    assert any("stays on record" in line.text for line in check_study(study).status)
    for time in (38, 36):
        at = ("dose=1.8", f"grind time={time}")
        asked = AgreeOptions(propose=True, at=at, because="quicker")
        told = " ".join(show_agree(agree_study(study, asked, today=NEXT)).split())
    assert "1 2026-03-02 superseded" in told
    assert "2 2026-03-03 replaced before it was final" in told


def test_a_role_that_never_spoke_can_be_gone_on_without_by_name(study: Path) -> None:
    """The final version says for good who is missing and why."""
    say(study, "formulator", "agrees")
    asked = AgreeOptions(final=True, without=("production",), because="plant closed")
    outcome = agree_study(study, asked, today=NEXT)

    assert outcome.did == "made final"
    assert "Made without production (plant closed)" in " ".join(show_agree(outcome).split())


def test_a_changed_goal_breaks_the_match_and_check_says_so(study: Path) -> None:
    """The record stays; the answer is no until a new version is proposed."""
    for role in ("formulator", "production"):
        say(study, role, "agrees")
    brief = (study / "study.toml").read_text(encoding="utf-8")
    (study / "study.toml").write_text(brief.replace("at_most = 700", "at_most = 300"), "utf-8")
    outcome = agree_study(study, today=NEXT)
    checked = check_study(study)

    assert outcome.is_no
    assert outcome.contract()["changed"] == ["goals"]
    assert "at most 700 mPa·s (met) then, at most 300 mPa·s (not met) now" in str(outcome.findings)
    assert any("no longer matches" in finding.what for finding in checked.findings)
    assert any("no longer matches" in line.text for line in checked.status)
    refused = agree_study(study, AgreeOptions(final=True), today=NEXT)
    assert "no longer matches" in refused.in_the_way[0]

    again = agree_study(study, PROPOSE, today=NEXT)
    assert again.contract()["matches"] is True
    assert [row["state"] for row in again.contract()["versions"]] == ["superseded", "draft"]
    assert again.contract()["missing"] == ["formulator", "production"], "each speaks anew"


def test_the_same_version_is_not_proposed_twice(study: Path) -> None:
    """It would only take the roles' words away."""
    before = (study / "agreement.toml").read_bytes()

    with pytest.raises(StudyError, match="says the same already"):
        agree_study(study, PROPOSE, today=NEXT)
    assert (study / "agreement.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--role", "producton", "--agrees"), "Did you mean 'production'?"),
        (("--role", "sales", "--agrees"), "allowed: 'formulator', 'production'"),
        (("--agrees",), "nobody is named who agrees"),
        (("--role", "production"), "says nothing"),
        (("--role", "production", "--objects"), "no reason is given"),
        (("--role", "production", "--objects", "--agrees"), "cannot do both"),
        (("--propose",), "no reason is given"),
        (("--propose", "--final", "--because", "x"), "several things at once"),
        (("--at", "dose=1"), "settings go with a new version"),
        (("--without", "production"), "goes with --final"),
        (("--batch-kg", "0"), "0 kg is no batch"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words_and_changes_nothing(
    proposed: Path, arguments: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2, the allowed words, the file as it was."""
    before = (proposed / "agreement.toml").read_bytes()

    assert run(["agree", str(proposed), *arguments]) == 2
    assert said in " ".join(capsys.readouterr().err.split())
    assert (proposed / "agreement.toml").read_bytes() == before


def test_before_a_version_there_is_nothing_to_speak_of(
    adopted: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Plain `agree` says how to begin; a role is told the same and refused."""
    assert run(["agree", str(adopted)]) == 0
    assert "--propose" in capsys.readouterr().out
    assert run(["agree", str(adopted), "--role", "production", "--agrees"]) == 2
    assert not (adopted / "agreement.toml").exists()


def test_a_card_for_another_batch_changes_no_record(study: Path) -> None:
    """The plant weighs out what it makes today."""
    before = (study / "agreement.toml").read_bytes()
    told = agree_study(study, AgreeOptions(batch_kg=750.0), today=NEXT).contract()

    assert sum(line["kg"] for line in told["weigh_out"]) == pytest.approx(750.0)
    assert (study / "agreement.toml").read_bytes() == before
