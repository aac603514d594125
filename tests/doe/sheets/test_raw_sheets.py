"""The sheets of raw readings as they leave us."""

from __future__ import annotations

import io
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook import Workbook

from doe.methods.method import RawTable
from doe.methods.raw_columns import BenchTest, bench_tests
from doe.sheets.curve_names import curve_name
from doe.sheets.raw_form import LONGEST_TITLE, raw_forms
from doe.sheets.tests_to_do import tests_to_do as lines_of_tests
from doe.sheets.workbook import Known, lab_workbook_bytes, workbook_bytes
from doe.study.brief import Study
from doe.study.flow_curve_heads import read_label
from doe.study.plan import Plan
from doe.study.readings import Actual, Reading, Readings
from doe.study.reflectance_labels import label_of_text
from tests.doe.sheets.raw_study import heads_of, panel_plan, raw_brief

NOTHING = Known.of(Readings(), (), {})


@pytest.fixture
def study() -> Study:
    """Give the study whose responses have methods."""
    return raw_brief()


@pytest.fixture
def plan(study: Study) -> Plan:
    """Give its plan."""
    return panel_plan(study)


def opened(data: bytes) -> Workbook:
    """Open a workbook as a spreadsheet would."""
    return openpyxl.load_workbook(io.BytesIO(data))


@pytest.fixture
def book(study: Study, plan: Plan) -> Workbook:
    """Write the workbook and open it."""
    return opened(workbook_bytes(study, plan))


def column(book: Workbook, title: str, head: str) -> list[Any]:
    """List what stands below a header."""
    row, heads = heads_of(book[title])
    return [
        book[title].cell(line, heads[head]).value
        for line in range(row + 1, book[title].max_row + 1)
    ]


def words(book: Workbook, title: str) -> str:
    """Join all texts of a sheet."""
    return " ".join(str(c.value) for row in book[title].iter_rows() for c in row if c.value)


def test_each_test_has_a_sheet_and_computed_responses_none(book: Workbook) -> None:
    """Two responses of one test share a sheet; what the recipe gives is not asked for."""
    assert book.sheetnames == [
        "Read me", "Weigh-out", "Samples", "Readings", "Rotational viscosity", "Tinted drawdown",
        "Rub-out", "Water uptake", "Capillary uptake", "Cross-cut", "Drawdowns", "millbase",
    ]  # fmt: skip
    assert set(heads_of(book["Readings"])[1]) & {"viscosity (mPa·s)", "price", "foam"} == {"foam"}


def test_raw_columns_stand_once_with_their_units(book: Workbook) -> None:
    """Uptake and leached part are weighed on the same films."""
    heads = list(heads_of(book["Water uptake"])[1])

    assert heads == [
        "run", "day", "batch", "sample", "panel", "age (d)", "repeat", "date drawn", "due",
        "mass before (g)", "mass wet (g)", "mass re-dried (g)", "computed: uptake (% m/m)",
        "computed: leached (% m/m)", "note",
    ]  # fmt: skip


def test_lines_are_units_at_all_ages_in_bench_order(book: Workbook) -> None:
    """Ages of all responses of the test, and those that a change over storage compares."""
    assert column(book, "Water uptake", "age (d)")[:4] == [1, 7, 1, 7]
    assert column(book, "Water uptake", "run")[:4] == [1, 1, 2, 2]
    assert column(book, "Rotational viscosity", "age (d)")[:2] == [1, 28]
    assert "panel" not in heads_of(book["Rotational viscosity"])[1]
    assert "age (d)" not in heads_of(book["Capillary uptake"])[1]


def test_spare_lines_wait_for_second_readings(book: Workbook) -> None:
    """Their run, age and repeat are open, the rest of their identity is not."""
    sheet = book["Water uptake"]
    row, heads = heads_of(sheet)
    spare = row + 1 + 10

    assert sheet.cell(spare, 1).value is None
    assert sheet.max_row == spare + 5
    for head in ("run", "age (d)", "repeat", "mass wet (g)"):
        assert not sheet.cell(spare, heads[head]).protection.locked
    for head in ("day", "batch", "computed: uptake (% m/m)", "due"):
        assert sheet.cell(spare, heads[head]).protection.locked


def test_formulas_take_cells_and_options(book: Workbook) -> None:
    """Blank while a cell is blank; the area is the brief's, the hours the method's default."""
    (uptake, *_) = column(book, "Water uptake", "computed: uptake (% m/m)")
    (w, *_) = column(book, "Capillary uptake", "computed: w (kg/(m²·h^0.5))")
    row = heads_of(book["Water uptake"])[0] + 1

    assert uptake == (
        f"=IF(AND(ISNUMBER(K{row}),ISNUMBER(J{row})),"
        f'IFERROR(100*(K{row}-J{row})/J{row},"no value"),"")'
    )
    assert "/1000/(0.02*SQRT(24.0))" in w


def test_due_follows_from_the_date_drawn(book: Workbook) -> None:
    """Typed once a unit; its other ages take the date over."""
    row = heads_of(book["Water uptake"])[0] + 1

    assert column(book, "Water uptake", "date drawn")[:2] == [
        None, f'=IF(ISNUMBER(H{row}),H{row},"")',
    ]  # fmt: skip
    assert column(book, "Water uptake", "due")[1] == (
        f'=IF(AND(ISNUMBER(H{row + 1}),ISNUMBER(F{row + 1})),H{row + 1}+F{row + 1},"")'
    )


