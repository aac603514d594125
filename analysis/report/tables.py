"""Every table of a report as CSV."""

from __future__ import annotations

from collections.abc import Mapping

from analysis.figures.drawn import file_stem
from analysis.report.content import ReportContent
from analysis.report.decision import gives_table
from analysis.report.page import make_sections
from analysis.report.table import Table


def report_tables(content: ReportContent) -> Mapping[str, str]:
    """Write the tables of the report with full numbers.

    Returns:
        CSV text by file stem, in the order of the page; each stem is unique.
    """
    tables = [gives_table(content), *tables_of(content)]
    texts: dict[str, str] = {}
    for table in tables:
        if not table.rows:
            continue
        stem, n = file_stem(table.name), 2
        while stem in texts:
            stem, n = f"{file_stem(table.name)}-{n}", n + 1
        texts[stem] = table.csv()
    return texts


def tables_of(content: ReportContent) -> tuple[Table, ...]:
    """Give the tables of both parts, in the order of the page."""
    return tuple(
        block.table
        for section in make_sections(content)
        for part in section.parts
        for block in part.blocks
        if block.kind == "table"
    )
