"""Reflectance files: every shape that instruments export gives the same curves, wrong ones none."""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable

import numpy as np
import pytest
from openpyxl import Workbook

from doe.errors import ResultsError
from doe.study.curves import Curve
from doe.study.reflectance_file import is_reflectance_file, read_reflectance

NM = tuple(range(400, 701, 10))
SEVEN = tuple(round(0.05 + 0.01 * i, 4) for i in range(31))
STANDARD = tuple(round(0.10 + 0.01 * i, 4) for i in range(31))
CURVES = {"run 7": SEVEN, "standard": STANDARD}


def wide(
    curves: dict[str, tuple[float, ...]] = CURVES,
    head: Callable[[int], str] = str,
    nm: tuple[int, ...] = NM,
    separator: str = ",",
) -> str:
    """Write one curve a row."""
    rows = [["", *map(head, nm)], *([name, *map(str, y)] for name, y in curves.items())]
    return "\n".join(separator.join(row) for row in rows) + "\n"


def transposed(curves: dict[str, tuple[float, ...]] = CURVES) -> str:
    """Write one curve a column."""
    rows = [["nm", *curves], *([str(nm), *(str(y[i]) for y in curves.values())]
                              for i, nm in enumerate(NM))]  # fmt: skip
    return "\n".join(",".join(row) for row in rows) + "\n"


def in_lines(curves: dict[str, tuple[float, ...]] = CURVES) -> str:
    """Write one reading a line."""
    rows = [f"{name},{nm},{y[i]}" for name, y in curves.items() for i, nm in enumerate(NM)]
    return "\n".join(["sample,wavelength [nm],reflectance", *rows]) + "\n"


def workbook(curves: dict[str, tuple[float, ...]] = CURVES) -> bytes:
    """Write one curve a row into a workbook."""
    book, held = Workbook(), io.BytesIO()
    sheet = book.worksheets[0]
    sheet.append(["label", *NM])
    for name, y in curves.items():
        sheet.append([name, *y])
    book.save(held)
    return held.getvalue()


def read(text: str | bytes) -> tuple[Curve, ...]:
    """Read a file of that content."""
    data = text if isinstance(text, bytes) else text.encode()
    assert is_reflectance_file(data, "scan.csv")
    return read_reflectance(data, "scan.csv").curves


def values(curves: tuple[Curve, ...]) -> set[tuple[object, ...]]:
    """Give what curves say, without where they stood."""
    return {(one.key, one.x, one.y) for one in curves}


def refused(text: str | bytes) -> str:
    """Give the message of a file that is refused."""
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(ResultsError) as caught:
        read_reflectance(data, "scan.csv")
    return str(caught.value)


def told(text: str) -> str:
    """Join the findings of a file."""
    return " ".join(f.what for f in read_reflectance(text.encode(), "scan.csv").findings)


def per_cent(curves: dict[str, tuple[float, ...]] = CURVES) -> dict[str, tuple[float, ...]]:
    """Write the curves in per cent."""
    return {name: tuple(round(100 * one, 4) for one in y) for name, y in curves.items()}


FILES = {
    "wide": wide(),
    "wide with R": wide(head="R{}".format),
    "wide with nm": wide(head="{} nm".format),
    "wide with decimals": wide(head="{}.0".format),
    "wide with brackets and per cent": wide(per_cent(), head="R% [{}]".format),
    "wide, longest wavelength first": wide(
        {name: y[::-1] for name, y in CURVES.items()}, nm=NM[::-1]
    ),
    "transposed": transposed(),
    "lines": in_lines(),
    "lines in another order": in_lines().splitlines()[0] + "\n"
    + "\n".join(sorted(in_lines().splitlines()[1:], key=lambda line: line[::-1])) + "\n",
    "rows in another order": wide(dict(reversed(CURVES.items()))),
    "per cent": wide(per_cent()),
    "transposed, per cent": transposed(per_cent()),
    "semicolons": wide(separator=";"),
    "tabs": wide(separator="\t"),
    "semicolons and decimal commas": wide(separator=";").replace(".", ","),
    "tabs and decimal commas": wide(head="{}.0".format, separator="\t").replace(".", ","),
    "a byte order mark": "\ufeff" + wide(),
    "carriage returns": wide().replace("\n", "\r\n"),
    "lines before the table": "Instrument: sphere, d/8\nDate;12.03.2026\n\n" + wide(),
    "lines before a transposed table": "Operator\tA\n\n" + transposed().replace(",", "\t"),
}  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_every_way_of_writing_gives_the_same_curves(name: str) -> None:
    """Shape, separator, decimal sign, unit and order are the instrument's, not the film's."""
    expected = {
        (("run", 7, None, "", None, None, 1, ""), tuple(map(float, NM)), SEVEN),
        (("standard", None, None, "", None, None, 1, ""), tuple(map(float, NM)), STANDARD),
    }

    assert values(read(FILES[name])) == expected


