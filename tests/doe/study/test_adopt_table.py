"""Adopting a table that someone else made, and readings from a bare wide table."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from doe.errors import ResultsError
from doe.study.adopt_table import adopt_table, wide_readings
from doe.study.brief import Study
from doe.study.brief_file import parse_brief
from doe.study.enter_merge import merge_readings
from doe.study.finding import Finding
from doe.study.plan import Plan
from doe.study.reading_cell import CellReading, read_cell
from doe.study.readings import Reading, Readings
from doe.study.tables import read_table

BLEND = """
format = 1
[study]
title = "Invented package"
[package]
[[package.additive]]
name = "wetting agent"
low = 0.1
high = 0.4
[[package.additive]]
name = "dispersant"
low = 0.3
high = 0.9
[[package.additive]]
name = "co-additive"
low = 0.0
high = 0.4
[[response]]
name = "viscosity"
"""
PROCESS = """
format = 1
[study]
title = "Invented grind"
[[factor]]
name = "pH"
low = 8.0
high = 9.5
[[factor]]
name = "neutraliser"
levels = ["ammonia", "sodium hydroxide"]
[[factor]]
name = "grind time"
levels = [15, 30, 45]
set_per = "sample"
[[factor]]
name = "bead diameter"
value = 0.8
[[block]]
name = "mill"
[[response]]
name = "viscosity"
[[response]]
name = "gloss 60"
per = "panel"
"""
HEAD = "pH,neutraliser,grind time"

Adopted = tuple[Plan, tuple[Reading, ...], tuple[Finding, ...]]


@pytest.fixture
def process() -> Study:
    """A pH, a named choice, numeric levels and two responses."""
    return parse_brief(PROCESS.encode())


@pytest.fixture
def blend() -> Study:
    """Three additives and one response."""
    return parse_brief(BLEND.encode())


def _adopt(folder: Path, study: Study, text: str) -> Adopted:
    path = folder / "old table.csv"
    path.write_text(text, encoding="utf-8")
    return adopt_table(read_table(path), study)


def _refused(folder: Path, study: Study, text: str) -> str:
    with pytest.raises(ResultsError) as caught:
        _adopt(folder, study, text)
    return str(caught.value)


def _told(findings: tuple[Finding, ...]) -> str:
    return "\n".join(finding.what for finding in findings)


def test_lines_without_run_numbers_are_numbered_in_their_order(
    tmp_path: Path, process: Study
) -> None:
    """And equal ones are replicates."""
    text = f"{HEAD},viscosity\n8,ammonia,15,900\n9,Sodium  Hydroxide,45,700\n8,AMMONIA,15,910\n"
    plan, readings, findings = _adopt(tmp_path, process, text)

    assert plan.run == (1, 2, 3)
    assert plan.kind == ("design", "design", "replicate")
    assert plan.settings.column("neutraliser").tolist() == [0, 1, 0]
    assert [(one.run, one.repeat, one.value) for one in readings] == [
        (1, 1, 900.0), (2, 1, 700.0), (3, 1, 910.0),
    ]  # fmt: skip
    assert plan.rounds[0].layout == "adopted"
    assert plan.rounds[0].runs == plan.run
    assert len(plan.rounds[0].region_hash) == 16
    assert "no column for 'gloss 60'; it is pending" in _told(findings)
    assert readings[0].source == "old table.csv, line 2, column 'viscosity'"


def test_a_run_that_stands_twice_with_equal_settings_has_repeats(
    tmp_path: Path, process: Study
) -> None:
    """Lines of one run are readings of one unit."""
    text = f"run,{HEAD},viscosity\n7,8,ammonia,15,900\n3,9,ammonia,15,800\n7,8,ammonia,15,905\n"
    plan, readings, _ = _adopt(tmp_path, process, text)

    assert plan.run == (7, 3)
    assert [(one.run, one.repeat) for one in readings] == [(7, 1), (3, 1), (7, 2)]


def test_a_run_that_stands_twice_with_other_settings_is_refused(
    tmp_path: Path, process: Study
) -> None:
    """Either the number or the setting is wrong."""
    text = f"run,batch,{HEAD},viscosity\n7,1,8,ammonia,15,900\n7,2,8.5,ammonia,15,905\n"

    assert "lines 2 and 3 are both run 7, but differ in pH, batch" in _refused(
        tmp_path, process, text
    )


def test_settings_outside_the_ranges_are_taken_and_named(tmp_path: Path, process: Study) -> None:
    """Low and high fix the coding and the search, not what was done."""
    plan, _, findings = _adopt(
        tmp_path, process, f"{HEAD},viscosity\n7.5,ammonia,15,9\n9,ammonia,15,8\n"
    )
    (finding,) = [one for one in findings if one.level == "caution"]

    assert plan.settings.column("pH").tolist() == [7.5, 9]
    assert "'pH' lies outside the range of the brief in lines 2;" in finding.what
    assert finding.evidence == {"rows": 1, "lowest": 7.5, "highest": 7.5}


def test_a_limit_met_exactly_is_inside(tmp_path: Path, process: Study) -> None:
    """The ends belong to the range."""
    _, _, findings = _adopt(
        tmp_path, process, f"{HEAD},viscosity\n8,ammonia,15,9\n9.5,ammonia,45,8\n"
    )

    assert not [one for one in findings if one.level == "caution"]


def test_what_cannot_be_a_setting_is_told_all_at_once(tmp_path: Path, process: Study) -> None:
    """Level, numeric level, blank, date, result: each with its line."""
    said = _refused(
        tmp_path, process, f"{HEAD},viscosity\n8,amine,20,abc\n3. Apr,ammonia,15,9\n8,,15,9\n"
    )

    for part in (
        "line 2, column 'neutraliser': 'neutraliser' has no level 'amine'; allowed: 'ammonia'",
        "line 2, column 'grind time': 'grind time' has no level 20; allowed: 15, 30, 45",
        "line 2, column 'viscosity': 'abc' is not a number; allowed: a number, '> 5000'",
        "line 3, column 'pH': '3. Apr' is a date",
    ):
        assert part in said


def test_a_blank_setting_is_told(tmp_path: Path, process: Study) -> None:
    """A run without a setting says nothing of it."""
    said = _refused(tmp_path, process, f"{HEAD},viscosity\n8,,15,9\n")

    assert "line 2, column 'neutraliser': the setting is blank" in said


def test_numeric_levels_are_met_within_rounding(tmp_path: Path) -> None:
    """0.33 is the level one third."""
    study = parse_brief(PROCESS.replace("[15, 30, 45]", "[0.3333333333, 0.6666666667]").encode())
    plan, _, _ = _adopt(tmp_path, study, f"{HEAD},viscosity\n8,ammonia,0.33,9\n8,ammonia,0.667,9\n")

    assert plan.settings.column("grind time").tolist() == [0.3333333333, 0.6666666667]


def test_a_missing_setting_column_and_a_misspelt_one_are_told(
    tmp_path: Path, process: Study
) -> None:
    """The suggestion stands in the message; a unit in brackets is a slip, too."""
    said = _refused(tmp_path, process, "pH (25 °C),neutralizer,viscosity\n8,ammonia,9\n")

    assert "no column for the setting 'grind time'" in said
    assert "'pH (25 °C)'" in said
    assert "Is 'pH' meant?" in said
    assert "Is 'neutraliser' meant?" in said


def test_unknown_columns_are_left_aside_and_named(tmp_path: Path, process: Study) -> None:
    """Another angle of gloss is no slip of the pen."""
    _, _, findings = _adopt(
        tmp_path, process, f"{HEAD},viscosity,gloss 20,remark\n8,ammonia,15,9,80,x\n"
    )

    assert "the brief does not name them: 'gloss 20', 'remark'" in _told(findings)


def test_blank_results_are_pending_and_words_are_flags(tmp_path: Path, process: Study) -> None:
    """Above, below, between, gelled, lost."""
    cells = ["", "gelled", "> 5000", "< 5", "lost", "5 to 8", "Gelled", "≥ 5000"]
    lines = "".join(f"8,ammonia,15,{cell}\n" for cell in cells)
    _, readings, _ = _adopt(tmp_path, process, f"{HEAD},viscosity\n{lines}")

    assert [(one.run, one.flag, one.value, one.value_to) for one in readings] == [
        (2, "gelled", None, None), (3, "above", 5000, None), (4, "below", 5, None),
        (5, "lost", None, None), (6, "between", 5, 8), (7, "gelled", None, None),
        (8, "above", 5000, None),
    ]  # fmt: skip


def test_block_labels_are_kept_with_the_round(tmp_path: Path, process: Study) -> None:
    """In the column `block`, or one named as a block of the brief."""
    first, _, _ = _adopt(
        tmp_path, process, f"block,{HEAD},viscosity\n1.0,8,ammonia,15,9\nB,8,ammonia,30,9\n"
    )
    second, _, findings = _adopt(tmp_path, process, f"Mill,{HEAD},viscosity\nred,8,ammonia,15,9\n")

    assert first.rounds[0].details["blocks"] == {1: "1", 2: "B"}
    assert second.rounds[0].details["blocks"] == {1: "red"}
    assert "left aside" not in _told(findings)


def test_batches_and_days_are_believed_and_labels_numbered(tmp_path: Path, process: Study) -> None:
    """Several runs in a batch are kept; where a batch factor varies inside one, it is said."""
    text = (
        f"batch,day,{HEAD},viscosity\nB12,2,8,ammonia,15,9\nB12,2,8,ammonia,30,9\n"
        "A7,3,8,ammonia,15,9\nA7,3,9,ammonia,15,9\n"
    )
    plan, _, findings = _adopt(tmp_path, process, text)

    assert plan.batch == (1, 1, 2, 2)
    assert plan.day == (2, 2, 3, 3)
    assert plan.rounds[0].details["batch_labels"] == {1: "B12", 2: "A7"}
    assert "'pH' is set once a batch by the brief, but varies inside 1" in _told(findings)
    assert "'grind time' is set" not in _told(findings)


def test_the_order_as_made_gives_the_bench_order(tmp_path: Path, process: Study) -> None:
    """Tables are often sorted by setting."""
    text = f"order,{HEAD},viscosity\n3,8,ammonia,15,9\n1,9,ammonia,15,8\n2,9.5,ammonia,15,7\n"
    plan, readings, _ = _adopt(tmp_path, process, text)

    assert plan.run == (2, 3, 1)
    assert plan.settings.column("pH").tolist() == [9, 9.5, 8]
    assert {one.run: one.value for one in readings} == {1: 9, 2: 8, 3: 7}


def test_panels_carry_their_number_where_the_response_has_them(
    tmp_path: Path, process: Study
) -> None:
    """Viscosity belongs to the sample, gloss to the panel."""
    text = (
        f"run,panel,age_d,{HEAD},viscosity,gloss 60\n"
        "1,1,7,8,ammonia,15,900,70\n1,2,7,8,ammonia,15,,72\n"
    )
    plan, readings, _ = _adopt(tmp_path, process, text)

    assert plan.panel == (None,)
    assert [one.key for one in readings] == [
        (1, None, 7.0, 1, "viscosity"), (1, 1, 7.0, 1, "gloss 60"), (1, 2, 7.0, 1, "gloss 60"),
    ]  # fmt: skip


def test_a_held_factor_at_another_value_is_said(tmp_path: Path, process: Study) -> None:
    """The brief thinks it was held."""
    _, _, findings = _adopt(
        tmp_path, process, f"bead diameter,{HEAD},viscosity\n1.2,8,ammonia,15,9\n"
    )

    assert "holds 'bead diameter' at 0.8, the table has 1.2" in _told(findings)


def test_controls_may_leave_settings_open(tmp_path: Path) -> None:
    """A line that names a control is one, and needs no sum of shares."""
    brief = BLEND + '\n[[control]]\nname = "present formula"\nsettings = { dispersant = 1.0 }\n'
    head = "control,wetting agent,dispersant,co-additive,viscosity\n"
    plan, _, _ = _adopt(
        tmp_path, parse_brief(brief.encode()), f"{head},0.3,0.6,0.1,9\nPresent Formula,,1,,20\n"
    )

    assert plan.kind == ("design", "control")
    assert plan.control_names == {2: "present formula"}
    assert math.isnan(plan.settings.values[1, 0])
    assert "'old one' is no control" in _refused(
        tmp_path, parse_brief(brief.encode()), f"{head}old one,,1,,20\n"
    )


def test_shares_that_add_to_one_are_taken_as_printed(tmp_path: Path, blend: Study) -> None:
    """Within half a per cent, or within their printed digits."""
    head = "wetting agent,dispersant,co-additive,viscosity\n"
    plan, _, findings = _adopt(tmp_path, blend, f"{head}0.3,0.6,0.1,9\n0.33,0.33,0.33,8\n")

    assert plan.settings.values[1].tolist() == [0.33, 0.33, 0.33]
    assert "add to 1 within their printed digits only" in _told(findings)


def test_shares_that_add_to_a_hundred_in_every_row_are_per_cent(
    tmp_path: Path, blend: Study
) -> None:
    """And that is said."""
    head = "wetting agent;dispersant;co-additive;viscosity\n"
    plan, _, findings = _adopt(tmp_path, blend, f"{head}30;60;10;9\n33,3;33,3;33,3;8\n")

    np.testing.assert_allclose(plan.settings.values, [[0.3, 0.6, 0.1], [0.333] * 3], rtol=1e-12)
    assert "taken as per cent" in _told(findings)


@pytest.mark.parametrize(
    ("rows", "lines"),
    [
        ("0.3,0.6,0.1,9\n0.3,0.5,0.1,9\n", "3 (0.9)"),
        ("0.3,0.6,0.1,9\n30,60,10,9\n", "3 (100)"),
        ("0.300,0.600,0.090,9\n0.20,0.50,0.25,9\n", "2 (0.99), 3 (0.95)"),
        ("0,0,0,9\n", "2 (0)"),
    ],
)
def test_shares_that_do_not_add_up_are_refused_with_their_lines(
    tmp_path: Path, blend: Study, rows: str, lines: str
) -> None:
    """Mending them silently would change the recipe."""
    rows = rows.replace("0.3,0.5,0.1,9", "0.30,0.50,0.10,9")
    said = _refused(tmp_path, blend, f"wetting agent,dispersant,co-additive,viscosity\n{rows}")

    assert f"do not add to 1 in lines {lines}" in said


def test_a_factor_that_a_level_lacks_is_blank_there(tmp_path: Path) -> None:
    """Each chemistry has its own range, or none."""
    brief = """