def test_ratings_have_a_list_and_numbers_a_warning(book: Workbook) -> None:
    """Nothing is refused: a rule warns, and the reader of the workbook checks."""
    rules = book["Cross-cut"].data_validations.dataValidation
    listed = [rule for rule in rules if rule.type == "list"]

    assert [rule.formula1 for rule in listed][1] == '"0B,1B,2B,3B,4B,5B,gelled,lost"'
    assert {rule.errorStyle for rule in listed} == {"warning"}


def test_names_of_curves_read_back_as_their_units(book: Workbook) -> None:
    """The word behind the run tells which of several curves it is; standards go by day."""
    assert column(book, "Rub-out", "save as")[:2] == ["run 1", "run 2"]
    assert column(book, "Rub-out", "save rubbed as")[0] == "run 1 rubbed"
    assert [one for one in column(book, "Tinted drawdown", "save as") if one][5:] == [
        "standard day 1", "standard day 2", "white day 1", "white day 2",
    ]  # fmt: skip
    assert "millbase enter STUDY FILE" in words(book, "Rub-out")
    label = read_label(curve_name("run 7 panel 1", age_d=28.0, repeat=2))
    assert label is not None
    assert (label.run, label.panel, label.age_d, label.repeat) == (7, 1, 28.0, 2)
    curve = label_of_text(curve_name("run 7 panel 1", age_d=28.0, repeat=2, what="over black"))
    assert curve is not None
    assert (curve.run, curve.panel, curve.age_d, curve.repeat) == (7, 1, 28.0, 2)
    assert curve.what == "over black"


def test_cautions_stand_on_the_sheet_of_their_test(book: Workbook) -> None:
    """The general one first; all of them again on the first sheet."""
    for title in ("Cross-cut", "Read me"):
        assert "cut away from the hand" in words(book, title)
        assert "Follow the safety data sheets" in words(book, title)


def test_known_raw_readings_stand_in_their_cells(study: Study, plan: Plan) -> None:
    """A second repeat gets a line of its own; a rating shows its word."""
    raw = {
        "water uptake": Readings(
            rows=(
                Reading(id=1, run=2, panel=2, age_d=7.0, response="mass wet", value=0.5425),
                Reading(id=2, run=2, panel=2, age_d=7.0, repeat=2, response="mass wet",
                        flag="lost"),
                Reading(id=3, run=2, panel=2, age_d=28.0, response="mass wet", value=0.5),
            )
        ),
        "cross-cut": Readings(
            rows=(Reading(id=1, run=1, panel=1, response="cross-cut rating", value=4.0),)
        ),
    }  # fmt: skip
    actuals = (Actual(unit="panel 2", what="water uptake: date begun", value="2026-03-14"),)
    book = opened(workbook_bytes(study, plan, None, actuals, raw))

    assert column(book, "Water uptake", "run")[2:6] == [2, 2, 2, 2]
    assert column(book, "Water uptake", "age (d)")[2:6] == [1, 7, 7, 28]
    assert column(book, "Water uptake", "mass wet (g)")[2:6] == [None, 0.5425, "lost", 0.5]
    assert str(column(book, "Water uptake", "date drawn")[2])[:10] == "2026-03-14"
    assert column(book, "Cross-cut", "cross-cut rating")[0] == "4B"


def test_workbook_of_one_laboratory_has_its_sheets_alone(study: Study, plan: Plan) -> None:
    """No recipes, no settings; a change over storage asks for what it compares."""
    uptake = opened(lab_workbook_bytes(study, plan, ["leached"], NOTHING))
    change = opened(lab_workbook_bytes(study, plan, ["thickening", "foam"], NOTHING))

    assert uptake.sheetnames == ["Read me", "Water uptake", "millbase"]
    assert change.sheetnames == ["Read me", "Readings", "Rotational viscosity", "millbase"]
    assert "ammonia" not in words(uptake, "Read me") + words(uptake, "Water uptake")


def test_titles_keep_to_what_spreadsheets_allow(plan: Plan) -> None:
    """31 signs, no brackets, colons, stars, slashes; no two alike, none that is taken."""
    names = ["a/b: [c]*?", "x" * 40, "x" * 41, "readings", "history"]
    tests = [BenchTest(table=RawTable(name=name), per="sample", responses=()) for name in names]
    titles = [form.title for form in raw_forms(tests, plan, ["Readings"])]

    assert titles == [
        "A b c", "X" + "x" * 30, "X" + "x" * 28 + " 2", "Readings 2", "History 2",
    ]  # fmt: skip
    assert max(map(len, titles)) == LONGEST_TITLE


def test_cards_list_the_tests_with_their_ages(study: Study) -> None:
    """A line for each unit."""
    assert lines_of_tests(study) == (
        "each batch: foam",
        "each sample: rotational viscosity at 1 and 28 d, tinted drawdown, rub-out",
        "each panel: water uptake at 1 and 7 d, capillary uptake, cross-cut",
    )
    assert len(bench_tests(study)) == 6