def test_a_workbook_gives_the_same_curves() -> None:
    """Numbers in cells, in fractions and in per cent."""
    assert values(read(workbook())) == values(read(wide()))
    assert values(read(workbook(per_cent()))) == values(read(wide()))


def test_a_workbook_with_decimal_commas_as_texts_is_read() -> None:
    """Some exports write every number as a text."""
    book, held = Workbook(), io.BytesIO()
    book.worksheets[0].append(["label", *(f"{nm},0" for nm in NM)])
    book.worksheets[0].append(["run 7", *(str(y).replace(".", ",") for y in SEVEN)])
    book.save(held)

    assert read(held.getvalue())[0].y == SEVEN


@pytest.mark.parametrize(("step", "first", "last"), [(1, 360, 780), (5, 380, 730), (20, 400, 700)])
def test_any_even_step_within_the_visible_range_is_read(step: int, first: int, last: int) -> None:
    """Instruments read by 1, 5, 10 or 20 nm."""
    nm = tuple(range(first, last + 1, step))
    y = tuple(round(0.2 + i * 1e-3, 6) for i in range(len(nm)))

    assert read(wide({"run 7": y}, "R fraction {}".format, nm))[0].x == tuple(map(float, nm))


@pytest.mark.parametrize(
    ("label", "key"),
    [
        ("run 7", ("run", 7, None, "", None, None, 1, "")),
        ("7", ("run", 7, None, "", None, None, 1, "")),
        ("Run_07", ("run", 7, None, "", None, None, 1, "")),
        ("run 7 repeat 2", ("run", 7, None, "", None, None, 2, "")),
        ("run 7 panel 3", ("run", 7, None, "", 3, None, 1, "")),
        ("run 7 panel 3 repeat 2", ("run", 7, None, "", 3, None, 2, "")),
        ("run 7 rubbed", ("run", 7, None, "", None, None, 1, "rubbed")),
        ("run 7 Over Black", ("run", 7, None, "", None, None, 1, "over black")),
        ("run 7 over white", ("run", 7, None, "", None, None, 1, "over white")),
        ("run 7 mass tone", ("run", 7, None, "", None, None, 1, "masstone")),
        ("run 7 14 d", ("run", 7, None, "", None, 14.0, 1, "")),
        ("run 7 card C4", ("run", 7, None, "C4", None, None, 1, "")),
        ("standard", ("standard", None, None, "", None, None, 1, "")),
        ("standard day 2", ("standard", None, 2, "", None, None, 1, "")),
        ("standard card C4", ("standard", None, None, "C4", None, None, 1, "")),
        ("white", ("white", None, None, "", None, None, 1, "")),
        ("White day 2", ("white", None, 2, "", None, None, 1, "")),
    ],
)
def test_labels_say_whose_a_curve_is(label: str, key: tuple[object, ...]) -> None:
    """As people name readings in an instrument."""
    assert read(wide({label: SEVEN}))[0].key == key


@pytest.mark.parametrize(
    "label",
    ["blue", "run", "run 7 blurred", "runner 7", "run 7 day 2", "run 0", "standard 7",
     "run 7 repeat 2 repeat 3", "run 7 repeat 0", "7b", "7.5", ""],
)  # fmt: skip
def test_an_unknown_label_is_refused_with_its_line(label: str) -> None:
    """A curve that nobody can place is not guessed at; a run's day is the plan's."""
    assert refused(wide({"standard": STANDARD, label: SEVEN})).startswith("scan.csv, line 3:")


def test_columns_say_whose_a_curve_is() -> None:
    """Instead of a label; columns that nobody asks for are named and left."""
    head = ["subject", "run", "panel", "repeat", "day", "card", "age_d", "what", "gloss", *NM]
    rows = [
        ["run", 7, 3, 2, "", "C4", 14, "rubbed", 81, *SEVEN],
        ["standard", "", "", "", 2, "", "", "", "", *STANDARD],
    ]
    text = "\n".join(",".join(map(str, row)) for row in [head, *rows])

    assert [one.key for one in read(text)] == [
        ("run", 7, None, "C4", 3, 14.0, 2, "rubbed"),
        ("standard", None, 2, "", None, None, 1, ""),
    ]
    assert "'gloss' are not used" in told(text)


