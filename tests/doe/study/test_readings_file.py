"""The records of readings and actuals as files."""

from __future__ import annotations

import pytest

from doe.errors import StudyError
from doe.study.actuals_file import decode_actuals, encode_actuals, unit_of
from doe.study.readings import Actual, Reading, Readings
from doe.study.readings_file import COLUMNS, decode_readings, encode_readings

ALL = Readings(
    rows=(
        Reading(id=1, run=1, response="viscosity", value=1 / 3, entered="2026-01-14T09:00:00"),
        Reading(id=2, run=2, panel=4, age_d=0.5, repeat=2, response="=gloss", value=70.0),
        Reading(id=3, replaces=1, run=1, response="viscosity", value=0.5, because="1,5 not; 0.5"),
        Reading(id=4, run=3, response="viscosity", value=5.0, value_to=8.0, flag="between"),
        Reading(id=5, run=4, response="viscosity", flag="gelled", source="bench.xlsx, cell B4"),
    )
)


def test_readings_come_back_as_they_were_entered() -> None:
    """Numbers to the last digit, texts to the letter."""
    assert decode_readings(encode_readings(ALL)) == ALL
    assert encode_readings(ALL).decode().splitlines()[0] == ",".join(COLUMNS)


def test_a_file_without_the_later_columns_is_still_read() -> None:
    """Older files stay readable."""
    readings = decode_readings(b"id,run,response,value\n1,3,viscosity,800\n")

    assert readings.rows == (Reading(id=1, run=3, response="viscosity", value=800.0),)


def test_a_file_saved_by_a_german_spreadsheet_is_still_read() -> None:
    """Semicolons and commas, decided once."""
    readings = decode_readings(b"id;run;response;value\r\n1;3;viscosity;800,5\r\n")

    assert readings.rows[0].value == 800.5


def test_all_faults_of_a_file_are_told_together() -> None:
    """Each with line and column."""
    data = (
        "id,replaces,run,response,value,value_to,flag\n"
        "1,,x,viscosity,3. Apr,,ok\n"
        "2,,2,,5,,fine\n"
        "3,9,2,viscosity,,,above\n"
        "3,,2,viscosity,5,,between\n"
    )
    with pytest.raises(StudyError) as caught:
        decode_readings(data.encode())
    said = str(caught.value)

    for part in (
        "line 2, column 'run'", "'3. Apr' is a date", "line 3, column 'response'",
        "the flag 'fine' is not known", "line 4, column 'value'", "needs an upper end",
    ):  # fmt: skip
        assert part in said


def test_ids_stand_once_and_replace_what_came_before() -> None:
    """Else it could not be told which reading counts."""
    data = "id,replaces,run,response,value\n1,,1,v,5\n1,,2,v,5\n2,7,3,v,5\n"
    with pytest.raises(StudyError, match=r"id 1 stands twice") as caught:
        decode_readings(data.encode())

    assert "replaces 7" in str(caught.value)


def test_a_missing_column_is_named() -> None:
    """A header that somebody changed."""
    with pytest.raises(StudyError, match="column 'response' is missing"):
        decode_readings(b"id,run,value\n1,1,5\n")


def test_actuals_come_back_as_they_were_entered() -> None:
    """Values are words or numbers as noted."""
    actuals = (
        Actual(unit="batch 3", what="dispersant", value="12.53", when="2026-01-14"),
        Actual(unit="run 7", what="-pH", value="=8,7"),
    )

    assert decode_actuals(encode_actuals(actuals)) == actuals


def test_a_unit_that_is_none_is_told() -> None:
    """An actual belongs to a unit of the plan."""
    with pytest.raises(StudyError, match=r"'jar 3' is no unit"):
        decode_actuals(b"unit,what,value,when\njar 3,pH,8,\n")
    with pytest.raises(StudyError, match="column 'value' is missing"):
        decode_actuals(b"unit,what\nrun 1,pH\n")


@pytest.mark.parametrize(
    ("unit", "meant"),
    [("run 7", ("run", 7)), ("day 12", ("day", 12)), ("batch 0", None), ("batch", None)],
)
def test_units_are_a_stage_and_a_number(unit: str, meant: tuple[str, int] | None) -> None:
    """So that an actual finds its runs."""
    assert unit_of(unit) == meant
