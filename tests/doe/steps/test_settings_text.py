"""Settings as people type them."""

from __future__ import annotations

import numpy as np
import pytest

from doe.errors import StudyError
from doe.model.coding import AxisRange, ChoiceAxis, Coding, NumericAxis, coding_of
from doe.steps.settings_text import settings_row, split_assignment
from doe.study.brief import Study

STUDY = Study.model_validate(
    {
        "study": {"title": "invented"},
        "package": {
            "additive": [
                {"name": "wetting agent", "low": 0.1, "high": 0.4},
                {"name": "dispersant", "low": 0.4, "high": 0.8},
                {"name": "co-additive", "low": 0.0, "high": 0.3},
            ]
        },
        "factor": [
            {"name": "pH = reached", "low": 8.0, "high": 9.5},
            {"name": "Базис", "levels": ["ammonia", "sodium hydroxide"]},
        ],
        "response": [{"name": "viscosity"}],
    }
)
CODING = coding_of(STUDY)
WHOLE = {
    "wetting agent": "0.2", "dispersant": "0.6", "co-additive": "0.2", "pH = reached": "9",
    "Базис": "ammonia",
}  # fmt: skip


def row(**changes: str) -> list[float]:
    """Read the whole row with some of it changed."""
    return list(settings_row(WHOLE | changes, CODING, "--at"))


def refusal(given: dict[str, str]) -> StudyError:
    """Give the error that settings are refused with."""
    with pytest.raises(StudyError) as caught:
        settings_row(given, CODING, "--at")
    return caught.value


def test_settings_come_in_the_order_of_the_axes() -> None:
    """Shares, factors, a choice as its place among the levels."""
    assert row() == pytest.approx([0.2, 0.6, 0.2, 9.0, 0.0])
    assert row(**{"Базис": "SODIUM  hydroxide"})[-1] == 1.0


def test_names_are_matched_as_everywhere() -> None:
    """Case, width and white space do not count."""
    given = {name.upper().replace(" ", "  "): text for name, text in WHOLE.items()}

    assert list(settings_row(given, CODING, "--at")) == row()


@pytest.mark.parametrize(
    ("text", "value"),
    [("9", 9.0), ("9.25", 9.25), ("9,25", 9.25), ("−9", -9.0), ("1e1", 10.0), ("1 234.5", 1234.5),
     ("0,125", 0.125)],
)  # fmt: skip
def test_numbers_take_a_point_or_a_comma(text: str, value: float) -> None:
    """And the minus of a typesetter."""
    assert row(**{"pH = reached": text})[3] == value


@pytest.mark.parametrize("text", ["1,250", "8,500"])
def test_a_number_that_may_be_two_is_refused(text: str) -> None:
    """A comma may part thousands or decimals."""
    error = refusal(WHOLE | {"pH = reached": text})

    assert "may be" in error.faults[0].what
    assert "decimal point" in error.faults[0].do


def test_the_sign_of_a_file_decides() -> None:
    """Then the same text is one number."""
    given = WHOLE | {"pH = reached": "8,500"}
    given = {name: text.replace("0.", "0,") for name, text in given.items()}

    assert settings_row(given, CODING, "x.csv", ",")[3] == 8.5


@pytest.mark.parametrize("left_out", ["wetting agent", "dispersant", "co-additive"])
def test_one_share_may_be_left_out(left_out: str) -> None:
    """It is what the others leave of 1."""
    given = {name: text for name, text in WHOLE.items() if name != left_out}

    np.testing.assert_allclose(settings_row(given, CODING, "--at"), row())


def test_shares_of_few_digits_are_scaled_to_1() -> None:
    """Two thirds and one sixth twice, typed with two digits, are a whole package."""
    typed = row(**{"wetting agent": "0.17", "dispersant": "0.67", "co-additive": "0.163"})

    assert sum(typed[:3]) == pytest.approx(1.0, abs=1e-15)


