"""The bench workbook through a real spreadsheet program, in two languages, and back."""

from __future__ import annotations

import datetime
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from doe.sheets.sheet_text_in import read_sheet_text
from doe.sheets.workbook import workbook_bytes
from doe.sheets.workbook_in import WorkbookEntries, read_workbook
from doe.study.readings import Reading
from tests.doe.sheets.raw_study import filled, panel_plan, raw_brief

OFFICE = shutil.which("soffice")
pytestmark = pytest.mark.skipif(
    OFFICE is None, reason="LibreOffice Calc (soffice) is not installed: nothing to go through"
)

STUDY = raw_brief()
PLAN = panel_plan(STUDY)
UPTAKE = "Water uptake"
BEFORE, WET, DRY = "mass before (g)", "mass wet (g)", "mass re-dried (g)"


def cells_in(sign: str) -> dict[tuple[str, int, str], Any]:
    """Fill in what a user types, flags with their own decimal sign.

    The film: 0.5000 g, wet 0.5425 g, re-dried 0.4960 g give 8.50 % uptake on initial mass and
    0.80 % leached (worked case, calculated).
    """
    return {
        (UPTAKE, 1, "date drawn"): datetime.date(2026, 3, 14),
        (UPTAKE, 2, BEFORE): 0.5, (UPTAKE, 2, WET): 0.5425, (UPTAKE, 2, DRY): 0.496,
        (UPTAKE, 4, BEFORE): f"> 0{sign}6", (UPTAKE, 4, WET): "lost",
        (UPTAKE, 11, "run"): 1, (UPTAKE, 11, "age (d)"): 7, (UPTAKE, 11, BEFORE): 1234.5678,
        ("Cross-cut", 1, "cross-cut rating"): "4B",
        ("Readings", 1, "foam"): 2.25,
    }  # fmt: skip


_LANGUAGE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry"
 xmlns:xs="http://www.w3.org/2001/XMLSchema"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale"
 oor:op="fuse"><value>{locale}</value></prop></item>
</oor:items>
"""
# Semicolons, double quotes, UTF-8, all sheets; numbers as the language writes them.
_AS_TEXT = "csv:Text - txt - csv (StarCalc):59,34,76,1,,0,false,true,false,false,false,-1"


SIGNS = {"en-US": ".", "de-DE": ","}


def start_office(data: bytes, folder: Path, locale: str, target: str) -> subprocess.Popen[bytes]:
    """Have the program open a workbook, compute it, and save it, with a profile of its own."""
    profile = folder / "profile"
    (profile / "user").mkdir(parents=True)
    settings = profile / "user" / "registrymodifications.xcu"
    settings.write_text(_LANGUAGE.format(locale=locale), encoding="utf-8")
    book = folder / "bench.xlsx"
    book.write_bytes(data)
    call = [
        str(OFFICE), f"-env:UserInstallation={profile.as_uri()}", "--headless", "--norestore",
        "--convert-to", target, "--outdir", str(folder / "out"), str(book),
    ]  # fmt: skip
    language = {"LC_ALL": f"{locale.replace('-', '_')}.UTF-8", "HOME": str(folder)}
    return subprocess.Popen(
        call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, **language}
    )


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Give, by language, the workbook as the program saved it, and one sheet as German text.

    All programs start at once, as each takes seconds to come up.
    """
    blank = workbook_bytes(STUDY, PLAN)
    started = {}
    for name, target in (("en-US", "xlsx"), ("de-DE", "xlsx"), ("text", _AS_TEXT)):
        folder = tmp_path_factory.mktemp("office")
        locale = "de-DE" if name == "text" else name
        data = filled(blank, cells_in(SIGNS[locale]))
        started[name] = (folder, start_office(data, folder, locale, target))
    for _, program in started.values():
        assert program.wait(timeout=180) == 0
    files = {"text": f"bench-{UPTAKE}.csv"}
    return {
        name: folder / "out" / files.get(name, "bench.xlsx")
        for name, (folder, _) in started.items()
    }


@pytest.fixture(scope="module", params=["en-US", "de-DE"])
def book(request: pytest.FixtureRequest, saved: dict[str, Path]) -> Path:
    """Give the saved workbook of a language."""
    return saved[request.param]


def bare(readings: tuple[Reading, ...]) -> list[tuple[object, ...]]:
    """Give what counts of readings."""
    return [(*one.key, one.flag, one.value, one.value_to) for one in readings]


def entered(book: Path) -> WorkbookEntries:
    """Read the workbook as the program saved it."""
    return read_workbook(book.read_bytes(), STUDY, PLAN)


def test_what_was_filled_in_is_read_back(book: Path) -> None:
    """Every number, flag, word and date, in either language."""
    entries = entered(book)

    assert {name: bare(rows) for name, rows in entries.raw.items()} == {
        "water uptake": [
            (1, 1, 7.0, 1, "mass before", "ok", 0.5, None),
            (1, 1, 7.0, 1, "mass wet", "ok", 0.5425, None),
            (1, 1, 7.0, 1, "mass re-dried", "ok", 0.496, None),
            (2, 2, 7.0, 1, "mass before", "above", 0.6, None),
            (2, 2, 7.0, 1, "mass wet", "lost", None, None),
            (1, 1, 7.0, 2, "mass before", "ok", 1234.5678, None),
        ],
        "cross-cut": [(1, 1, None, 1, "cross-cut rating", "ok", 4.0, None)],
    }
    assert [(one.response, one.value) for one in entries.readings] == [("foam", 2.25)]
    assert [(one.unit, one.value) for one in entries.actuals] == [("panel 1", "2026-03-14")]
    assert {one.what for one in entries.findings} <= {
        "Numbers typed as text are read with a decimal comma."
    }


def test_spreadsheet_computes_what_the_method_says(book: Path) -> None:
    """Only where all its cells hold numbers."""
    shown = entered(book).shown

    assert [(one.response, one.run, one.panel, one.age_d, one.repeat) for one in shown] == [
        ("uptake", 1, 1, 7.0, 1), ("leached", 1, 1, 7.0, 1),
    ]  # fmt: skip
    assert [one.value for one in shown] == pytest.approx([8.5, 0.8], rel=1e-9)


def test_day_a_film_is_due_follows_from_the_day_it_was_drawn(book: Path) -> None:
    """Seven days after 14 March."""
    sheet = openpyxl.load_workbook(book, data_only=True)[UPTAKE]
    row = next(row for row in range(1, 20) if sheet.cell(row, 1).value == "run")
    due = next(cell.column for cell in sheet[row] if cell.value == "due")

    assert [sheet.cell(row + line, due).value for line in (1, 2)] == [
        datetime.datetime(2026, 3, 15), datetime.datetime(2026, 3, 21),
    ]  # fmt: skip


def test_formulas_without_their_numbers_stay_blank(book: Path) -> None:
    """No error value anywhere on any sheet."""
    sheets = openpyxl.load_workbook(book, data_only=True).worksheets
    errors = [
        f"{sheet.title} {cell.coordinate}: {cell.value}"
        for sheet in sheets
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, str) and cell.value.startswith("#")
    ]

    assert errors == []


def test_sheet_saved_as_text_says_the_same(saved: dict[str, Path]) -> None:
    """With semicolons and decimal commas, the title and the cautions above the headers."""
    data = saved["text"].read_bytes()
    entries = read_sheet_text(data, STUDY, PLAN, "uptake.csv")

    assert b";0,5425;" in data
    assert entries is not None
    assert bare(entries.raw["water uptake"]) == bare(entered(saved["de-DE"]).raw["water uptake"])
