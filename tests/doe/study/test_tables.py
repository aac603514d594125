"""Tables as they come: separators, signs, encodings, dates, workbooks, and all their faults."""

from __future__ import annotations

import datetime
import io
from pathlib import Path

import pytest
from openpyxl import Workbook

from doe.errors import Fault, ResultsError, StudyError
from doe.study.csv_text import guard_text, restore_text, write_csv
from doe.study.numerals import date_meant, half_last_digit, number_text, parse_number
from doe.study.tables import Table, read_table


def _file(folder: Path, content: str | bytes, name: str = "bench.csv") -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _workbook(*rows: list[object], title: str = "Runs") -> bytes:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _faults(source: Path | bytes, **options: str) -> list[str]:
    with pytest.raises(ResultsError) as caught:
        read_table(source, **options)
    return [fault.sentence() for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("content", "decimal", "said"),
    [
        ("run,pH\n1,8.5\n", ".", ""),
        ("run;pH\n1;8,5\n", ",", "semicolons and the decimal sign is the comma"),
        ("run;pH\n1;8.5\n", ".", "semicolons and the decimal sign is the point"),
        ("run\tpH\n1\t8,5\n", ",", "tabs and the decimal sign is the comma"),
        ('run,pH\n1,"8,5"\n', ",", "the decimal sign is the comma"),
        ("sep=;\nrun;pH\n1;8,5\n", ",", "semicolons"),
        ("run;viscosity, 20 °C;pH\n1;300,5;8,5\n", ",", "semicolons"),
        ("\n\nrun;pH\r\n1;8,5\r\n;;\r\n", ",", "semicolons"),
    ],
)
def test_separator_and_decimal_sign_are_decided_once_and_said(
    tmp_path: Path, content: str, decimal: str, said: str
) -> None:
    """A reading by the wrong sign is a factor of a thousand that nobody sees."""
    table = read_table(_file(tmp_path, content))

    assert table.number(0, "pH") == 8.5
    assert table.number(0, "run") == 1
    assert table.decimal == decimal
    assert said in " ".join(note.what for note in table.notes)
    assert bool(table.notes) == bool(said)


@pytest.mark.parametrize("content", ["a;b\n1;1,234\n", 'a,b\n1,"1,234"\n', "a\tb\n> 1.234\t2\n"])
def test_a_file_that_allows_both_readings_is_refused_with_both(
    tmp_path: Path, content: str
) -> None:
    """1,234 is either twelve hundred or a little over one."""
    (said,) = _faults(_file(tmp_path, content))

    assert "1234 (decimal" in said
    assert "1.234 (decimal" in said
    assert "line 2" in said


def test_three_decimals_between_commas_are_no_thousands(tmp_path: Path) -> None:
    """A thousands point goes with a decimal comma, and such files use semicolons."""
    table = read_table(_file(tmp_path, "a,b\n1.234,2.345\n"))

    assert table.number(0, "a") == 1.234
    assert table.notes == ()


def test_a_grouped_number_beside_clear_ones_is_read_and_said(tmp_path: Path) -> None:
    """One cell decides for the file, and what that made of a grouped number is told."""
    table = read_table(_file(tmp_path, "a;b\n0,5;1.234\n"))

    assert table.number(0, "b") == 1234
    assert "'1.234' is read as 1234" in table.notes[1].what


def test_two_decimal_signs_in_one_file_are_refused_with_both_places(tmp_path: Path) -> None:
    """Somebody pasted from two programs."""
    (said,) = _faults(_file(tmp_path, "run;pH\n1;8.5\n2;8,7\n"))

    assert "line 2" in said
    assert "line 3" in said


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("−3.5", ".", -3.5),
        ("1\u202f234,5", ",", 1234.5),
        ("1\u00a0234", ".", 1234),
        ("1\u2009234\u2009567.25", ".", 1234567.25),
        ("1'234.5", ".", 1234.5),
        ("1’234.5", ".", 1234.5),
        (" 2e−3 ", ".", 0.002),
        (".5", ".", 0.5),
        ("5.", ".", 5),
        ("1,23", ".", None),
        ("12 34", ".", None),
        ("nan", ".", None),
        ("inf", ".", None),
        ("1e999", ".", None),
        ("1_000", ".", None),
        ("٣", ".", None),
        ("0,123", ".", None),
    ],
)
def test_numbers_are_read_as_people_print_them(
    text: str, decimal: str, value: float | None
) -> None:
    """Blanks of any width, a true minus and groups are numbers; half-numbers are not."""
    assert parse_number(text, "," if decimal == "," else ".") == value


@pytest.mark.parametrize(
    ("text", "guess"),
    [
        ("3. Apr", "3.4"), ("03. Apr", "3.4"), ("3-Apr", "3.4"), ("03. Mrz", "3.3"),
        ("2024-04-03", "3.4"), ("2024-04-03 00:00:00", "3.4"), ("03.04.2024", "3.4"),
        ("Apr 24", "4.24"), ("12. Dez.", "12.12"), ("1. févr.", "1.2"), ("12:30", ""),
        ("3.4", None), ("abc", None), ("1.2.3", None), ("marble", None),
    ],
)  # fmt: skip
def test_dates_are_recognised_with_the_number_they_came_from(text: str, guess: str | None) -> None:
    """Spreadsheets turn 3.4 into the third of April."""
    assert date_meant(text) == guess


