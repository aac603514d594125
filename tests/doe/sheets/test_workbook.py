"""The bench workbook as it leaves us."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook import Workbook

from doe.errors import PlanError
from doe.sheets.workbook import workbook_bytes
from doe.study.brief import Study
from doe.study.plan import Plan
from doe.study.readings import Actual, Reading, Readings


def opened(data: bytes) -> Workbook:
    """Open a workbook as a spreadsheet would."""
    return openpyxl.load_workbook(io.BytesIO(data))


@pytest.fixture
def book(study: Study, plan: Plan) -> Workbook:
    """Write the workbook of the invented study and open it."""
    return opened(workbook_bytes(study, plan))


def texts(book: Workbook, sheet: str) -> list[str]:
    """List every text of a sheet."""
    return [str(c.value) for row in book[sheet].iter_rows() for c in row if c.value is not None]


def test_same_study_gives_the_same_bytes(study: Study, plan: Plan) -> None:
    """No clock inside: neither in the archive nor in its properties."""
    data = workbook_bytes(study, plan)

    assert data == workbook_bytes(study, plan)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert {one.date_time[0] for one in archive.infolist()} == {1980}
        assert archive.read("docProps/core.xml").count(b"1980-01-01T00:00:00Z") == 2


def test_readings_sheet_gives_no_settings_away(book: Workbook) -> None:
    """Whoever reads panels sees numbers of units alone, and no kind of run."""
    heads = [cell.value for cell in book["Readings"][3]]

    assert heads == [
        "run", "day", "batch", "sample", "repeat", "viscosity (mPa·s)", "foam", "颜色强度 (%)",
        "note",
    ]  # fmt: skip
    assert not {"control", "ammonia", "design"} & set(" ".join(texts(book, "Readings")).split())


def test_targets_of_a_batch_add_to_the_batch(book: Workbook) -> None:
    """Water at first, water held back, and all else make 500 g."""
    grams = [row[3].value for row in book["Weigh-out"]["A4:E16"] if row[4].value == "g"]

    assert sum(one for one in grams if one) + 25.0 == pytest.approx(500.0)


def test_names_that_look_like_formulas_are_text(book: Workbook) -> None:
    """A name may begin with an equals sign; a spreadsheet must not run it."""
    cell = book["Weigh-out"]["B8"]

    assert (cell.value, cell.data_type) == ("=wetting agent", "s")
    assert cell.quotePrefix


def test_only_entry_cells_are_open(book: Workbook) -> None:
    """Plans stand still under a bench worker's hands."""
    weighing, readings = book["Weigh-out"], book["Readings"]

    assert weighing.protection.sheet
    assert readings.protection.sheet
    assert weighing["D8"].protection.locked
    assert not weighing["F8"].protection.locked
    assert readings["A4"].protection.locked
    assert not readings["F4"].protection.locked
    assert not readings["A9"].protection.locked


def test_response_of_a_batch_is_asked_once(book: Workbook) -> None:
    """The second run of a batch has its cell closed."""
    assert not book["Readings"]["G4"].protection.locked
    assert book["Readings"]["G5"].protection.locked


def test_day_setting_is_asked_once_a_day(book: Workbook) -> None:
    """Two batches share day 1."""
    asked = [
        row[0].value for row in book["Weigh-out"]["A4:B41"] if row[1].value == "mill temperature"
    ]

    assert asked == ["day 1", "day 2"]


def test_grams_are_checked_by_the_spreadsheet(book: Workbook) -> None:
    """A decimal of 0 or more; levels from a list."""
    rules = book["Weigh-out"].data_validations.dataValidation
    by_type = {rule.type: rule for rule in rules}

    assert "F8" in by_type["decimal"].sqref or any(
        "F8" in rule.sqref and rule.operator == "greaterThanOrEqual" for rule in rules
    )
    assert by_type["list"].formula1 == '"ammonia,sodium hydroxide"'


def test_sheets_print_on_a4_across_with_headers(book: Workbook) -> None:
    """Every page repeats the header row."""
    for title in ("Weigh-out", "Samples", "Readings"):
        sheet = book[title]

        assert (sheet.page_setup.paperSize, sheet.page_setup.orientation) == (9, "landscape")
        assert sheet.print_title_rows == "$3:$3"
        assert sheet.freeze_panes is not None


def test_cautions_and_notation_stand_on_the_first_sheet(book: Workbook) -> None:
    """With seed and region, so that a sheet on its own can be placed."""
    words = " ".join(texts(book, "Read me"))

    for needed in ("safety data sheets", "gelled, lost, > 5000", "Seed 7", "region hash", "dust"):
        assert needed in words


def test_known_readings_and_actuals_stand_in_their_cells(study: Study, plan: Plan) -> None:
    """A workbook written again shows what was entered."""
    readings = Readings(
        rows=(
            Reading(id=1, run=1, response="viscosity", value=812.5),
            Reading(id=2, run=2, response="viscosity", value=5000.0, flag="above"),
            Reading(id=3, run=2, repeat=2, response="viscosity", flag="gelled"),
        )
    )
    actuals = (Actual(unit="batch 1", what="defoamer", value="2.01"),)
    book = opened(workbook_bytes(study, plan, readings, actuals))

    assert [book["Readings"][cell].value for cell in ("F4", "F5", "F6")] == [
        812.5, "> 5000", "gelled",
    ]  # fmt: skip
    assert book["Weigh-out"]["F10"].value == 2.01


def test_infeasible_recipe_is_refused(brief: dict[str, Any], plan: Plan) -> None:
    """No sheet for what cannot be weighed."""
    brief["millbase"]["pigment_percent"] = 99.0

    with pytest.raises(PlanError, match="no room is left for water"):
        workbook_bytes(Study.model_validate(brief), plan)


def test_study_without_a_mill_base_still_has_sheets(brief: dict[str, Any], plan: Plan) -> None:
    """Settings, order and readings are asked for; grams are not."""
    for section in ("millbase", "letdown", "tint"):
        del brief[section]
    book = opened(workbook_bytes(Study.model_validate(brief), plan))

    assert "water" not in texts(book, "Weigh-out")
    assert "neutraliser" in texts(book, "Weigh-out")
