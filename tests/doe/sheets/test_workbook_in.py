"""The bench workbook as it comes back."""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable, Mapping
from typing import Any

import openpyxl
import pytest

from doe.errors import ResultsError
from doe.sheets.workbook import workbook_bytes
from doe.sheets.workbook_in import read_workbook
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.readings import Readings
from doe.study.settings import Settings

Fill = Callable[[Mapping[tuple[str, str], Any]], bytes]
READ, WEIGH = "Readings", "Weigh-out"


def faults_of(data: bytes, study: Study, plan: Plan) -> list[str]:
    """Read a workbook that cannot be taken in, and list what is wrong with it."""
    with pytest.raises(ResultsError) as caught:
        read_workbook(data, study, plan)
    return [fault.sentence() for fault in caught.value.faults]


def saved(book: openpyxl.Workbook) -> bytes:
    """Save a workbook."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_blank_workbook_says_nothing(study: Study, plan: Plan, fill: Fill) -> None:
    """Blank is pending."""
    entries = read_workbook(fill({}), study, plan)

    assert (entries.readings, entries.actuals, entries.findings) == ((), (), ())


def test_numbers_and_flags_come_back(study: Study, plan: Plan, fill: Fill) -> None:
    """With run, repeat, response and the cell they stood in."""
    data = fill(
        {
            (READ, "F4"): 812.5, (READ, "F5"): "> 5000", (READ, "F6"): "Gelled",
            (READ, "F7"): "< 5", (READ, "F8"): "lost", (READ, "H4"): "5 to 10",
            (READ, "G4"): 3, (READ, "I8"): "can leaked",
        }
    )  # fmt: skip
    said = {
        (one.run, one.response): (one.flag, one.value, one.value_to)
        for one in read_workbook(data, study, plan).readings
    }

    assert said == {
        (1, "viscosity"): ("ok", 812.5, None),
        (2, "viscosity"): ("above", 5000.0, None),
        (3, "viscosity"): ("gelled", None, None),
        (4, "viscosity"): ("below", 5.0, None),
        (5, "viscosity"): ("lost", None, None),
        (1, "foam"): ("ok", 3.0, None),
        (1, "颜色强度"): ("between", 5.0, 10.0),
    }


def test_source_and_note_travel_with_a_reading(study: Study, plan: Plan, fill: Fill) -> None:
    """A lost reading keeps its reason."""
    data = fill({(READ, "F8"): "lost", (READ, "I8"): "can leaked"})
    entries = read_workbook(data, study, plan, source="monday.xlsx")

    assert entries.readings[0].source == "monday.xlsx, Readings F8"
    assert entries.readings[0].because == "can leaked"
    assert "can leaked" in entries.findings[0].what


def test_actuals_come_back_by_unit_and_name(study: Study, plan: Plan, fill: Fill) -> None:
    """Grams, pH reached, order, day, level, and the date they were done on."""
    data = fill(
        {
            (WEIGH, "F4"): 31.5, (WEIGH, "F5"): "Ammonia", (WEIGH, "F9"): 8.81,
            (WEIGH, "F12"): 8.55, (WEIGH, "F14"): 2, (WEIGH, "F15"): 1,
            (WEIGH, "F16"): datetime.date(2026, 3, 14), ("Samples", "E4"): 15.5,
            ("Samples", "G4"): 25.02,
        }
    )  # fmt: skip
    actuals = read_workbook(data, study, plan).actuals

    assert [(one.unit, one.what, one.value, one.when) for one in actuals] == [
        ("day 1", "mill temperature", "31.5", ""),
        ("batch 1", "neutraliser", "ammonia", "2026-03-14"),
        ("batch 1", "диспергатор", "8.81", "2026-03-14"),
        ("batch 1", "pH", "8.55", "2026-03-14"),
        ("batch 1", "order", "2", "2026-03-14"),
        ("batch 1", "day", "1", "2026-03-14"),
        ("sample 1", "grind time", "15.5", ""),
        ("sample 1", "let-down: mill base", "25.02", ""),
    ]


def test_what_was_read_and_written_again_reads_the_same(
    study: Study, plan: Plan, fill: Fill
) -> None:
    """A workbook may be entered as often as it grows."""
    cells: dict[tuple[str, str], object] = {
        (READ, "F4"): 812.5, (READ, "F5"): "> 5000", (READ, "F9"): 900.0, (READ, "A9"): 1,
        (READ, "H6"): "5 to 10", (WEIGH, "F10"): 2.01, ("Samples", "E4"): 15.5,
    }  # fmt: skip
    first = read_workbook(fill(cells), study, plan)
    again = workbook_bytes(study, plan, Readings(rows=first.readings), first.actuals)
    second = read_workbook(again, study, plan)

    def bare(entries: Any) -> set[Any]:
        return {(one.key, one.value, one.value_to, one.flag) for one in entries.readings}

    assert bare(second) == bare(first)
    assert second.actuals == first.actuals


def test_second_reading_on_a_spare_line_is_the_next_repeat(
    study: Study, plan: Plan, fill: Fill
) -> None:
    """Its run is typed, its repeat may be left blank."""
    data = fill({(READ, "F4"): 800.0, (READ, "A9"): 1, (READ, "F9"): 820.0})
    repeats = [one.repeat for one in read_workbook(data, study, plan).readings]

    assert repeats == [1, 2]


def test_decimal_commas_typed_as_text_are_understood(study: Study, plan: Plan, fill: Fill) -> None:
    """And said once."""
    data = fill(
        {
            (READ, "F4"): "812,5",
            (READ, "F5"): "1.234,5",
            (READ, "F6"): "> 0,5",
            (WEIGH, "F9"): "8,8",
        }
    )
    entries = read_workbook(data, study, plan)

    assert [one.value for one in entries.readings] == [812.5, 1234.5, 0.5]
    assert entries.actuals[0].value == "8.8"
    assert [one.what for one in entries.findings] == [
        "Numbers typed as text are read with a decimal comma."
    ]


def test_text_that_allows_both_decimal_signs_is_refused(
    study: Study, plan: Plan, fill: Fill
) -> None:
    """1,234 alone may be a thousand or one."""
    (fault,) = faults_of(fill({(READ, "F4"): "1,234"}), study, plan)

    assert "cell F4" in fault
    assert "decimal comma or with groups of thousands" in fault


def test_both_decimal_signs_in_one_file_are_refused(study: Study, plan: Plan, fill: Fill) -> None:
    """Both cells are named."""
    (fault,) = faults_of(fill({(READ, "F4"): "1,5", (READ, "F5"): "1.5"}), study, plan)

    assert "cell F5" in fault
    assert "cell F4" in fault


def test_all_faults_come_together_with_sheet_and_cell(study: Study, plan: Plan, fill: Fill) -> None:
    """One round of mending is enough."""
    faults = faults_of(
        fill(
            {
                (READ, "F4"): "thick", (READ, "F5"): datetime.datetime(2026, 5, 1),
                (READ, "A9"): 99, (READ, "F9"): 1.0, (READ, "F10"): 2.0, (READ, "H4"): "12 %",
                (WEIGH, "F8"): -1.0, (WEIGH, "F5"): "lime", (WEIGH, "F16"): "yesterday",
                ("Samples", "E4"): "long",
            }
        ),
        study,
        plan,
    )  # fmt: skip
    every = "\n".join(faults)

    assert len(faults) == 9
    assert "sheet 'Readings', cell F4: 'thick' is not a number; allowed: a number, or" in every
    assert "cell F5: '2026-05-01' is a date or time" in every
    assert "turned 1.5 into it" in every
    assert "cell A9: run 99 is not in the plan; allowed: runs 1 to 5" in every
    assert "cell A10: the readings of this row have no run number" in every
    assert "cell H4: '12 %' is more than a number" in every
    assert "sheet 'Weigh-out', cell F8: -1 g were weighed" in every
    assert (
        "cell F5: 'lime' is no level of the brief; allowed: 'ammonia', 'sodium hydroxide'" in every
    )
    assert "cell F16: 'yesterday' is no date" in every
    assert "sheet 'Samples', cell E4: 'long' is not a number" in every


def test_renamed_column_is_named_with_its_cell(study: Study, plan: Plan, fill: Fill) -> None:
    """What stands there instead is shown."""
    (fault,) = faults_of(fill({(READ, "F3"): "viscosity [Pa s]"}), study, plan)

    assert "cell F3: the column 'viscosity (mPa·s)' is missing" in fault
    assert "'viscosity [Pa s]' stands there instead" in fault


def test_missing_sheets_are_named_together(study: Study, plan: Plan) -> None:
    """Readings and samples deleted."""
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(study, plan)))
    del book["Readings"], book["Samples"]
    faults = faults_of(saved(book), study, plan)

    assert [fault.split(";")[0] for fault in faults] == [
        "bench.xlsx: the sheet 'Samples' is missing. Enter the workbook with all its sheets, "
        "under their own names.",
        "bench.xlsx: the sheet 'Readings' is missing. Enter the workbook with all its sheets, "
        "under their own names.",
    ]


def test_workbook_of_another_plan_is_refused(study: Study, plan: Plan, fill: Fill) -> None:
    """The same numbers of runs, but other settings."""
    values = plan.settings.values.copy()
    values[2, 2] = 2.4
    other = Plan(
        settings=Settings(names=plan.settings.names, values=values, labels=plan.settings.labels),
        run=plan.run, round=plan.round, day=plan.day, batch=plan.batch, sample=plan.sample,
        panel=plan.panel, kind=plan.kind, rounds=plan.rounds,
    )  # fmt: skip
    (fault,) = faults_of(fill({}), study, other)

    assert "another study or plan: its run 3 is not as plan.csv has them" in fault


def test_workbook_of_a_shorter_plan_still_counts(study: Study, plan: Plan) -> None:
    """The plan was extended since."""
    rows = range(4)
    short = Plan(
        settings=plan.settings.take(list(rows)), run=plan.run[:4], round=plan.round[:4],
        day=plan.day[:4], batch=plan.batch[:4], sample=plan.sample[:4], panel=plan.panel[:4],
        kind=plan.kind[:4], rounds=plan.rounds,
    )  # fmt: skip
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(study, short)))
    book[READ]["F4"] = 812.5

    assert len(read_workbook(saved(book), study, plan).readings) == 1


def test_other_workbooks_are_refused_in_a_sentence(study: Study, plan: Plan) -> None:
    """A bare workbook, and a file that is none."""
    assert "no bench workbook of millbase" in faults_of(saved(openpyxl.Workbook()), study, plan)[0]
    assert "cannot be opened as an XLSX workbook" in faults_of(b"run;pH\n1;8", study, plan)[0]


def test_half_sorted_sheet_is_caught(study: Study, plan: Plan, fill: Fill) -> None:
    """Run 1 beside the batch of another run."""
    (fault,) = faults_of(fill({(READ, "A4"): 3, (READ, "D4"): 3, (READ, "F4"): 1.0}), study, plan)

    assert "cell C4: batch 1 stands beside run 3; allowed: batch 2" in fault


def test_rows_in_another_order_read_the_same(study: Study, plan: Plan, fill: Fill) -> None:
    """Identity is in the row, not in its place."""
    cells: dict[tuple[str, str], object] = {}
    for row, run in zip(range(4, 9), (5, 4, 3, 2, 1), strict=True):
        numbers = (
            run,
            plan.day[run - 1],
            plan.batch[run - 1],
            plan.sample[run - 1],
            1,
            100.0 * run,
        )
        cells |= {
            (READ, f"{column}{row}"): value for column, value in zip("ABCDEF", numbers, strict=True)
        }
    said = {one.run: one.value for one in read_workbook(fill(cells), study, plan).readings}

    assert said == {1: 100.0, 2: 200.0, 3: 300.0, 4: 400.0, 5: 500.0}


def test_two_values_for_one_reading_are_refused(study: Study, plan: Plan, fill: Fill) -> None:
    """The same value twice does no harm."""
    cells: dict[tuple[str, str], object] = {
        (READ, "F4"): 800.0, (READ, "A9"): 1, (READ, "E9"): 1, (READ, "F9"): 820.0,
    }  # fmt: skip
    (fault,) = faults_of(fill(cells), study, plan)

    assert "run 1, repeat 1, 'viscosity' stands twice, as 820 and" in fault
    assert len(read_workbook(fill({**cells, (READ, "F9"): 800.0}), study, plan).readings) == 1


def test_transposed_weighing_is_suspected(study: Study, plan: Plan, fill: Fill) -> None:
    """Each grams fits the other's target."""
    data = fill({(WEIGH, "F8"): 8.8, (WEIGH, "F9"): 1.467})
    (finding,) = read_workbook(data, study, plan).findings

    assert finding.what.startswith("batch 1: '=wetting agent' and 'диспергатор' look transposed")


