"""The format number of our files, and the place where older ones are brought up to date."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Mapping
from typing import Any

from doe.errors import StudyError

FORMAT = 1

# How to bring the content of an older format one step further: by file name and format number.
UPDATES: Mapping[tuple[str, int], Callable[[dict[str, Any]], dict[str, Any]]] = {}


def current_content(
    content: Mapping[str, Any],
    where: str,
    *,
    updates: Mapping[tuple[str, int], Callable[[dict[str, Any]], dict[str, Any]]] = UPDATES,
    newest: int = FORMAT,
) -> dict[str, Any]:
    """Bring the content of a JSON or TOML file to the present format.

    Args:
        content: The file as read.
        where: Name of the file.
        updates: One step for each older format of a file.
        newest: The present format.

    Raises:
        StudyError: The format is missing, is no number, or is newer than this version knows.
    """
    found = content.get("format")
    allowed = f"format = 1 to {newest}" if newest > 1 else "format = 1"
    if not isinstance(found, int) or isinstance(found, bool) or found < 1:
        said = "the file names no format" if found is None else f"the format is {found!r}"
        raise StudyError(said, where=where, allowed=allowed)
    if found > newest:
        raise StudyError(
            f"the file has format {found}, which this version of millbase does not know",
            where=where,
            allowed=allowed,
            do="Bring millbase up to date.",
        )
    updated = dict(content)
    while updated["format"] < newest:
        updated = updates[where, updated["format"]](updated)
    return updated


def read_json(data: bytes, where: str) -> dict[str, Any]:
    """Read a JSON file of ours and bring it to the present format.

    Raises:
        StudyError: It is no JSON object, or of an unknown format.
    """
    try:
        content = json.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, json.JSONDecodeError) as cause:
        raise _not_ours("JSON", where, cause) from cause
    if not isinstance(content, dict):
        raise StudyError("the file holds no JSON object", where=where)
    return current_content(content, where)


def read_toml(data: bytes, where: str) -> dict[str, Any]:
    """Read a TOML file of ours and bring it to the present format.

    Raises:
        StudyError: It is no TOML, or of an unknown format.
    """
    try:
        content = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as cause:
        raise _not_ours("TOML", where, cause) from cause
    return current_content(content, where)


def write_json(content: Mapping[str, Any]) -> bytes:
    """Write a JSON file of ours: two blanks of indent, keys as given, no NaN.

    Raises:
        ValueError: A number is not finite or a value is no JSON.
    """
    text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()


def _not_ours(syntax: str, where: str, cause: ValueError) -> StudyError:
    return StudyError(
        f"the file is not the {syntax} that millbase wrote ({cause})",
        where=where,
        do="Put back a copy from before it was changed.",
    )
