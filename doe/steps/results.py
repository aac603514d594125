"""Writing what a step found: results that may be made again, and decisions that may not."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from doe.steps.session import Session
from doe.study.choices import Choices


def json_bytes(body: Mapping[str, Any]) -> bytes:
    """Write an object as people can read it, the same bytes for the same object."""
    text = json.dumps(body, ensure_ascii=False, allow_nan=False, indent=1)
    return (text + "\n").encode("utf-8")


def write_results(
    session: Session, files: Mapping[str, bytes], *, command: str
) -> tuple[Path, ...]:
    """Write files into `results/`; older ones of the same name are made anew."""
    placed = {f"results/{name}": data for name, data in files.items()}
    return session.folder.write(placed, command=command)


def write_choices(session: Session, choices: Choices, *, command: str) -> Session:
    """Put decisions on record, and give the session that knows them."""
    session.folder.write(session.folder.choices_file(choices), command=command)
    return replace(session, choices=choices)
