"""`plan.csv` and `plan.json`: the runs in bench order, and how each round was made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any, cast

from pydantic import TypeAdapter, ValidationError

from doe.errors import Fault, StudyError
from doe.study.brief import Study
from doe.study.csv_text import write_csv
from doe.study.file_format import FORMAT, read_json, write_json
from doe.study.numbering import issued_marks
from doe.study.plain_json import to_plain, with_number_keys
from doe.study.plan import KINDS, Kind, Plan, Round
from doe.study.plan_settings import decode_settings
from doe.study.tables import Table, read_table

PLAN_FILE = "plan.csv"
ROUNDS_FILE = "plan.json"
UNIT_COLUMNS = ("day", "batch", "sample", "panel")
RUN_COLUMNS = ("run", "round", *UNIT_COLUMNS, "kind")


def encode_plan(plan: Plan, issued_before: Mapping[str, int] | None = None) -> dict[str, bytes]:
    """Write a plan as the two files of the study folder.

    Args:
        plan: The plan.
        issued_before: Highest numbers that earlier plans of the study have issued.

    Returns:
        Content by file name. The runs of each round follow from the lines of the plan.

    Raises:
        ValueError: A run belongs to a round that is not described.
    """
    described = {entry.number for entry in plan.rounds}
    if undescribed := sorted(set(plan.round) - described):
        raise ValueError(f"rounds {undescribed} have runs but no entry")
    columns = ["run", "round"]
    columns += [
        name for name in UNIT_COLUMNS if any(one is not None for one in getattr(plan, name))
    ]
    columns.append("kind")
    rows = [
        [getattr(plan, name)[i] for name in columns] + list(plan.settings.row(i).values())
        for i in range(len(plan))
    ]
    table = write_csv([*columns, *plan.settings.names], rows)
    rounds = [_round_content(plan, entry) for entry in plan.rounds]
    issued = dict(issued_marks(plan, issued_before))
    content = {"format": FORMAT, "issued": issued, "rounds": rounds}
    return {PLAN_FILE: table.encode(), ROUNDS_FILE: write_json(content)}


def decode_plan(table_data: bytes, rounds_data: bytes, study: Study) -> Plan:
    """Read a plan under the brief as it stands now.

    A changed range leaves the runs valid. Runs cannot be read if the brief has lost or renamed one
    of their factors, additives or levels, or has gained one that they have no setting for.

    Raises:
        StudyError: The files have faults, or the brief has moved away from under the runs.
    """
    content = read_json(rounds_data, ROUNDS_FILE)
    rounds = decode_rounds(content)
    table = read_table(table_data, PLAN_FILE, ours=True, error=StudyError)
    faults = [
        Fault(where=PLAN_FILE, what=f"the column '{name}' is missing")
        for name in ("run", "round", "kind")
        if table.find(name) is None
    ]
    if faults:
        raise StudyError.from_faults(faults)
    run = _numbers(table, "run", faults)
    kind = [_kind(table, i, faults) for i in range(len(table))]
    columns = {name: _numbers(table, name, faults) for name in ("round", *UNIT_COLUMNS)}
    settings = decode_settings(table, study, kind, frozenset(RUN_COLUMNS), faults)
    faults.extend(_membership_faults(table, run, columns["round"], rounds))
    if faults or settings is None:
        raise StudyError.from_faults(faults)
    return Plan(
        settings=settings,
        run=tuple(cast("list[int]", run)),
        round=tuple(cast("list[int]", columns["round"])),
        day=tuple(columns["day"]),
        batch=tuple(columns["batch"]),
        sample=tuple(columns["sample"]),
        panel=tuple(columns["panel"]),
        kind=tuple(kind),
        rounds=rounds,
        issued=issued_numbers(content),
    )


def decode_rounds(content: Mapping[str, Any]) -> tuple[Round, ...]:
    """Read how the rounds were made; keys that this version does not know are left aside.

    Raises:
        StudyError: An entry lacks what it needs or holds what it must not.
    """
    known = {one.name for one in fields(Round)}
    entries = content.get("rounds")
    if not isinstance(entries, list):
        raise StudyError("the list of rounds is missing", where=ROUNDS_FILE)
    try:
        rounds = [
            _ROUND.validate_python({key: one for key, one in entry.items() if key in known})
            for entry in entries
        ]
    except ValidationError as cause:
        raise StudyError.from_faults(
            Fault(where=f"{ROUNDS_FILE}, {'.'.join(map(str, one['loc']))}", what=one["msg"])
            for one in cause.errors()
        ) from cause
    except AttributeError as cause:
        raise StudyError(
            "an entry of the list of rounds is no object", where=ROUNDS_FILE
        ) from cause
    return tuple(replace(one, details=with_number_keys(dict(one.details))) for one in rounds)


def issued_numbers(content: Mapping[str, Any]) -> dict[str, int]:
    """Read the highest numbers ever issued."""
    issued = content.get("issued", {})
    if not isinstance(issued, dict) or not all(isinstance(one, int) for one in issued.values()):
        raise StudyError("the numbers issued are no whole numbers", where=ROUNDS_FILE)
    return issued


_ROUND = TypeAdapter(Round)


def _round_content(plan: Plan, entry: Round) -> dict[str, Any]:
    runs = tuple(
        run for run, number in zip(plan.run, plan.round, strict=True) if number == entry.number
    )
    whole = replace(entry, runs=runs)
    content: dict[str, Any] = to_plain(
        {one.name: getattr(whole, one.name) for one in fields(whole)}
    )
    return content


def _numbers(table: Table, name: str, faults: list[Fault]) -> list[int | None]:
    return [table.whole(i, name, faults) for i in range(len(table))]


def _kind(table: Table, i: int, faults: list[Fault]) -> Kind:
    said = table.text(i, "kind").strip()
    for kind in KINDS:
        if said == kind:
            return kind
    what = f"the kind '{said}' is not known"
    faults.append(Fault(where=table.place(i, "kind"), what=what, allowed=", ".join(KINDS)))
    return "design"


def _membership_faults(
    table: Table, runs: list[int | None], numbers: list[int | None], rounds: tuple[Round, ...]
) -> list[Fault]:
    """Check that the two files speak of the same runs, each once."""
    faults: list[Fault] = []
    owner = {run: entry.number for entry in rounds for run in entry.runs}
    seen: set[int] = set()
    for i, (run, number) in enumerate(zip(runs, numbers, strict=True)):
        where = table.place(i, "run")
        if run is None or number is None:
            if not table.text(i, "run") or not table.text(i, "round"):
                faults.append(Fault(where=where, what="the line has no run or round number"))
            continue
        if run in seen:
            faults.append(Fault(where=where, what=f"run {run} stands twice", do=_RESTORE))
        if owner.get(run) != number:
            what = f"run {run} is not among the runs of round {number} in {ROUNDS_FILE}"
            faults.append(Fault(where=where, what=what, do=_RESTORE))
        seen.add(run)
    lost = sorted(set(owner) - seen)
    if lost and not faults:
        what = f"the lines of runs {', '.join(map(str, lost))} are gone"
        do = "Put them back; a run that was lost is told with `millbase note`."
        faults.append(Fault(where=table.source, what=what, do=do))
    return faults


_RESTORE = "Put back what was changed by hand: run numbers are issued once and never reused."