def test_sample_weighed_off_target_is_named(study: Study, plan: Plan, fill: Fill) -> None:
    """A white reduction a tenth too heavy shifts the colour strength."""
    (finding,) = read_workbook(fill({("Samples", "I4"): 2.2}), study, plan).findings

    assert "sample 1: 2.2 g of 'white reduction: let-down' were weighed for 2 g" in finding.what


def test_response_in_another_unit_is_refused(brief: dict[str, Any], plan: Plan, fill: Fill) -> None:
    """The brief was changed from mPa·s to Pa·s."""
    brief["response"][0]["unit"] = "Pa·s"
    (fault,) = faults_of(fill({(READ, "F4"): 812.5}), Study.model_validate(brief), plan)

    assert "'viscosity' is entered in mPa·s, but the brief has it in Pa·s" in fault


def test_response_dropped_or_added_since_is_said(
    brief: dict[str, Any], plan: Plan, fill: Fill
) -> None:
    """Goals may change at any time."""
    brief["response"][0]["name"] = "yield stress"
    study = Study.model_validate(brief)
    entries = read_workbook(fill({(READ, "F4"): 812.5, (READ, "G4"): 3}), study, plan)

    assert [one.response for one in entries.readings] == ["foam"]
    assert [one.what for one in entries.findings] == [
        "Sheet 'Readings': the column 'viscosity (mPa·s)' is left out; the brief has no such "
        "response.",
        "The workbook has no column for 'yield stress'.",
    ]


