"""Decisions: written so that a person can read them, and read back as they were."""

from __future__ import annotations

import tomllib

import pytest

from doe.errors import StudyError
from doe.study.choices import (
    Choices,
    ChosenSettings,
    Note,
    ResponseChoice,
    decode_choices,
    encode_choices,
)
from doe.study.file_format import current_content
from doe.study.toml_text import toml_value

ALL = Choices(
    responses={
        "viscosity": ResponseChoice(
            model="quadratic", dropped=("dose × pH", "pH²"), scale="log", because="wedge"
        ),
        "colour strength": ResponseChoice(scale="power", power=-0.5, role="colourist"),
    },
    notes=(
        Note(subject="run", number=7, says="lost", because='the "jar" fell\nand broke'),
        Note(subject="batch", number=2, response="viscosity", says="excluded", role="production"),
        Note(subject="run", number=7, says="back"),
    ),
    chosen=ChosenSettings(
        settings={"dose": 1.45, "neutraliser": "ammonia", "grind time": 30.0},
        because="thin enough",
        role="formulator",
    ),
)


@pytest.mark.parametrize(
    "choices",
    [
        Choices(),
        ALL,
        Choices(notes=(Note(subject="reading", number=40, says="stands", because="read again"),)),
        Choices(chosen=ChosenSettings(settings={"=a\\b \x7f": 1e-20, "ü.²": "über"})),
    ],
)
def test_decisions_come_back_as_they_were_taken(choices: Choices) -> None:
    """A decision changes a number: it must not change on its way."""
    assert decode_choices(encode_choices(choices)) == choices


def test_the_file_is_stable_and_sorted() -> None:
    """The order in which responses were decided makes no difference to the file."""
    turned = Choices(
        responses=dict(reversed(list(ALL.responses.items()))), notes=ALL.notes, chosen=ALL.chosen
    )

    assert encode_choices(turned) == encode_choices(ALL)
    assert tomllib.loads(encode_choices(ALL).decode())["format"] == 1


def test_a_decision_is_found_and_replaced_by_its_folded_name() -> None:
    """Names are compared as in the brief."""
    changed = ALL.with_response("Viscosity", ResponseChoice(model="linear"))

    assert changed.response("VISCOSITY").model == "linear"
    assert len(changed.responses) == 2
    assert changed.response("gloss") == ResponseChoice()


def test_a_note_that_is_taken_back_no_longer_stands() -> None:
    """The file keeps both; only the last one counts."""
    assert ALL.standing_notes() == (ALL.notes[1],)


def test_back_of_a_whole_unit_takes_back_what_was_said_of_its_responses() -> None:
    """Else an exclusion would outlive the word that lifts it."""
    changed = ALL.with_note(Note(subject="batch", number=2, says="back"))

    assert changed.standing_notes() == ()


def test_back_of_one_response_leaves_the_others_out() -> None:
    """A note on a run and one on its gloss are two."""
    notes = (
        Note(subject="run", number=1, says="lost"),
        Note(subject="run", number=1, response="gloss", says="excluded"),
        Note(subject="run", number=1, response="Gloss", says="back"),
    )

    assert Choices(notes=notes).standing_notes() == notes[:1]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("format = 1\n[response.v]\nmodl = 'x'\n", "response.v.modl"),
        ("format = 1\n[[note]]\nsubject = 'jar'\nnumber = 1\nsays = 'lost'\n", "subject"),
        ("format = 1\n[fit]\n", "'fit' is not known"),
        ("format = 1\n[response\n", "not the TOML"),
        ("[response.v]\nmodel = 'x'\n", "names no format"),
        ("format = 2\n", "Bring millbase up to date"),
        ("format = 'one'\n", "the format is 'one'"),
    ],
)
def test_faults_of_the_file_are_told_with_their_place(text: str, said: str) -> None:
    """A key that nobody reads is a decision that has no effect."""
    with pytest.raises(StudyError) as caught:
        decode_choices(text.encode())

    assert "choices.toml" in str(caught.value)
    assert said in str(caught.value)


def test_a_byte_order_mark_is_no_fault() -> None:
    """An editor may have saved the file."""
    assert decode_choices(b"\xef\xbb\xbf" + encode_choices(ALL)) == ALL


def test_older_formats_are_brought_up_to_date_step_by_step() -> None:
    """A study of five years ago is still a study."""
    updates = {
        ("x.toml", 1): lambda old: old | {"format": 2, "b": old["a"]},
        ("x.toml", 2): lambda old: old | {"format": 3, "c": old["b"] + 1},
    }
    content = current_content({"format": 1, "a": 1}, "x.toml", updates=updates, newest=3)

    assert content == {"format": 3, "a": 1, "b": 1, "c": 2}


@pytest.mark.parametrize(
    ("value", "text"), [(1.0, "1.0"), (3, "3"), (1e-20, "1e-20"), ("a\tb", '"a\\tb"')]
)
def test_values_are_written_as_toml_reads_them(value: float | str, text: str) -> None:
    """A whole number stays a float where it is one."""
    assert toml_value(value) == text
    assert tomllib.loads(f"x = {text}")["x"] == value