def test_a_date_in_a_number_column_is_named_as_the_likely_cause(tmp_path: Path) -> None:
    """The message says what happened and how to mend it."""
    table = read_table(_file(tmp_path, "run;pH\n1;3. Apr\n"))

    with pytest.raises(ResultsError, match=r"line 2, column 'pH': '3\. Apr' is a date .* 3\.4"):
        table.number(0, "pH")


def test_faults_of_cells_are_gathered_with_their_places(tmp_path: Path) -> None:
    """One look at the file mends all of it."""
    table = read_table(_file(tmp_path, "run,pH,v\n1.5,45 %,#DIV/0!\nx,8.5,\n-1,8,7\n"))
    faults: list[Fault] = []
    numbers = [table.number(i, name, faults) for i in range(3) for name in ("pH", "v")]
    runs = [table.whole(i, "run", faults) for i in range(3)]

    assert numbers == [None, None, 8.5, None, 8.0, 7.0]
    assert runs == [None, None, None]
    assert [fault.where for fault in faults] == [
        "bench.csv, line 2, column 'pH'",
        "bench.csv, line 2, column 'v'",
        "bench.csv, line 2, column 'run'",
        "bench.csv, line 3, column 'run'",
        "bench.csv, line 4, column 'run'",
    ]
    assert "error value" in faults[1].what


def test_names_are_found_blind_to_capitals_and_blanks(tmp_path: Path) -> None:
    """Names are compared as in the brief."""
    table = read_table(_file(tmp_path, "RUN, Grind  Time \n1,30\n"))

    assert table.find("grind time") == "Grind  Time"
    assert table.number(0, "grind time") == 30
    assert table.rows == (("1", "30"),)
    assert table.text(0, "no such") == ""


def test_utf8_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    """Spreadsheets write one; it must not become part of the first name."""
    table = read_table(_file(tmp_path, "Härte,pH\n1,8.5\n".encode("utf-8-sig")))

    assert table.names == ("Härte", "pH")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("run,pH\n1,8\n2,Härte\n".encode("cp1252"), "line 3: the text is not UTF-8, probably Win"),
        ("run,pH\r\n1,8\r\n2,Härte\r\n".encode("latin-1"), "line 3"),
        ("run,pH\n1,8\n".encode("utf-16"), "UTF-16"),
        ("run,pH\n1,8\n".encode("utf-16-be"), "UTF-16"),
    ],
)
def test_other_encodings_are_refused_in_a_sentence_of_their_own(
    tmp_path: Path, content: bytes, said: str
) -> None:
    """Guessing an encoding changes names without a word."""
    (sentence,) = _faults(_file(tmp_path, content))

    assert said in sentence
    assert "Save it again as UTF-8" in sentence


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("", ["the file is empty"]),
        ("\n  \n", ["the file is empty"]),
        ("1,2\n3,4\n", ["numbers where the names"]),
        (
            "run,pH,Run\n1,8\n2,8,3,9\n",
            ["'Run' stands over two columns", "2 cells where 3", "'9' stands beyond"],
        ),
        ("run,,v\n1,2,3\n", ["column 2: the column has cells but no name"]),
        ("run,pH\n1,8,5\n", ["A decimal comma splits a number in two"]),
        ('run,pH\n1,"8\n2,9\n', ["line 2: the line cannot be split"]),
        ("run,pH\n1,8\n", []),
        ("run,pH,\n1,8,\n", []),
        ("run,pH\n1,8,,\n", []),
    ],
)
def test_faults_of_the_shape_are_told_together(
    tmp_path: Path, content: str, expected: list[str]
) -> None:
    """Ragged lines, names that stand twice, a missing header: all in one message."""
    path = _file(tmp_path, content)
    if not expected:
        assert read_table(path).names == ("run", "pH")
        return
    found = _faults(path)

    assert len(found) == len(expected)
    assert all(part in sentence for part, sentence in zip(expected, found, strict=True))


def test_two_separators_that_fit_equally_are_refused(tmp_path: Path) -> None:
    """Whatever is chosen would be a guess."""
    (said,) = _faults(_file(tmp_path, "a,b;c\nx,y;z\n"))

    assert "semicolons" in said
    assert "commas" in said


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    """The error is the kind that the caller asks for."""
    with pytest.raises(StudyError, match="no such file"):
        read_table(tmp_path / "none.csv", error=StudyError)
    with pytest.raises(ResultsError, match="cannot be opened"):
        read_table(tmp_path)