def test_brief_changed_since_is_said(brief: dict[str, Any], plan: Plan, fill: Fill) -> None:
    """A wider range leaves the runs as they were."""
    brief["factor"][0]["high"] = 3.0
    entries = read_workbook(fill({}), Study.model_validate(brief), plan)

    assert "the brief has changed since" in entries.findings[0].what


def test_excluded_reading_shown_in_its_cell_is_no_news(
    study: Study, plan: Plan, fill: Fill
) -> None:
    """It stands in the study already."""
    assert read_workbook(fill({(READ, "F4"): "excluded"}), study, plan).readings == ()


def test_formula_without_a_value_is_named(study: Study, plan: Plan, fill: Fill) -> None:
    """Written by a program that does not compute."""
    (fault,) = faults_of(fill({(READ, "F4"): "=10.5+2"}), study, plan)

    assert "cell F4: the cell holds a formula that has not been computed" in fault


def test_line_of_an_unknown_material_is_refused(study: Study, plan: Plan, fill: Fill) -> None:
    """A name overwritten in an unprotected sheet."""
    (fault,) = faults_of(fill({(WEIGH, "B10"): "thickener", (WEIGH, "F10"): 2.0}), study, plan)

    assert "cell F10: 'thickener' of batch 1 is not asked for by the plan" in fault