def test_a_label_and_its_columns_must_agree() -> None:
    """Otherwise one of the two is a slip."""
    text = "sample,repeat," + ",".join(map(str, NM)) + "\nrun 7 repeat 2,3,"

    assert "the label says repeat 2" in refused(text + ",".join(map(str, SEVEN)))


def changed(i: int, cell: str, text: str | None = None) -> str:
    """Write another cell into the curve of run 7, at the i-th wavelength."""
    lines = (text or wide()).splitlines()
    cells = lines[1].split(",")
    cells[i + 1] = cell
    return "\n".join([lines[0], ",".join(cells), *lines[2:]])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (changed(5, ""), "line 2: no reflectance at 450 nm"),
        (changed(5, "n/a"), "line 2, column '450 nm': 'n/a' is not a number"),
        (changed(5, "12 %"), "line 2, column '450 nm': '12 %' is more than a number"),
        (changed(5, "3. Apr"), "line 2, column '450 nm': '3. Apr' is a date"),
        (changed(5, "-0.01"), "line 2, column '450 nm': a reflectance of -0.01 cannot be"),
        (changed(5, "1.3"), "line 2: the greatest reflectance of the file is 1.3: it may be"),
        (changed(5, "45"), "line 2: 45 looks like per cent, and most numbers"),
        (changed(5, "130", wide(per_cent())), "column '450 nm': a reflectance of 130 % cannot be"),
        (changed(5, "0,12"), "stands beyond the last named column"),
        (wide(nm=(*NM[:5], 455, *NM[6:])), "line 2: the step from 440 to 455 nm is 15 nm"),
        (wide({"run 7": SEVEN[1:]}, nm=(*NM[:5], *NM[6:])), "and 450 nm is missing"),
        (wide(nm=(*NM[:5], 440, *NM[6:])), "440 nm has '0.1', and '0.09' before"),
        (wide(nm=tuple(range(500, 801, 10))), "790, 800 nm lie outside the visible range"),
        (wide({"run 7": SEVEN, "7": STANDARD}), "line 3: the curve has the label of another"),
        (wide(separator=";").replace("0.05", "0,05", 1), "a decimal comma"),
        (in_lines().replace("run 7,450,", "run 7,3. Apr,"), "'3. Apr' is no wavelength"),
        (in_lines().replace("run 7,450,0.1\n", ""), "and 450 nm is missing"),
        (transposed().replace("\n450,", "\nx,"), "'x' is no wavelength"),
        ("run,viscosity\n1,1200\n", "no reflectance curves were found"),
        ("sample," + ",".join(map(str, NM)), "the table holds no reading"),
    ],
)  # fmt: skip
def test_a_wrong_file_is_refused_with_its_place(text: str, message: str) -> None:
    """Nothing is repaired or left out in silence."""
    assert message in refused(text)


def test_a_date_in_a_workbook_is_refused_with_its_cell() -> None:
    """A spreadsheet turns 3.4 into a date."""
    book, held = Workbook(), io.BytesIO()
    sheet = book.worksheets[0]
    sheet.append(["label", *NM])
    sheet.append(["run 7", *SEVEN])
    sheet["G2"] = datetime.date(2026, 4, 3)
    book.save(held)

    assert "cell G2 (column '450 nm'): '2026-04-03' is a date" in refused(held.getvalue())


def test_all_faults_come_together() -> None:
    """One pass mends a file."""
    text = changed(5, "n/a") + "\nblue," + ",".join(map(str, SEVEN))

    with pytest.raises(ResultsError) as caught:
        read_reflectance(text.encode(), "scan.csv")

    assert len(caught.value.faults) == 2


def test_the_unit_is_said() -> None:
    """Per cent or fraction changes every number, so the reader is told."""
    assert "read as per cent" in told(wide(per_cent()))
    assert "read as fractions of 1" in told(wide())


DARK = tuple(round(0.4 + 0.4 * i / 30, 4) for i in range(31))
WHITE = (0.9,) * 31


@pytest.mark.parametrize("head", ["R% {}", "%R {}", "{} %", "R percent {}", "pct {}"])
def test_a_head_that_says_per_cent_settles_a_dark_file(head: str) -> None:
    """0.4 to 0.8 per cent look like a pale grey in fractions, and are a black."""
    text = wide({"run 7": DARK}, head=head.format)

    assert read(text)[0].y[0] == 0.004
    assert "stays below 1.2 %" in told(text)


