"""What single cells mean."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from doe.sheets.book_form import reading_text
from doe.sheets.book_pages import Spot
from doe.sheets.cell_in import CellReader, CellReading, decide_sign
from doe.study.readings import Flag, Reading

finite = st.floats(allow_nan=False, allow_infinity=False)


def spot(value: object) -> Spot:
    """Put a value into a cell."""
    return Spot(where="F4", value=value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (12.5, CellReading(flag="ok", value=12.5)),
        ("12.5", CellReading(flag="ok", value=12.5)),
        ("−3", CellReading(flag="ok", value=-3.0)),
        (" GEL ", CellReading(flag="gelled")),
        (">5000", CellReading(flag="above", value=5000.0)),
        ("≥ 5000", CellReading(flag="above", value=5000.0)),
        ("<= 5", CellReading(flag="below", value=5.0)),
        ("5 TO 10", CellReading(flag="between", value=5.0, value_to=10.0)),
        ("5 … 10", CellReading(flag="between", value=5.0, value_to=10.0)),
        ("excluded", CellReading(flag=None)),
        ("", None),
        (None, None),
    ],
)
def test_reading_cells(text: object, said: CellReading | None) -> None:
    """Numbers, flags, and off-scale readings in the usual spellings."""
    reader = CellReader(sign=".")

    assert reader.reading(spot(text)) == said
    assert reader.faults == []


@pytest.mark.parametrize("text", ["thick", "> ", "> thick", "10 to 5", "5 to many", True, "1:30"])
def test_cells_that_are_no_reading(text: object) -> None:
    """Each is a fault at its cell."""
    reader = CellReader(sign=".")
    said = reader.reading(spot(text))

    assert said is None
    assert [fault.where for fault in reader.faults] == ["F4"]


@pytest.mark.parametrize("value", [0, 1.5, -1, "7a"])
def test_numbers_that_number_nothing(value: object) -> None:
    """Runs count from 1."""
    reader = CellReader(sign=".")

    assert reader.whole(spot(value)) is None
    assert len(reader.faults) == 1


def test_dates_come_in_iso_form() -> None:
    """As a date, as a date with a time, and as text."""
    reader = CellReader(sign=".")

    assert reader.date(spot(datetime.datetime(2026, 3, 14))) == "2026-03-14"
    assert reader.date(spot(datetime.datetime(2026, 3, 14, 9, 30))) == "2026-03-14T09:30"
    assert reader.date(spot("2026-03-14")) == "2026-03-14"
    assert reader.faults == []


def test_one_clear_cell_decides_how_doubtful_ones_are_read() -> None:
    """Beside 0,5 the text 1.234 is a thousand and more; beside 0.5 it is not."""
    german, english = decide_sign([spot("0,5"), spot("1.234")]), decide_sign([spot("0.5")])

    assert CellReader(sign=german[0]).number(spot("1.234")) == 1234.0
    assert CellReader(sign=english[0]).number(spot("1.234")) == 1.234
    assert german[1] == english[1] == []


def test_numbers_in_number_cells_do_not_vote_for_a_sign() -> None:
    """A spreadsheet keeps numbers without a sign of its own."""
    assert decide_sign([spot(1.5), spot("gelled"), spot("7")]) == (".", [], [])


@given(finite, st.sampled_from(["ok", "above", "below"]))
def test_written_readings_read_back(value: float, flag: Flag) -> None:
    """No digit is lost, so that entering a workbook twice changes nothing."""
    reading = Reading(id=1, run=1, response="viscosity", value=value, flag=flag)
    (shown,) = reading_text([reading]).values()
    said = CellReader(sign=".").reading(spot(shown))

    assert said is not None
    assert said.flag == flag
    assert said.value == value