def test_line_numbers_count_lines_of_the_file(tmp_path: Path) -> None:
    """Quoted line breaks and blank lines count."""
    table = read_table(_file(tmp_path, 'run,note\n1,"two\nlines"\n\n2,x\n'))

    assert table.lines == (2, 5)
    assert table.place(1, "note") == "bench.csv, line 5, column 'note'"


def test_a_workbook_is_read_by_its_values() -> None:
    """Numbers stay as they are, whatever the decimal sign of the texts beside them."""
    data = _workbook(["run", "pH", "v"], [1, 8.5, "3,25"], [2, None, 0.125], [None, None, None])
    table = read_table(data, "bench.xlsx")

    assert table.number(0, "v") == 3.25
    assert table.number(1, "v") == 0.125
    assert table.number(0, "pH") == 8.5
    assert table.number(1, "pH") is None
    assert len(table) == 2


def test_dates_and_errors_of_a_workbook_are_named_by_cell() -> None:
    """Excel keeps a date as a date; the cell is what the user looks for."""
    data = _workbook(["run", "pH", "v"], [1, datetime.datetime(2024, 4, 3), "#DIV/0!"])
    table = read_table(data, "bench.xlsx")
    faults: list[Fault] = []
    for name in ("pH", "v"):
        table.number(0, name, faults)

    assert faults[0].where == "bench.xlsx, sheet 'Runs', cell B2 (column 'pH')"
    assert "'2024-04-03' is a date" in faults[0].what
    assert "3.4" in faults[0].do
    assert "cell C2" in faults[1].where
    assert "#DIV/0!" in faults[1].what


def test_a_formula_that_nobody_computed_is_no_blank() -> None:
    """A file written by a program has formulas without values: silence would lose readings."""
    (said,) = _faults(_workbook(["run", "v"], [1, "=A2*2"]), name="bench.xlsx")

    assert "cell B2" in said
    assert "not been computed" in said


def test_a_sheet_is_found_by_name_and_a_missing_one_told() -> None:
    """The sheets there are stand in the message."""
    data = _workbook(["run"], [1], title="Readings")

    assert len(read_table(data, "b.xlsx", sheet="readings")) == 1
    assert "'Readings'" in _faults(data, name="b.xlsx", sheet="Actuals")[0]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"PK\x03\x04 and then nothing", "cannot be opened as an XLSX"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "protected by a password"),
    ],
)
def test_damaged_and_old_workbooks_are_told(data: bytes, said: str) -> None:
    """Neither ends in a traceback."""
    assert said in _faults(data, name="b.xlsx")[0]


@pytest.mark.parametrize(
    "name", ["=1+1", "+acid", "-base", "@mill", "\ttab", "'=quoted", "''@twice", "plain", "'s"]
)
def test_text_that_a_spreadsheet_would_run_is_neutralised_and_comes_back(name: str) -> None:
    """A name such as '+acid' must neither run nor change."""
    guarded = guard_text(name)

    assert guarded[0] not in "=+-@\t"
    assert restore_text(guarded) == name


def test_our_own_tables_come_back_as_written() -> None:
    """Names, texts and numbers, also those that look like something else."""
    names = ["run", "=acid", 'quo"ted', "a;b"]
    rows = [[1, "1,5", " spaced ", "line\nbreak\r"], [2, "-3", None, "x\ty"]]
    table = read_table(write_csv(names, rows).encode(), ours=True)

    assert table.names == tuple(names)
    assert table.rows == (("1", "1,5", " spaced ", "line\nbreak\r"), ("2", "-3", "", "x\ty"))


def test_our_own_table_saved_by_a_spreadsheet_is_still_read() -> None:
    """A German spreadsheet saves it with semicolons and commas."""
    table = read_table(b"run;pH\r\n1;8,5\r\n", "plan.csv", ours=True)

    assert table.number(0, "pH") == 8.5


@pytest.mark.parametrize("value", [0.1, 1 / 3, 1e300, 5e-324, -0.0, 30.0, 1e16, 123456789.125])
def test_numbers_are_printed_so_that_they_read_back_the_same(value: float) -> None:
    """Files must not wear numbers down."""
    assert parse_number(number_text(value)) == value


def test_numbers_that_a_file_cannot_hold_are_our_own_mistake() -> None:
    """NaN is blank; infinity is refused."""
    assert write_csv(["a", "b"], [[float("nan"), None]]) == "a,b\n,\n"
    with pytest.raises(ValueError, match="inf"):
        write_csv(["a"], [[float("inf")]])


@pytest.mark.parametrize(
    ("text", "half"), [("0.33", 0.005), ("1", 0.5), ("2.50", 0.005), ("1e-3", 0.0005)]
)
def test_the_last_printed_digit_tells_the_rounding(text: str, half: float) -> None:
    """0.33 may stand for a third."""
    assert half_last_digit(text) == pytest.approx(half, rel=1e-12)


def test_a_table_without_rows_is_a_table() -> None:
    """The record of a study without readings has a header only."""
    table = read_table(b"id,run\n", ours=True)

    assert isinstance(table, Table)
    assert len(table) == 0