def test_all_faults_are_told_together() -> None:
    """Unknown name, level, number; each with what would do."""
    given = WHOLE | {"pH = reached": "high", "Базис": "lime", "grind": "3"}
    what = [fault.what for fault in refusal(given).faults]

    assert len(what) == 3
    assert any("'grind'" in one for one in what)
    assert any("'lime'" in one for one in what)
    assert any("'high'" in one for one in what)


def test_what_is_missing_is_named() -> None:
    """Two shares left out cannot be told apart; a factor cannot be guessed."""
    error = refusal({"dispersant": "0.6", "Базис": "ammonia"})

    assert error.faults[0].what == "no value for wetting agent, co-additive, pH = reached"


def test_shares_that_miss_1_are_refused() -> None:
    """With the sum they have."""
    assert "add to 1.1" in refusal(WHOLE | {"dispersant": "0.7"}).faults[0].what


def test_a_setting_under_two_spellings_is_given_twice() -> None:
    """`PH` and `pH` are one setting."""
    error = refusal(WHOLE | {"PH = REACHED": "9"})

    assert "given twice" in error.faults[0].what


@pytest.mark.parametrize(
    ("text", "name", "value"),
    [
        ("dose=1.4", "dose", "1.4"),
        (" dose = 1.4 ", "dose", "1.4"),
        ("pH = reached=9", "pH = reached", "9"),
        ("=диспергатор=0.7", "=диспергатор", "0.7"),
        ("dose × 1, %=1.4", "dose × 1, %", "1.4"),
    ],
)
def test_assignments_split_at_their_last_sign(text: str, name: str, value: str) -> None:
    """So that a name may hold equals signs."""
    assert split_assignment(text) == (name, value)


def _chemistries() -> Coding:
    ranges = (
        AxisRange(choice="chemistry", level="none", low=None, high=None),
        AxisRange(choice="chemistry", level="electrosteric", low=0.8, high=2.4),
    )
    return Coding(
        axes=(
            NumericAxis(name="dose", unit="%", low=0.8, high=2.4, ranges=ranges),
            ChoiceAxis(name="chemistry", levels=("none", "electrosteric")),
        )
    )


@pytest.mark.parametrize("given", [{"chemistry": "none"}, {"chemistry": "none", "dose": "0"}])
def test_what_the_level_lacks_may_be_left_out_or_be_nothing(given: dict[str, str]) -> None:
    """No additive has no dose, and a table may say 0."""
    row = settings_row(given, _chemistries(), "--at")

    np.testing.assert_array_equal(row, [np.nan, 0.0])


def test_a_value_for_what_the_level_lacks_is_refused() -> None:
    """It would be ignored in silence."""
    with pytest.raises(StudyError, match=r"'dose' is 1, and chemistry 'none' lacks it.*Leave"):
        settings_row({"chemistry": "none", "dose": "1"}, _chemistries(), "--at")


def test_a_level_that_has_the_factor_needs_it_and_says_its_range() -> None:
    """The range differs by level, so it is named."""
    with pytest.raises(
        StudyError, match=r"no value for dose; allowed: dose 0.8 to 2.4 % at electrosteric"
    ):
        settings_row({"chemistry": "electrosteric"}, _chemistries(), "--at")


def test_an_open_choice_is_asked_for_with_its_factor() -> None:
    """Without the choice nobody can tell whether a dose is due."""
    with pytest.raises(StudyError, match="no value for dose, chemistry"):
        settings_row({}, _chemistries(), "--at")


@pytest.mark.parametrize(
    ("name", "value", "meant"),
    [("wetting_agent", "0.2", "wetting agent"), ("dispersent", "0.6", "dispersant"),
     ("Базис", "amonia", "ammonia")],
)  # fmt: skip
def test_a_misspelt_name_or_level_is_told_what_was_probably_meant(
    name: str, value: str, meant: str
) -> None:
    """A slip of the pen is shown the name that it comes closest to."""
    with pytest.raises(StudyError, match=f"Did you mean '{meant}'"):
        row(**{name: value})
