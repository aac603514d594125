"""Wrong input of every kind: exit 2, a few helpful lines, no trace in the folder."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import openpyxl
import pytest

from tests.journeys.briefs import HEAD, every_file, factors
from tests.journeys.conftest import Millbase
from tests.journeys.invented_studies import PAINT
from tests.journeys.stages import (
    BLEND,
    NEGATIVE,
    adopted,
    assert_refused,
    studies_at_each_stage,
)
from tests.journeys.whole_way import WORKBOOK, fill, go_to_the_bench, runs_of

BRIEF = PAINT.brief
CHOICE = (
    HEAD + factors(1) + '[[factor]]\nname = "base"\nlevels = ["ammonia", "soda"]\n'
    '[[response]]\nname = "y"\nper = "batch"\n'
)
FINE = "x1,x2,y\n" + "".join(f"0.{i},0.{10 - i},{i + 3}\n" for i in range(1, 10))
NO_AIMS = (
    BRIEF.replace('aim = "low"\nbest = 200\nworst = 900\n', "")
    .replace('aim = "high"\nbest = 60\nworst = 20\n', "")
    .replace('[[view]]\nrole = "colourist"\nimportance = { gloss = 3.0 }\n', "")
)


def cells(sheet: str, **values: object) -> Callable[[Path], None]:
    """Type values into cells of the bench workbook."""

    def change(study: Path) -> None:
        book = openpyxl.load_workbook(study / WORKBOOK)
        for place, value in values.items():
            book[sheet][place] = value
        book.save(study / WORKBOOK)

    return change


def without_sheet(study: Path) -> None:
    """Take the sheet of the readings out of the workbook."""
    book = openpyxl.load_workbook(study / WORKBOOK)
    del book["Readings"]
    book.save(study / WORKBOOK)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """One wrong input.

    Attributes:
        name: What is wrong.
        on: The state of the study: empty, planned or read.
        command: Arguments; STUDY stands for the folder, and may begin a place in it.
        says: Words that the refusal must hold.
        files: Files that are written first, by place.
        change: What is done to the folder first.
    """

    name: str
    command: str | tuple[str, ...]
    says: tuple[str, ...]
    on: str = "empty"
    files: Mapping[str, str | bytes] = field(default_factory=dict)
    change: Callable[[Path], None] | None = None

    def arguments(self, study: Path) -> list[str]:
        """Give the arguments for one folder."""
        words = self.command.split() if isinstance(self.command, str) else self.command
        return [word.replace("STUDY", str(study)) for word in words]


def brief(name: str, old: str, new: str, *says: str) -> Wrong:
    """Change the sound brief in one place."""
    assert old in BRIEF
    files = {"study.toml": BRIEF.replace(old, new)}
    return Wrong(name=f"brief: {name}", command="check STUDY", says=says, files=files)


def raw_brief(name: str, data: bytes, *says: str) -> Wrong:
    """Write a brief byte by byte."""
    return Wrong(
        name=f"brief: {name}", command="check STUDY", says=says, files={"study.toml": data}
    )


def table(name: str, text: str | bytes, *says: str, on: str = "planned", more: str = "") -> Wrong:
    """Enter a table."""
    return Wrong(
        name=f"table: {name}", command=f"enter STUDY STUDY/x.csv {more}", says=says, on=on,
        files={"x.csv": text},
    )  # fmt: skip


def workbook(name: str, change: Callable[[Path], None], *says: str) -> Wrong:
    """Enter a workbook that was changed first."""
    return Wrong(
        name=f"workbook: {name}", command=f"enter STUDY STUDY/{WORKBOOK}", says=says,
        on="planned", change=change,
    )  # fmt: skip


def adopt(name: str, text: str, *says: str, brief_text: str = BLEND) -> Wrong:
    """Adopt a table."""
    return Wrong(
        name=f"adopt: {name}", command="adopt STUDY/x.csv STUDY", says=says,
        files={"study.toml": brief_text, "x.csv": text},
    )  # fmt: skip


def asked(name: str, command: str | tuple[str, ...], *says: str, on: str = "read") -> Wrong:
    """Ask something of a sound study."""
    return Wrong(name=f"asked: {name}", command=command, says=says, on=on)


def stored(name: str, file: str, data: str | bytes, *says: str) -> Wrong:
    """Break a file that we wrote."""
    return Wrong(
        name=f"stored: {name}", command="fit STUDY", says=says, on="read", files={file: data}
    )


def at(*assignments: str) -> tuple[str, ...]:
    """Ask for a prediction."""
    return ("predict", "STUDY", *(f"--at={text}" for text in assignments))


WRONG = (
    # The folder
    asked("folder of no name", "check STUDY/nowhere", "no such folder", "millbase new"),
    asked("plan of no folder", "plan STUDY/nowhere", "no such folder"),
    asked("file as folder", "check STUDY/study.toml", "a file, not a study folder"),
    Wrong(name="no brief", command="check STUDY", says=("no study.toml", "millbase new")),
    Wrong(name="no brief, report", command="report STUDY", says=("no study.toml",)),
    Wrong(name="brief is a folder", command="check STUDY", says=("cannot be read",),
          change=lambda study: (study / "study.toml").mkdir()),
    asked("new over a study", ("new", "STUDY", "--like", "blend"), "already", "another folder"),
    asked("new of no kind", "new STUDY/x --like blent", "blent", "blend", "table"),
    asked("new on a file", "new STUDY/study.toml", "a file, not a folder"),
    asked("demo over a study", "demo STUDY", "already"),
    # The brief
    raw_brief("Latin-1", BRIEF.encode("latin-1"), "UTF-8", "line 35", "Latin-1"),
    raw_brief("UTF-16", BRIEF.encode("utf-16"), "UTF-16", "UTF-8"),
    raw_brief("not text", bytes(range(200)), "study.toml"),
    raw_brief("empty", b"", "study"),
    brief("decimal comma", "low = 0.8", "low = 0,8", "decimal comma", "line 22", "0.8"),
    brief("torn heading", "[[factor]]\nname = \"dose\"", "[[factor]\nname = \"dose\"", "line 18"),
    brief("torn text", 'name = "pH"', 'name = "pH', "line 25"),
    brief("unknown key", "step = 0.05", "stepp = 0.05", "stepp", "step is meant"),
    brief("text for a number", "low = 0.8", 'low = "small"', "a number", '"small"'),
    brief("number for a text", 'unit = "mPa·s"', "unit = 7", "unit"),
    brief("low above high", "low = 0.8", "low = 8", "low below high"),
    brief("a word of ours as a name", '"pH"\nlow', '"run"\nlow', '"run"', "another name"),
    brief("a name twice", 'name = "gloss"', 'name = "Viscosity"', "stands twice"),
    brief("newer format", "format = 1", "format = 2", "newer millbase"),
    brief("goals crossed", "best = 200", "best = 950", "best below worst"),
    brief("no such aim", 'aim = "low"', 'aim = "lower"', "aim"),
    brief("no such stage", 'per = "batch"\naim = "low"', 'per = "day"\naim = "low"', "per"),
    brief("shares cannot add to 1", "low = 1.0\nhigh = 1.0", "low = 0.2\nhigh = 0.5", "0.5"),
    brief("control off the brief", "pH = 8.8", "ph2 = 8.8", "ph2"),
    brief("no response", BRIEF[BRIEF.index("[[response]]"):], "", "no response"),
    brief("nothing fits", "[[response]]\nname = \"viscosity\"",
          "[[limit]]\nsum = { dose = 1 }\nat_most = 0.5\n[[response]]\nname = \"viscosity\"",
          "0.5", "0.8"),
    # The command line
    asked("option", "plan STUDY --runz 3", "--runz", "millbase plan --help"),
    asked("command", "plant STUDY", "plant", "plan"),
    asked("no study", "plan", "study"),
    asked("runs in words", "plan STUDY --runs many", "--runs"),
    asked("runs below zero", "plan STUDY --runs -3", "--runs"),
    asked("a confidence of 2", "fit STUDY --level 2", "--level"),
    asked("layout", "plan STUDY --layout star", "no layout 'star'", "Box-Behnken", on="bare"),
    asked("model of a plan", "plan STUDY --model huge", "no model 'huge'", "quadratic", on="bare"),
    asked("a plan again", "plan STUDY", "--replace", on="planned"),
    asked("a plan with readings again", "plan STUDY --replace", "readings", "can't be replaced"),
    asked("days of no size", "plan STUDY --days 9", "batches_per_day", on="bare"),
    asked("sheets of no plan", "sheet STUDY", "no runs yet", "millbase plan", on="bare"),
    asked("readings of no plan", "enter STUDY STUDY/study.toml", "no runs yet", on="bare"),
    asked("fit of no plan", "fit STUDY", "no runs yet", on="bare"),
    asked("fit of no readings", "fit STUDY", "viscosity", "Enter readings", on="planned"),
    asked("choose of no readings", "choose STUDY", "Enter readings", on="planned"),
    asked("predict of no readings", at("dose=1", "pH=9"), "Enter readings", on="planned"),
    asked("response", "fit STUDY --only shine", "shine", "viscosity, gloss"),
    asked("scale", "fit STUDY --scale cube", "cube", "identity"),
    asked("model of a fit", "fit STUDY --model cubic", "cubic", "quadratic"),
    asked("term of no setting", ("fit", "STUDY", "--drop", "dose × grind"), "grind", "pH"),
    asked("half a term", ("fit", "STUDY", "--drop", "dose ×"), "dose"),
    asked("term of another model", ("fit", "STUDY", "--drop", "dose × pH²"), "dose × pH²"),
    asked("view", "choose STUDY --view boss", "boss", "colourist"),
    Wrong(name="choose without aims", command="choose STUDY", says=("no response has an aim",),
          on="read", files={"study.toml": NO_AIMS}),
    # Settings to predict at
    asked("nothing to predict", "predict STUDY", "--at NAME=VALUE", "--table"),
    asked("both ways", (*at("dose=1"), "--table", "STUDY/plan.csv"), "twice"),
    asked("no value", at("dose"), "names no value"),
    asked("no such setting", at("dosis=1", "pH=9"), "dosis", "dose"),
    asked("a setting left out", at("dose=1"), "no value for pH"),
    asked("a setting twice", at("dose=1", "Dose=2", "pH=9"), "twice"),
    asked("a word for a number", at("dose=much", "pH=9"), "no number"),
    asked("not a number", at("dose=nan", "pH=9"), "no number"),
    asked("without end", at("dose=inf", "pH=9"), "no number"),
    asked("shares off 1", at("dose=1", "pH=9", "dispersant=0.5"), "0.5", "add to 1"),
    asked("no such table", "predict STUDY --table STUDY/no.csv", "no such file"),
    asked("a folder as a table", "predict STUDY --table STUDY", "cannot be opened"),
    *(
        Wrong(name=f"predict table: {name}", command="predict STUDY --table STUDY/x.csv",
              says=says, on="read", files={"x.csv": text})
        for name, text, says in (
            ("empty", "", ("empty",)),
            ("names only", "dose,pH\n", ("no rows",)),
            ("word", "dose,pH\n1,nine\n", ("line 2", "nine")),
            ("short line", "dose,pH\n1\n", ("line 2",)),
            ("no such setting", "dose,pH,grind\n1,9,3\n", ("grind",)),
        )
    ),
    # Notes
    asked("note of nothing", "note STUDY --says lost --because x", "--day or --reading"),
    asked("note of two", "note STUDY --run 1 --batch 1 --says lost --because x", "one thing"),
    asked("note without reason", "note STUDY --run 1 --says lost", "--because"),
    asked("note of no run", "note STUDY --run 99 --says lost --because x", "no run 99"),
    asked("note of no reading", "note STUDY --reading 999 --says lost --because x", "999"),
    asked("note of no response", "note STUDY --run 1 --says lost --because x --response q", "q"),
    asked("a note that says else", "note STUDY --run 1 --says dead --because x", "lost"),
    # Workbooks
    workbook("words", cells("Readings", D6="thick"), "D6", "thick", "gelled"),
    workbook("date", cells("Readings", D6=datetime.date(2026, 5, 3)), "D6", "date", "3.5"),
    workbook("error value", cells("Readings", D6="#DIV/0!"), "D6", "error value"),
    workbook("no such run", cells("Readings", A4=77, D4=7), "run 77", "1 to 13"),
    workbook("grams in words", cells("Weigh-out", F6="lots"), "F6", "lots"),
    workbook("a sheet gone", without_sheet, "'Readings' is missing"),
    Wrong(name="workbook: torn", command="enter STUDY STUDY/x.xlsx", on="planned",
          says=("cannot be opened",), files={"x.xlsx": b"PK\x03\x04torn"}),
    asked("no such file", "enter STUDY STUDY/no.xlsx", "cannot be read", on="planned"),
    asked("a folder as a file", "enter STUDY STUDY/sheets", "cannot be read", on="planned"),
    asked("no file", "enter STUDY", "millbase enter --help", on="planned"),
    # Tables
    table("empty", "", "empty"),
    table("no run", "viscosity\n3\n", "no column 'run'"),
    table("no such run", "run,viscosity\n99,3\n", "no run 99", "1 to 13"),
    table("half a run", "run,viscosity\n1.5,3\n", "1.5", "whole numbers"),
    table("blank run", "run,viscosity\n,3\n", "blank"),
    table("misnamed", "run,viskosity\n1,3\n", "'viscosity' meant"),
    table("column twice", "run,viscosity,viscosity\n1,7,8\n", "two columns"),
    table("both decimal signs", "run;viscosity;gloss\n1;1,5;2.5\n", "decimal point", "comma"),
    table("date", "run,viscosity\n1,2026-05-03\n", "date", "3.5"),
    table("word", "run,viscosity\n1,abc\n", "abc", "gelled"),
    table("not a number", "run,viscosity\n1,nan\n", "nan"),
    table("Latin-1", "run,viscosity\n1,µ\n".encode("latin-1"), "not UTF-8"),
    table("not text", b"\x00\x01\x02", "no text"),
    table("other value", "run,viscosity\n1,777\n", "run 1, viscosity", "777", "--correct",
          on="read"),
    table("correction without reason", "run,viscosity\n1,777\n", "--because", on="read",
          more="--correct"),
    # Tables to adopt
    adopt("shares off 1", "x1,x2,y\n0.7,0.6,3\n", "1.3", "add to 1"),
    adopt("misnamed", "x1,x3,y\n0.5,0.5,3\n", "'x2'"),
    adopt("setting left out", "x1,y\n0.5,3\n", "'x2'"),
    adopt("word", "x1,x2,y\n0.5,abc,3\n", "abc", "line 2"),
    adopt("names only", "x1,x2,y\n", "no lines"),
    adopt("run of two minds", "run,x1,x2,y\n1,.5,.5,3\n1,.6,.4,3\n", "both run 1"),
    adopt("no such level", "z1,base,y\n0.5,amonia,3\n", "amonia", "'ammonia'", brief_text=CHOICE),
    asked("adopt nothing", "adopt STUDY/x.csv STUDY", "cannot be read", on="bare"),
    Wrong(name="adopt: over a plan", command="adopt STUDY/x.csv STUDY", on="planned",
          says=("13 runs already", "--replace"),
          files={"x.csv": "dispersant,dose,pH,viscosity\n1,1,9,3\n"}),
    Wrong(name="adopt: over readings", command="adopt STUDY/x.csv STUDY --replace", on="read",
          says=("13 runs already", "new study"),
          files={"x.csv": "dispersant,dose,pH,viscosity\n1,1,9,3\n"}),
    # What cannot be fitted
    Wrong(name="log of a negative reading", command="fit STUDY", says=("runs 1, 2 and 3", "zero"),
          change=adopted(BLEND, NEGATIVE)),
    Wrong(name="squared share", command=("fit", "STUDY", "--drop", "x1^2"),
          says=("squares a share", "x1 × x2"), change=adopted(BLEND, FINE)),
    Wrong(name="linear share dropped", command="fit STUDY --drop x1", says=("never dropped",),
          change=adopted(BLEND, FINE)),
    # Files of ours that somebody broke
    stored("plan.csv", "plan.csv", "run,x\n1,2\n", "plan.csv"),
    stored("plan.json", "plan.json", "{", "plan.json", "copy"),
    stored("readings.csv", "readings.csv", "id,run\n1,1\n", "readings.csv"),
    stored("choices.toml", "choices.toml", "a =", "choices.toml", "copy"),
    Wrong(name="stored: half a plan", command="check STUDY", on="read", says=("plan.json",),
          change=lambda study: (study / "plan.json").unlink()),
)  # fmt: skip


@pytest.fixture(scope="module")
def states(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    """Make a study at each stage."""
    return studies_at_each_stage(tmp_path_factory.mktemp("states"))


def prepared(wrong: Wrong, states: Mapping[str, Path], folder: Path) -> Path:
    """Copy a study at the stage of a wrong input, and make it wrong."""
    study = Path(shutil.copytree(states[wrong.on], folder / "s"))
    for place, data in wrong.files.items():
        (study / place).write_bytes(data if isinstance(data, bytes) else data.encode())
    if wrong.change is not None:
        wrong.change(study)
    return study


def test_there_are_wrong_inputs_enough() -> None:
    """Every kind that the commands can meet, each under a name of its own."""
    assert len({wrong.name for wrong in WRONG}) == len(WRONG) >= 100


@pytest.mark.parametrize("wrong", WRONG, ids=lambda wrong: wrong.name)
def test_wrong_input_is_refused_in_words(
    wrong: Wrong, states: Mapping[str, Path], tmp_path: Path, millbase: Millbase
) -> None:
    """Exit 2; the words help; the folder is byte for byte as it was."""
    study = prepared(wrong, states, tmp_path)
    before = every_file(tmp_path)
    answer = millbase(*wrong.arguments(study), "--json")

    assert_refused(answer)
    assert every_file(tmp_path) == before
    for word in wrong.says:
        assert word in answer.err


def test_a_refusal_without_json_leaves_standard_output_empty(
    states: Mapping[str, Path], millbase: Millbase
) -> None:
    """Tables go out, faults go to standard error."""
    answer = millbase("fit", states["planned"])

    assert (answer.status, answer.out) == (2, "")


def test_every_fault_of_a_brief_is_told_at_once(
    states: Mapping[str, Path], tmp_path: Path, millbase: Millbase
) -> None:
    """File, line and mend of each, in one go."""
    text = BRIEF.replace("step = 0.05", "stepp = 0.05").replace("low = 0.8", "low = 8")
    text = text.replace("best = 200", "best = 950")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    answer = millbase("check", tmp_path, "--json")

    assert_refused(answer)
    assert len(answer.json["faults"]) == 3
    assert all("study.toml, line" in fault["where"] for fault in answer.json["faults"])
    assert all(fault["do"] for fault in answer.json["faults"])


def test_the_workbook_of_another_study_is_refused(
    states: Mapping[str, Path], tmp_path: Path, millbase: Millbase
) -> None:
    """Even with the same run numbers: its settings are others."""
    other = tmp_path / "other"
    go_to_the_bench(other, replace(PAINT, brief=BRIEF.replace("high = 2.4", "high = 2.0")))
    fill(other, PAINT, runs_of(other))
    study = Path(shutil.copytree(states["planned"], tmp_path / "s"))
    before = every_file(study)
    answer = millbase("enter", study, other / WORKBOOK, "--json")

    assert_refused(answer)
    assert "another study or plan" in answer.err
    assert every_file(study) == before


def test_faults_of_several_files_are_told_together_and_none_is_taken(
    states: Mapping[str, Path], tmp_path: Path, millbase: Millbase
) -> None:
    """A sound file beside two broken ones stays out, too."""
    study = Path(shutil.copytree(states["planned"], tmp_path / "s"))
    for name, text in (("a", "1,3"), ("b", "99,3"), ("c", "1,abc")):
        (tmp_path / f"{name}.csv").write_text(f"run,viscosity\n{text}\n", encoding="utf-8")
    before = every_file(study)
    answer = millbase("enter", study, *(tmp_path / f"{name}.csv" for name in "abc"), "--json")

    assert_refused(answer)
    assert len(answer.json["faults"]) == 2
    assert every_file(study) == before
