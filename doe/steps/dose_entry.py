"""The part of `dose` that takes in the readings of a ladder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from doe.errors import ResultsError
from doe.sheets.ladder_in import is_ladder_workbook, read_ladder_workbook
from doe.sheets.recognise import is_workbook
from doe.steps.enter import kept_copy, read_delivery
from doe.study.finding import Finding
from doe.study.ladder import Ladder, LadderMerge, PotEntry, merge_ladder
from doe.study.ladder_file import read_entries
from doe.study.sheet_grid import ZIP_MARK
from doe.study.tables import read_table


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryOptions:
    """What is taken in.

    Attributes:
        file: The filled workbook of the ladder, or a table with `dose` and `viscosity`.
        correct: Whether values that differ from those that stand are taken.
        because: Why.
    """

    file: Path
    correct: bool = False
    because: str = ""


def enter_ladder(
    ladder: Ladder, options: EntryOptions
) -> tuple[LadderMerge, dict[str, bytes], tuple[Finding, ...]]:
    """Take in readings.

    Returns:
        What came of it, the file as delivered under its place in `raw/`, and findings.

    Raises:
        ResultsError: The file cannot be read, or contradicts what stands.
    """
    if options.correct and not options.because.strip():
        raise ResultsError(
            "a correction needs its reason", where="--correct", do="Add --because 'the reason'."
        )
    data = read_delivery(options.file)
    entries, findings = _read(data, options.file.name)
    merged = merge_ladder(
        ladder, entries, source=options.file.name, correct=options.correct,
        because=options.because.strip(),
    )  # fmt: skip
    return merged, kept_copy(options.file, data), (*findings, *_new_doses(merged, ladder))


def _read(data: bytes, name: str) -> tuple[tuple[PotEntry, ...], tuple[Finding, ...]]:
    if data.startswith(ZIP_MARK) and is_ladder_workbook(data, name):
        return read_ladder_workbook(data, name)
    if is_workbook(data):
        raise ResultsError(
            "this is the bench workbook of the runs, not the one of the ladder",
            where=name,
            do="Take it in with 'millbase enter'; the ladder's is sheets/ladder.xlsx.",
        )
    table = read_table(data, name)
    return read_entries(table), table.notes


def _new_doses(merged: LadderMerge, before: Ladder) -> tuple[Finding, ...]:
    if not merged.new_doses or not before.pots:
        return ()
    said = ", ".join(f"{dose:g} %" for dose in merged.new_doses)
    return (
        Finding(
            level="note",
            what=f"These doses were not in the ladder and came in as pots without recipes: {said}.",
        ),
    )
