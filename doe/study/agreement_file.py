"""`agreement.toml`: the agreement by version, a file that only ever grows at its end.

A new version, a role's line and the final word are each written behind all that stands there, so
that nothing said before is lost and comments that people put in stay where they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any

from pydantic import TypeAdapter, ValidationError

from doe.errors import Fault, StudyError
from doe.study.agreement import AGREEMENT_FILE, Agreement, FinalWord, RoleLine, Version
from doe.study.file_format import FORMAT, read_toml
from doe.study.toml_text import toml_table, toml_value

_HEAD = (
    "# Written by millbase: what the team agreed on, by version. The file grows at its end; add\n"
    "# comments where you like, they stay.\n"
    f"format = {FORMAT}\n"
)
# Tables of a version, each by the name of the field that holds its rows.
_ROWS = {
    "setting": "settings", "formula": "formula", "titration": "titrations",
    "end_point": "end_points", "laboratory": "laboratory", "reading": "readings",
    "gain": "gains", "confirmation": "confirmations", "line": "lines",
}  # fmt: skip
_VERSIONS = TypeAdapter(tuple[Version, ...])


def with_version(data: bytes | None, version: Version) -> bytes:
    """Add a version behind the others; None for the first of a study."""
    return _grown(data, _version_lines(version))


def with_line(data: bytes, line: RoleLine) -> bytes:
    """Add what a role said of the last version."""
    return _grown(data, toml_table(("version", "line"), _filled(line), repeated=True))


def with_final(data: bytes, word: FinalWord) -> bytes:
    """Add the final word on the last version."""
    return _grown(data, toml_table(("version", "final"), _filled(word)))


def decode_agreement(data: bytes, where: str = AGREEMENT_FILE) -> Agreement:
    """Read every version.

    Raises:
        StudyError: The file is no TOML, has faults, or is of an unknown format.
    """
    content = read_toml(data, where)
    unknown = [key for key in content if key not in ("format", "version")]
    if unknown:
        raise StudyError.from_faults(
            Fault(where=where, what=f"the key '{key}' is not known", allowed="format, version")
            for key in unknown
        )
    plain = [_by_field(one) for one in _rows_of(content)]
    try:
        versions = _VERSIONS.validate_python(plain)
    except ValidationError as cause:
        raise StudyError.from_faults(
            Fault(where=f"{where}, {_key(one['loc'])}", what=one["msg"]) for one in cause.errors()
        ) from cause
    _refuse_disorder(versions, where)
    return Agreement(versions=versions)


def _grown(data: bytes | None, lines: list[str]) -> bytes:
    before = _HEAD.encode() if data is None else data
    gap = b"" if before.endswith(b"\n") else b"\n"
    return before + gap + ("\n" + "\n".join(lines) + "\n").encode()


def _version_lines(version: Version) -> list[str]:
    """Write a version: what is single first, then its tables."""
    whole = {one.name: getattr(version, one.name) for one in fields(version)}
    tables = {*_ROWS.values(), "inputs", "final"}
    single = {key: said for key, said in whole.items() if key not in tables}
    plain = _plain(single)
    lists = {key: said for key, said in plain.items() if isinstance(said, tuple)}
    scalars = {key: said for key, said in plain.items() if key not in lists}
    lines = toml_table(("version",), scalars, repeated=True)
    for key, sentences in lists.items():
        lines += [f"{key} = [", *(f"    {toml_value(one)}," for one in sentences), "]"]
    lines += ["", *toml_table(("version", "inputs"), version.inputs)]
    for table, name in _ROWS.items():
        for row in whole[name]:
            lines += ["", *toml_table(("version", table), _filled(row), repeated=True)]
    return lines


def _filled(value: Any) -> dict[str, Any]:
    return _plain({one.name: getattr(value, one.name) for one in fields(value)})


def _plain(pairs: Mapping[str, Any]) -> dict[str, Any]:
    """Leave out what is not said, and write dates as text."""
    return {
        key: said.isoformat() if isinstance(said, date) else said
        for key, said in pairs.items()
        if said not in (None, "", ())
    }


def _rows_of(content: Mapping[str, Any]) -> list[Any]:
    rows = content.get("version", [])
    return rows if isinstance(rows, list) else [rows]


def _by_field(row: Any) -> Any:
    if not isinstance(row, dict):
        return row
    return {_ROWS.get(key, key): said for key, said in row.items()}


def _key(place: tuple[int | str, ...]) -> str:
    """Write the place of a fault as the file has it, tables of one name counted from 1."""
    as_written = {name: table for table, name in _ROWS.items()}
    parts = [str(one + 1) if isinstance(one, int) else as_written.get(one, one) for one in place]
    return ".".join(("version", *parts))


def _refuse_disorder(versions: tuple[Version, ...], where: str) -> None:
    for place, version in enumerate(versions, start=1):
        if version.number != place:
            raise StudyError(
                f"version {version.number} stands in place {place}",
                where=where,
                allowed="versions 1, 2, 3 … in this order",
                do="Put back a copy from before it was changed.",
            )