@pytest.mark.parametrize("head", ["reflectance factor {}", "R fraction {}", "fraction {}"])
def test_a_head_that_says_fraction_settles_a_dark_file(head: str) -> None:
    """The same numbers, a hundred times as bright."""
    assert read(wide({"run 7": DARK}, head=head.format))[0].y[0] == 0.4


def test_a_line_above_the_heads_or_the_head_of_the_column_says_the_unit_too() -> None:
    """Instruments put the unit into a line of its own, or beside the wavelengths."""
    above = "reflectance in percent\n" + wide({"run 7": DARK})
    beside = transposed({"run 7": DARK}).replace("nm,", "nm (%R),", 1)
    lines = in_lines({"run 7": DARK}).replace(",reflectance", ",reflectance [%]")

    assert [read(text)[0].y[0] for text in (above, beside, lines)] == [0.004] * 3


def test_numbers_that_may_be_either_are_refused_with_what_to_do() -> None:
    """A guess would be wrong by a hundred."""
    message = refused(wide({"run 7": DARK, "standard": DARK}))

    assert "may be per cent or a fraction" in message
    assert "'R% 400'" in message
    assert "may be per cent" in refused(wide({"run 7": tuple(1.3 + 0.001 * i for i in range(31))}))


def test_a_bright_standard_makes_dark_curves_of_the_file_per_cent() -> None:
    """64 is per cent, so all are, though most numbers of the file are small."""
    bright = tuple(round(10 + 1.8 * i, 3) for i in range(31))
    text = wide({"run 7": DARK, "run 8": DARK, "standard": bright})

    assert read(text)[0].y[0] == 0.004


def test_a_white_makes_the_file_fractions() -> None:
    """A white of 0.9 % is none."""
    assert read(wide({"run 7": DARK, "white": WHITE}))[0].y[0] == 0.4


def test_a_head_that_says_per_cent_over_a_white_in_fractions_is_refused() -> None:
    """Read as per cent, the white would be blacker than any black."""
    curves = {"run 7": DARK, "white": WHITE}

    assert "the head says per cent" in refused(wide(curves, head="%R {}".format))


def test_a_dark_curve_among_bright_ones_in_per_cent_is_told() -> None:
    """A black without specular light, or a curve in the other unit."""
    dark = tuple(round(0.5 + 0.01 * i, 3) for i in range(31))

    assert "stays below 1.2 %" in told(wide({**per_cent(), "run 8": dark}))


@pytest.mark.parametrize("factor", [1, 100])
def test_reflectance_above_one_is_doubted(factor: int) -> None:
    """Fluorescence, or a worn white standard."""
    bright = tuple(round(factor * (0.80 + 0.01 * i), 4) for i in range(31))
    rest = CURVES if factor == 1 else per_cent()

    assert "reflectance above 1" in told(wide({**rest, "run 8": bright}))
    assert "reflectance above 1" not in told(wide(rest))


def test_the_same_curve_twice_is_taken_once_and_told() -> None:
    """Exports repeat a reading where two series share it."""
    text = wide() + wide().splitlines()[1] + "\n"

    assert len(read(text)) == 2
    assert "taken once" in told(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "run,colour strength\n1,98\n",
        "shear rate,run 1\n" + "\n".join(f"{rate},{rate / 10}" for rate in range(400, 800, 10)),
        "run,load\n" + "\n".join(f"{i},{400 + 10 * i}" for i in range(1, 31)),
        "run," + ",".join(f"viscosity {i}" for i in range(4)) + "\n1,450,520,610,700\n",
        "run,viscosity 1,viscosity 2,viscosity 3\n1,450,460,470\n",
        "run,"
        + ",".join(f"time {i}" for i in range(12))
        + "\n1,"
        + ",".join(str(400 + 13 * i) for i in range(12))
        + "\n",
    ],
)
def test_other_tables_are_no_reflectance(text: str) -> None:
    """Numbers that look like wavelengths stand in many tables."""
    assert not is_reflectance_file(text.encode(), "readings.csv")


def test_a_file_that_is_no_text_is_no_reflectance() -> None:
    """A picture, a workbook that is none, an old workbook: for others to refuse."""
    for data in (b"\xff\xd8\xff", b"PK\x03\x04broken", b"\xd0\xcf\x11\xe0old"):
        assert not is_reflectance_file(data, "scan.bin")


def test_per_cent_and_fractions_of_any_curve_agree() -> None:
    """Division by 100 leaves no trace in the last digits."""
    rng = np.random.default_rng(20261128)
    drawn = {f"run {i}": tuple(rng.uniform(0.0, 1.0, 31).round(4).tolist()) for i in range(1, 50)}

    assert values(read(wide(drawn))) == values(read(wide(per_cent(drawn))))