format = 1
[study]
title = "Invented chemistries"
[[factor]]
name = "chemistry"
levels = ["polyacrylate", "multi-anchor"]
[[factor]]
name = "resin"
low = 0.5
high = 2.0
[[factor.range]]
when = { chemistry = "multi-anchor" }
low = 1.0
high = 2.0
[[response]]
name = "viscosity"
"""
    study = parse_brief(brief.encode())
    lines = ("polyacrylate,,9", "multi-anchor,1.5,8", "multi-anchor,3,8", "polyacrylate,1,9")
    text = "\n".join(("chemistry,resin,viscosity", *lines, ""))
    plan, _, findings = _adopt(tmp_path, study, text)
    said = _refused(tmp_path, study, "chemistry,resin,viscosity\nmulti-anchor,,8\n")

    np.testing.assert_array_equal(plan.settings.column("resin"), [np.nan, 1.5, 3.0, np.nan])
    assert "the level lacks 'resin' in lines 5" in _told(findings)
    assert "in lines 4;" in _told(findings)
    assert "the setting is blank" in said


def test_a_table_without_lines_is_refused(tmp_path: Path, process: Study) -> None:
    """A header alone is no experiment."""
    assert "no lines" in _refused(tmp_path, process, f"{HEAD},viscosity\n")


@pytest.fixture
def plan(tmp_path: Path, process: Study) -> Plan:
    """Three runs, no readings."""
    text = f"{HEAD}\n8,ammonia,15\n9,ammonia,30\n9.5,sodium hydroxide,45\n"
    return _adopt(tmp_path, process, text)[0]


def _wide(folder: Path, study: Study, plan: Plan, text: str) -> tuple[tuple[Reading, ...], str]:
    path = folder / "readings.csv"
    path.write_text(text, encoding="utf-8")
    readings, findings = wide_readings(read_table(path), study, plan)
    return readings, _told(findings)


def test_a_second_line_of_a_run_is_a_repeat(tmp_path: Path, process: Study, plan: Plan) -> None:
    """In a bare wide table."""
    readings, _ = _wide(tmp_path, process, plan, "run;Viscosity\n1;900,5\n2;> 5000\n1;905\n")

    assert [(one.run, one.repeat, one.value, one.flag) for one in readings] == [
        (1, 1, 900.5, "ok"), (2, 1, 5000, "above"), (1, 2, 905, "ok"),
    ]  # fmt: skip


def test_a_wide_table_entered_twice_changes_nothing(
    tmp_path: Path, process: Study, plan: Plan
) -> None:
    """Repeats included."""
    readings, _ = _wide(tmp_path, process, plan, "run,viscosity\n1,900\n1,910\n2,\n")
    once = merge_readings(Readings(), readings)

    assert merge_readings(once.readings, readings).readings == once.readings


def test_settings_in_a_wide_table_must_be_those_of_the_plan_or_are_named(
    tmp_path: Path, process: Study, plan: Plan
) -> None:
    """A results column added to plan.csv, and one line that slipped."""
    text = f"run,kind,{HEAD},viscosity\n1,design,8.0,ammonia,15,900\n2,design,8.5,Ammonia,30,800\n"
    readings, told = _wide(tmp_path, process, plan, text)

    assert len(readings) == 2
    assert "run 2 has '8.5' here and 9 in the plan" in told
    assert told.count("in the plan") == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("viscosity\n900\n", "no column 'run'"),
        ("run,remark\n1,x\n", "no column is named as a response"),
        ("run,viscosty\n1,900\n", "Is 'viscosity' meant?"),
        ("run,viscosity\n9,900\n", "the plan has no run 9; allowed: runs 1 to 3"),
        ("run,viscosity\n,900\n", "the run number is blank"),
        ("run,viscosity\n1,#DIV/0!\n", "error value of a spreadsheet formula"),
        ("run,viscosity\n1,900 mPa·s\n", "more than a number"),
    ],
)
def test_faults_of_a_wide_table_are_told(
    tmp_path: Path, process: Study, plan: Plan, text: str, said: str
) -> None:
    """Nothing is taken then."""
    with pytest.raises(ResultsError) as caught:
        _wide(tmp_path, process, plan, text)

    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("pending", None),
        ("1,5", CellReading(value=1.5)),
        ("< 0,5", CellReading(value=0.5, flag="below")),
        (">=5", CellReading(value=5.0, flag="above")),
        ("5 – 8", CellReading(value=5.0, value_to=8.0, flag="between")),
        ("-5 to −2", CellReading(value=-5.0, value_to=-2.0, flag="between")),
        ("excluded", CellReading(value=None, flag="excluded")),
    ],
)
def test_cells_of_results_are_read(text: str, expected: CellReading | None) -> None:
    """Numbers, numbers off the scale, and words."""
    assert read_cell(text, ",", "here") == expected
