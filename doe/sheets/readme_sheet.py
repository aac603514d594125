"""The first sheet of the workbook: how to fill it in, what can hurt, what it belongs to."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from openpyxl.worksheet.worksheet import Worksheet

from doe import __version__
from doe.sheets.book_form import DRAWDOWNS, READINGS, WEIGHING
from doe.sheets.book_look import WRAPPED, Look, lines_needed, put
from doe.sheets.wording import cautions_for, number_text, with_unit
from doe.study.brief import Study
from doe.study.hashes import region_hash
from doe.study.plan import Plan

README_WIDTH = 120.0


def write_readme(
    sheet: Worksheet,
    study: Study,
    plan: Plan,
    sheets: Collection[str],
    test_cautions: Sequence[str],
) -> None:
    """Write the first sheet.

    Args:
        sheet: It.
        study: The brief.
        plan: The plan.
        sheets: The other sheets of the workbook that are filled in.
        test_cautions: What can hurt in the tests.
    """
    lines: list[tuple[Look, str]] = [
        ("title", study.about.title),
        ("hint", study.about.question),
        ("hint", ""),
        ("head", "How to fill it in"),
        *(("hint", line) for line in _how_to_fill_in(study, sheets)),
        ("hint", ""),
        ("head", "Cautions"),
        *(("hint", line) for line in (*cautions_for(study), *test_cautions)),
        ("hint", ""),
        ("head", "What this file belongs to"),
        *(("hint", line) for line in _belongs_to(study, plan)),
    ]
    sheet.column_dimensions["A"].width = README_WIDTH
    for row, (look, text) in enumerate(lines, start=1):
        put(sheet, row, 1, text, look).alignment = WRAPPED
        height, signs = (20, README_WIDTH / 1.7) if look == "title" else (15, README_WIDTH)
        sheet.row_dimensions[row].height = height * lines_needed(text, signs)
    sheet.page_setup.scale = 100


def _how_to_fill_in(study: Study, sheets: Collection[str]) -> tuple[str, ...]:
    held = [
        f"{with_unit(factor.name, factor.unit)} {_value_text(factor.value)}"
        for factor in study.factors
        if factor.kind == "held"
    ]
    own = (*(title for title in (READINGS,) if title in sheets), *_test_sheets(sheets))
    return (
        "Fill in the pale cells; leave blank what is not there yet. The file may be entered as "
        "often as it grows: `millbase enter` takes what is new.",
        *_WEIGHING_SAYS * (WEIGHING in sheets),
        f"{', '.join(own)}: one line a unit. They show no settings: give these sheets alone to "
        "whoever reads the panels (`millbase sheet STUDY --for RESPONSE` writes them as a file of "
        "their own). A second reading goes into a spare line below, with its run number."
        if len(own) > 1 or READINGS not in own
        else "Readings: one line a run. It shows no settings: give this sheet alone to whoever "
        "reads the panels. A second reading of a run goes into a spare line below, with its run "
        "number.",
        "In a reading cell: a number, or gelled, lost, > 5000, < 5, 5 to 10 (between the two).",
        "Where a number turns into a date, type it again with your decimal sign.",
        *((f"Held throughout: {'; '.join(held)}.",) if held else ()),
    )


_WEIGHING_SAYS = (
    "Weigh-out: grams as weighed, in the order of addition; what was titrated and reached.",
)


def _test_sheets(sheets: Collection[str]) -> tuple[str, ...]:
    return tuple(title for title in sheets if title not in (WEIGHING, READINGS, DRAWDOWNS))


def _value_text(value: float | str | None) -> str:
    return number_text(value) if isinstance(value, (int, float)) else str(value)


def _belongs_to(study: Study, plan: Plan) -> tuple[str, ...]:
    seeds = dict.fromkeys(str(one.seed) for one in plan.rounds if one.seed is not None)
    return (
        f"millbase {__version__}; {len(plan)} runs in {len(plan.rounds)} "
        f"round{'s' if len(plan.rounds) > 1 else ''}.",
        f"Seed {', '.join(seeds) or 'none'}; region hash {region_hash(study)}.",
    )
