"""From the pigment's data to a plan: estimate, ladder, fill, enter, fit, write, plan."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from openpyxl import load_workbook

from tests.journeys.briefs import every_file, study_of
from tests.journeys.conftest import Millbase

PIGMENT = (
    '[pigment]\nname = "red iron oxide"\nkind = "inorganic"\nspecific_surface_m2_per_g = 12.0\n'
)
RECIPE = "[millbase]\nbatch_g = 500.0\npigment_percent = 55.0\n"
PACKAGE = (
    '[package]\n[[package.additive]]\nname = "wetting agent"\nlow = 0.1\nhigh = 0.4\n'
    'active_percent = 70.0\n[[package.additive]]\nname = "dispersant"\nlow = 0.6\nhigh = 0.9\n'
    "active_percent = 40.0\n"
)
DOSE = '[[factor]]\nname = "dose"\nrole = "dose"   # how much\nunit = "% on pigment"\n'
REST = '[[response]]\nname = "viscosity"\nper = "batch"\n'


def viscosity(dose: float) -> float:
    """Give the invented viscosity of a pot: lowest at 1.2 %, mPa·s."""
    x = np.log(dose / 1.2)
    return round(float(300 * np.exp(1.3 * max(-x, 0) + 0.8 * max(x, 0) + 0.02 * np.sin(9 * x))), 1)


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """Give a study whose dose has no range yet."""
    return study_of(tmp_path / "red", PIGMENT, RECIPE, PACKAGE, DOSE, REST)


def fill(book: Path, *, change: float = 1.0) -> None:
    """Fill in a ladder's workbook: the control gelled, all else by the invented viscosity."""
    made = load_workbook(book)
    sheet = made["Ladder"]
    heads = {str(cell.value): place for place, cell in enumerate(sheet[3], start=1)}
    for row in range(4, sheet.max_row + 1):
        dose = sheet.cell(row, heads["dose, % on pigment"]).value
        if isinstance(dose, (int, float)):
            reading = sheet.cell(row, heads["viscosity, mPa·s"])
            reading.value = change * viscosity(float(dose)) if dose else "gelled"
    made.save(book)


def test_the_whole_way_from_pigment_to_plan(study: Path, millbase: Millbase) -> None:
    """Each step reads what the last one wrote; the brief's own text stays."""
    refused = millbase("plan", study)
    assert refused.status == 2, "planning needs the range"

    estimate = millbase("dose", study, "--family", "polymeric", "--json")
    assert estimate.status == 0
    assert estimate.json["contract"] == 1
    assert estimate.json["range"]["low"] == pytest.approx(2.4)
    assert estimate.json["estimates"][0]["mark"] == "read"
    assert not (study / "ladder.csv").exists()

    ladder = ("dose", study, "--ladder", "--from", "0.4", "--to", "4", "--steps", "9")
    planned = millbase(*ladder, "--json")
    assert planned.status == 0
    assert sorted(pot["dose"] for pot in planned.json["ladder"])[:2] == [0.0, 0.4]
    assert (study / "sheets/ladder.pdf").read_bytes().startswith(b"%PDF")
    before = every_file(study)
    assert millbase(*ladder).status == 0
    assert every_file(study) == before, "the same ladder again changes nothing"

    fill(study / "sheets/ladder.xlsx")
    entered = millbase("dose", study, "--enter", study / "sheets/ladder.xlsx", "--json")
    body = entered.json
    assert entered.status == 0
    assert len(body["fits"]) == 4
    assert body["interval"]["low"] < body["lowest_dose"] < (body["interval"]["high"] or 9)
    assert body["lowest_dose"] < body["minimum"]["dose"] == pytest.approx(1.2, rel=0.1)
    assert {"fits", "best", "suggested", "minimum"} <= set(body)
    assert body["not_fitted"] == [{"dose": 0.0, "viscosity": "gelled"}]
    for name in ("demand-curve.png", "demand-curve.svg"):
        assert (study / "results/figures" / name).exists()

    text = (study / "study.toml").read_text(encoding="utf-8")
    written = millbase("dose", study, "--write")
    now = (study / "study.toml").read_text(encoding="utf-8")
    assert written.status == 0
    assert "+ low = " in written.out
    added = [line for line in now.splitlines() if line not in text.splitlines()]
    assert [line.split(" = ")[0] for line in added] == ["low", "high"]
    assert all(line in now for line in text.splitlines())

    again = millbase("dose", study, "--write")
    assert "settings already" in again.out
    assert (study / "study.toml").read_text(encoding="utf-8") == now
    assert millbase("plan", study, "--starts", 12).status == 0


def test_readings_are_never_overwritten_silently(study: Path, millbase: Millbase) -> None:
    """The same file again, another value, another ladder over readings."""
    millbase("dose", study, "--ladder", "--from", "0.4", "--to", "4", "--steps", "6")
    book = study / "sheets/ladder.xlsx"
    fill(book)
    assert millbase("dose", study, "--enter", book, "--no-figure").status == 0
    known = millbase("dose", study, "--enter", book, "--no-figure")
    assert "0 readings taken in; 7 were known already" in known.out

    stands = (study / "ladder.csv").read_bytes()
    fill(book, change=1.1)
    refused = millbase("dose", study, "--enter", book)
    assert refused.status == 2
    assert "--correct --because" in refused.err
    other = millbase("dose", study, "--ladder", "--from", "0.5", "--to", "4", "--steps", "6")
    assert other.status == 2
    assert "has readings" in other.err
    assert (study / "ladder.csv").read_bytes() == stands

    taken = millbase(
        "dose", study, "--enter", book, "--correct", "--because", "spindle misread", "--no-figure"
    )
    assert taken.status == 0
    assert "corrected: pot 2" in taken.out
    assert (study / "ladder.old-1.csv").read_bytes() == stands


def test_a_bare_table_makes_a_ladder_of_its_own(study: Path, millbase: Millbase) -> None:
    """Readings made before anybody planned them; too few doses are said, not guessed at."""
    table = study.parent / "old.csv"
    table.write_text("dose;viscosity\n0,5;960,5\n1,0;380\n2,0;450,5\n", encoding="utf-8")
    few = millbase("dose", study, "--enter", table)
    assert few.status == 0
    assert "a curve needs 4" in few.out.replace("\n    ", " ")

    table.write_text("dose,viscosity\n0.7,610\n1.4,345\n", encoding="utf-8")
    enough = millbase("dose", study, "--enter", table, "--json", "--no-figure")
    assert enough.json["best"] in {"parabola", "coverage"}


def test_wrong_asks_end_in_exit_2_and_say_what_to_do(tmp_path: Path, millbase: Millbase) -> None:
    """No data, a slip in an option, an option that does nothing."""
    bare = study_of(tmp_path / "bare", PACKAGE, DOSE, REST)
    none = millbase("dose", bare, "--json")
    assert none.status == 2
    assert "[pigment]" in none.json["error"]["where"]
    assert millbase("dose", bare, "--coverage", "2-3").status == 2
    assert "of no use without --ladder" in millbase("dose", bare, "--from", "1").err
    assert millbase("dose", bare, "--ladder", "--from", "0.5", "--to", "3").status == 0
    helped = millbase("dose", "--help")
    assert "Example: millbase dose" in " ".join(helped.out.split())
