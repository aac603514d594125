"""Tables as CSV: full numbers, unique names, nothing that a spreadsheet runs."""

from __future__ import annotations

import csv
import io

import pytest

from analysis.report.content import ReportContent
from analysis.report.table import Cell, Table
from analysis.report.tables import report_tables
from tests.analysis.report.masonry import PROVENANCE, full_content, masonry


def read(text: str) -> list[dict[str, str]]:
    """Read a CSV back."""
    return list(csv.DictReader(io.StringIO(text)))


def test_coefficients_are_written_with_all_digits() -> None:
    """Whoever computes on needs more than the page prints."""
    rows = read(report_tables(full_content(masonry()))["viscosity-coefficients"])
    coefficients = masonry().fitted["viscosity"].assessment.coefficients

    assert [float(row["Estimate"]) for row in rows] == [one.estimate for one in coefficients]
    assert [float(row["Standard error"]) for row in rows] == [one.std_error for one in coefficients]


def test_what_does_not_exist_is_blank() -> None:
    """A dash is for eyes; a blank is for programs."""
    rows = read(report_tables(full_content(masonry()))["viscosity-coefficients"])

    assert rows[0]["p"] == ""


def test_each_response_has_its_tables() -> None:
    """Names of any script become file stems."""
    tables = report_tables(full_content(masonry((("viscosity", "Вязкость / 粘度"),))))

    assert {"вязкость-粘度-runs", "colour-strength-runs", "water-uptake-runs"} <= set(tables)


def test_a_name_that_looks_like_a_formula_is_neutralised() -> None:
    """A spreadsheet must not run what a bench typed."""
    tables = report_tables(full_content(masonry((("viscosity", "=1+1"),))))

    assert all(
        not cell.startswith("=")
        for text in tables.values()
        for row in csv.reader(io.StringIO(text))
        for cell in row
    )


def test_a_study_without_readings_has_its_goals_as_table() -> None:
    """Nothing else is known yet."""
    content = ReportContent(study=masonry().study, provenance=PROVENANCE)

    assert list(report_tables(content)) == ["goals"]


def test_a_row_that_does_not_fit_its_headings_is_refused() -> None:
    """A fault of ours, caught before a reader sees it."""
    with pytest.raises(ValueError, match="does not fit"):
        Table(name="t", title="T", head=("a", "b"), rows=((Cell(text="1"),),))
