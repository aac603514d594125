"""Reading a brief: from the bytes of `study.toml` to a `Study`, or to all its faults at once."""

from __future__ import annotations

import tomllib

from pydantic import ValidationError

from doe.errors import Fault, StudyError
from doe.study.brief import Study


def parse_brief(data: bytes, where: str = "study.toml") -> Study:
    """Read the bytes of a brief.

    Raises:
        StudyError: The brief has faults; the error holds all of them.
    """
    try:
        return Study.model_validate(tomllib.loads(data.decode("utf-8-sig")))
    except ValidationError as error:
        raise StudyError.from_faults(
            Fault(where=f"{where}, {'.'.join(map(str, one['loc']))}", what=one["msg"])
            for one in error.errors()
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise StudyError(str(error), where=where) from error
