"""The sheets of raw readings as they come back."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import pytest

from doe.errors import ResultsError
from doe.sheets.sheet_text_in import read_sheet_text
from doe.sheets.workbook import Known, lab_workbook_bytes, workbook_bytes
from doe.sheets.workbook_in import WorkbookEntries, read_workbook
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.readings import Reading, Readings
from tests.doe.sheets.raw_study import RESPONSES, filled, panel_plan, raw_brief

Cells = Mapping[tuple[str, int, str], Any]
UPTAKE, CUT, VISCOSITY = "Water uptake", "Cross-cut", "Rotational viscosity"
BEFORE, WET = "mass before (g)", "mass wet (g)"


@pytest.fixture
def study() -> Study:
    """Give the study whose responses have methods."""
    return raw_brief()


@pytest.fixture
def plan(study: Study) -> Plan:
    """Give its plan."""
    return panel_plan(study)


def entered(study: Study, plan: Plan, cells: Cells) -> WorkbookEntries:
    """Fill a workbook in and read it."""
    return read_workbook(filled(workbook_bytes(study, plan), cells), study, plan)


def faults_of(study: Study, plan: Plan, cells: Cells) -> str:
    """Fill a workbook in and list what is wrong with it."""
    with pytest.raises(ResultsError) as caught:
        entered(study, plan, cells)
    return "\n".join(fault.sentence() for fault in caught.value.faults)


def bare(readings: tuple[Reading, ...]) -> list[tuple[object, ...]]:
    """Give what counts of readings."""
    return [(*one.key, one.flag, one.value, one.value_to) for one in readings]


def test_blank_sheets_say_nothing(study: Study, plan: Plan) -> None:
    """Blank is pending."""
    entries = entered(study, plan, {})

    assert (entries.readings, dict(entries.raw), entries.shown, entries.findings) == (
        (),
        {},
        (),
        (),
    )


def test_raw_readings_come_back_by_test(study: Study, plan: Plan) -> None:
    """With run, panel, age, repeat, the column, and the cell they stood in."""
    entries = entered(
        study,
        plan,
        {
            (UPTAKE, 2, BEFORE): 0.5, (UPTAKE, 2, WET): "> 0.6", (UPTAKE, 2, "note"): "edge lifted",
            (VISCOSITY, 1, "viscosity (mPa·s)"): "gelled", (CUT, 1, "cross-cut rating"): "4b",
            (CUT, 2, "cross-cut rating"): 3,
        },
    )  # fmt: skip

    assert bare(entries.raw["water uptake"]) == [
        (1, 1, 7.0, 1, "mass before", "ok", 0.5, None),
        (1, 1, 7.0, 1, "mass wet", "above", 0.6, None),
    ]
    assert entries.raw["water uptake"][0].source == "bench.xlsx, Water uptake J9"
    assert entries.raw["water uptake"][0].because == "edge lifted"
    assert bare(entries.raw["rotational viscosity"]) == [
        (1, None, 1.0, 1, "viscosity", "gelled", None, None)
    ]
    assert bare(entries.raw["cross-cut"]) == [
        (1, 1, None, 1, "cross-cut rating", "ok", 4.0, None),
        (2, 2, None, 1, "cross-cut rating", "ok", 3.0, None),
    ]


def test_spare_line_is_the_next_repeat_of_the_unit(study: Study, plan: Plan) -> None:
    """Under the first run of the batch, whichever of its runs is named."""
    per_batch = raw_brief([{"name": "KU", "from": "Krebs units as read", "per": "batch"}])
    sheet, head = "Krebs units", "Krebs units (KU)"
    cells: Cells = {(sheet, 2, head): 91, (sheet, 4, "run"): 4, (sheet, 4, head): 93}
    entries = entered(per_batch, plan, cells)

    assert bare(entries.raw["Krebs units"]) == [
        (3, None, None, 1, "Krebs units", "ok", 91.0, None),
        (3, None, None, 2, "Krebs units", "ok", 93.0, None),
    ]


def test_spare_line_needs_its_age_where_there_are_several(study: Study, plan: Plan) -> None:
    """A film of one day and one of seven are no repeats of each other."""
    cells: Cells = {(UPTAKE, 11, "run"): 1, (UPTAKE, 11, BEFORE): 0.5}

    assert "the readings of this row have no age beside them; allowed: 1 or 7 d" in faults_of(
        study, plan, cells
    )
    aged = entered(study, plan, {**cells, (UPTAKE, 11, "age (d)"): 8})
    assert bare(aged.raw["water uptake"])[0][2] == 8.0
    assert "run 1 is read at 8 d, which no response" in aged.findings[0].what


def test_date_and_card_come_back_as_notes_of_the_unit(study: Study, plan: Plan) -> None:
    """They are written again into the next workbook."""
    cells: Cells = {
        (UPTAKE, 3, "date drawn"): datetime.date(2026, 3, 14),
        ("Drawdowns", 3, "card as drawn"): "lot 7, card 3",
    }
    actuals = entered(study, plan, cells).actuals
    again = read_workbook(workbook_bytes(study, plan, None, actuals), study, plan)

    assert [(one.unit, one.what, one.value) for one in actuals] == [
        ("panel 2", "water uptake: date begun", "2026-03-14"),
        ("sample 2", "tinted drawdown: card", "lot 7, card 3"),
    ]
    assert again.actuals == actuals


def test_what_was_read_and_written_again_reads_the_same(study: Study, plan: Plan) -> None:
    """A workbook may be entered as often as it grows; repeats move to lines of their own."""
    first = entered(
        study,
        plan,
        {
            (UPTAKE, 2, WET): 0.5425, (UPTAKE, 11, "run"): 1, (UPTAKE, 11, "age (d)"): 7,
            (UPTAKE, 11, WET): "5 to 10", (CUT, 1, "cross-cut rating"): "4B",
            (VISCOSITY, 4, "viscosity (mPa·s)"): "< 5",
        },
    )  # fmt: skip
    raw = {name: Readings(rows=rows) for name, rows in first.raw.items()}
    second = read_workbook(workbook_bytes(study, plan, raw=raw), study, plan)

    assert {name: bare(rows) for name, rows in second.raw.items()} == {
        name: bare(rows) for name, rows in first.raw.items()
    }


def test_faults_come_together_with_sheet_and_cell(study: Study, plan: Plan) -> None:
    """As in the sheet of readings."""
    every = faults_of(
        study,
        plan,
        {
            (UPTAKE, 1, BEFORE): "heavy", (UPTAKE, 12, WET): 0.5, (UPTAKE, 13, "run"): 99,
            (UPTAKE, 13, WET): 0.5, (CUT, 1, "cross-cut rating"): "7B",
            (CUT, 2, "cross-cut rating"): 9, (UPTAKE, 3, "panel"): 4, (UPTAKE, 3, WET): 0.5,
            ("Readings", 1, "foam"): "much",
        },
    )  # fmt: skip

    assert "sheet 'Water uptake', cell J8: 'heavy' is not a number" in every
    assert "cell A19: the readings of this row have no run number" in every
    assert "cell A20: run 99 is not in the plan" in every
    assert "'7B' is no rating of this test; allowed: '0B', '1B'" in every
    assert "'9' is no rating of this test" in every
    assert "panel 4 stands beside run 2; allowed: panel 2" in every
    assert "sheet 'Readings', cell G4: 'much' is not a number" in every
    assert every.count("\n") == 6


def test_two_values_for_one_raw_reading_are_refused(study: Study, plan: Plan) -> None:
    """Same run, age and repeat."""
    cells: Cells = {
        (UPTAKE, 1, WET): 0.5, (UPTAKE, 11, "run"): 1, (UPTAKE, 11, "age (d)"): 1,
        (UPTAKE, 11, "repeat"): 1, (UPTAKE, 11, WET): 0.6,
    }  # fmt: skip

    assert "run 1, age 1 d, repeat 1, 'mass wet' stands twice, as 0.6 and" in faults_of(
        study, plan, cells
    )


def test_workbook_of_one_laboratory_can_be_entered_alone(study: Study, plan: Plan) -> None:
    """And says nothing of the responses that it was not written for."""
    data = lab_workbook_bytes(study, plan, ["uptake", "foam"], Known.of(Readings(), (), {}))
    entries = read_workbook(filled(data, {(UPTAKE, 1, WET): 0.5, ("Readings", 1, "foam"): 2}),
                            study, plan)  # fmt: skip

    assert len(entries.raw["water uptake"]) == 1
    assert [one.response for one in entries.readings] == ["foam"]
    assert entries.findings == ()


def test_workbook_from_before_a_method_was_named_is_still_read(plan: Plan) -> None:
    """Its column holds values of the response, entered as they are."""
    plain = raw_brief([{"name": "uptake", "unit": "% m/m", "per": "panel"}])
    named = raw_brief([one for one in RESPONSES if one["name"] == "uptake"])
    data = filled(workbook_bytes(plain, plan), {("Readings", 1, "uptake (% m/m)"): 8.5})

    assert [(one.response, one.value) for one in read_workbook(data, named, plan).readings] == [
        ("uptake", 8.5)
    ]


def test_test_that_no_response_reads_any_more_is_named(study: Study, plan: Plan) -> None:
    """Goals may change at any time; a sheet without entries is no news."""
    data = filled(workbook_bytes(study, plan), {(UPTAKE, 1, WET): 0.5})
    without = raw_brief([one for one in RESPONSES if one["name"] in ("foam", "adhesion")])
    findings = read_workbook(data, without, plan).findings

    assert [one.what for one in findings] == [
        "The sheet 'Water uptake' is left out; no response of the brief reads it."
    ]


@pytest.mark.parametrize(("separator", "comma"), [(",", "."), (";", ","), ("\t", ",")])
def test_sheet_saved_as_text_reads_like_the_workbook(
    study: Study, plan: Plan, separator: str, comma: str
) -> None:
    """Title and cautions stand above the headers; empty cells fill the lines."""
    number = f"0{comma}5425"
    lines = [
        ["Water uptake"],
        ["Follow the safety data sheets."],
        ["run", "panel", "age (d)", "repeat", "date drawn", BEFORE, WET, "mass re-dried (g)"],
        ["1", "1", "1", "1", "2026-03-14", f"0{comma}5", number, ""],
        ["1", "1", "7", "1", "2026-03-14", "", "lost", ""],
    ]
    text = "\n".join(separator.join([*line, *[""] * (8 - len(line))]) for line in lines)
    entries = read_sheet_text(text.encode(), study, plan, "uptake.csv")

    assert entries is not None
    assert bare(entries.raw["water uptake"]) == [
        (1, 1, 1.0, 1, "mass before", "ok", 0.5, None),
        (1, 1, 1.0, 1, "mass wet", "ok", 0.5425, None),
        (1, 1, 7.0, 1, "mass wet", "lost", None, None),
    ]
    assert entries.raw["water uptake"][0].source == "uptake.csv, Water uptake F4"
    assert read_sheet_text(b"run;KU\n1;91", study, plan, "other.csv") is None
