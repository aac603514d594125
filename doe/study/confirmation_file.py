"""`confirmation.json`: every round of confirmation batches as it was planned, never remade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from pydantic import TypeAdapter, ValidationError

from doe.errors import Fault, StudyError
from doe.study.confirmation import CONFIRMATION_FILE, Confirmation
from doe.study.file_format import FORMAT, read_json, write_json
from doe.study.plain_json import to_plain

_ENTRIES = TypeAdapter(tuple[Confirmation, ...])


def encode_confirmations(entries: Sequence[Confirmation]) -> bytes:
    """Write all entries, oldest first."""
    return write_json({"format": FORMAT, "entries": [to_plain(asdict(one)) for one in entries]})


def decode_confirmations(data: bytes, where: str = CONFIRMATION_FILE) -> tuple[Confirmation, ...]:
    """Read all entries.

    Raises:
        StudyError: The file is no JSON, has faults, or is of an unknown format.
    """
    content = read_json(data, where)
    try:
        return _ENTRIES.validate_python(content.get("entries", []))
    except ValidationError as cause:
        raise StudyError.from_faults(
            Fault(
                where=f"{where}, entries.{'.'.join(str(part) for part in one['loc'])}",
                what=one["msg"],
                do="Put back a copy from before it was changed.",
            )
            for one in cause.errors()
        ) from cause
