"""The shape of a brief: whether each key holds the kind of value that it should."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from doe.study.brief import Study, is_number
from doe.study.brief_flaws import Flaw
from doe.study.brief_lines import Path
from doe.study.names import nearest_name

# Each pass mends at least one key, and a key is mended at most twice; more passes mean a mistake.
_MOST_PASSES = 500
_NUMBER = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)\s*(.*?)\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A brief of the right shape, as far as it could be brought into it.

    Attributes:
        study: The brief with guesses in place of what does not fit.
        flaws: What does not fit.
        doubtful: Paths of the guesses.
    """

    study: Study
    flaws: tuple[Flaw, ...]
    doubtful: frozenset[Path]


def shape_brief(data: Mapping[str, Any]) -> Draft:
    """Bring a brief of known keys into shape and name every value that does not fit."""
    copy = _copied(data)
    flaws: dict[Path, Flaw] = {}
    doubtful: set[Path] = set()
    for _ in range(_MOST_PASSES):
        try:
            study = Study.model_validate(copy)
            return Draft(study=study, flaws=tuple(flaws.values()), doubtful=frozenset(doubtful))
        except ValidationError as error:
            for one in error.errors(include_url=False):
                path = _place(one, copy)
                if path not in flaws and not _is_settled(path, doubtful):
                    flaws[path] = _flaw(one, path, _value(copy, path))
                if not _mend(copy, path, one):
                    doubtful.add(path)
    raise RuntimeError("a brief that cannot be brought into shape")


def _is_settled(path: Path, doubtful: set[Path]) -> bool:
    """Tell whether a complaint only follows from what was taken away here or below."""
    return any(doubt[: len(path)] == path for doubt in doubtful)


def _copied(data: Any) -> Any:
    if isinstance(data, Mapping):
        return {key: _copied(said) for key, said in data.items()}
    return [_copied(said) for said in data] if isinstance(data, list) else data


def _place(error: ErrorDetails, data: Any) -> Path:
    """Give the path of a complaint, without the marks for alternatives of a type."""
    path: list[str | int] = []
    for key in error["loc"]:
        if _has(data, key) or (isinstance(data, dict) and _is_missing(key, error)):
            path.append(key)
            data = data.get(key) if isinstance(data, dict) else data[int(key)]
    return tuple(path)


def _is_missing(key: str | int, error: ErrorDetails) -> bool:
    return error["type"] == "missing" and key == error["loc"][-1]


def _has(data: Any, key: str | int) -> bool:
    if isinstance(data, dict):
        return key in data
    return isinstance(data, list) and isinstance(key, int) and key < len(data)


def _value(data: Any, path: Path) -> Any:
    for key in path:
        data = data[key] if _has(data, key) else None
    return data


# --- the sentences -----------------------------------------------------------------------------


def _flaw(error: ErrorDetails, path: Path, said: Any) -> Flaw:
    kind = error["type"]
    key = str(next((one for one in reversed(path) if isinstance(one, str)), ""))
    if kind == "missing" and isinstance(said, list):
        kind = "too_short"
    if kind == "missing":
        return Flaw(
            path=path,
            what=f"{key} is missing",
            do=_MISSING.get(key, f"Add {key} = …."),
            rests_on=(path, *(((),) if len(path) == 1 else ())),
        )
    if kind in _NUMBER_DUE:
        return _number_flaw(path, key, said, whole=kind.startswith("int"))
    if kind in _BOUNDS:
        sign = _BOUNDS[kind]
        bound = next(iter((error.get("ctx") or {}).values()), "")
        return Flaw(path=path, what=f"{key} is {_shown(said)}", allowed=f"{sign} {bound:g}")
    if kind == "literal_error":
        return _word_flaw(path, key, said, str((error.get("ctx") or {}).get("expected", "")))
    if kind == "string_type":
        return Flaw(
            path=path,
            what=f"{key} is {_kind(said)} where a text is due",
            do=f'Write {key} = "{said}" in quotes.' if is_number(said) else f'Write {key} = "…".',
        )
    what, do = _OTHERS.get(kind, (f"does not fit ({error['msg']})", ""))
    return Flaw(path=path, what=f"{key} {what}", do=do.format(key=key))


_NUMBER_DUE = frozenset({"float_type", "int_type", "finite_number", "int_from_float"})
_BOUNDS = {
    "greater_than": "above",
    "greater_than_equal": "at least",
    "less_than": "below",
    "less_than_equal": "at most",
}
_MISSING = {
    "title": 'Add title = "…", the study in one line.',
    "study": 'Add [study] with title = "…", the study in one line.',
    "name": 'Add name = "…".',
    "additive": "Add one [[package.additive]] for each member of the package.",
    "when": 'Add when = { choice = "level" }, the level that this range is for.',
    "low": "Add low = …, the lowest setting.",
    "high": "Add high = …, the highest setting.",
}
_OTHERS = {
    "number_or_word": ("is neither a number nor a word", "Write a number, or a word in quotes."),
    "levels_list": ("is not a list", "Write {key} = [ … ], levels with commas between."),
    "levels_mixed": (
        "mixes numbers and words",
        "Write all as numbers, or all as words in quotes.",
    ),
    "tuple_type": ("is not a list", "Write {key} = [ … ], with commas between."),
    "mapping_type": ("is no table of names", "Write {key} = {{ name = number }}."),
    "dict_type": ("is no table of names", "Write {key} = {{ name = number }}."),
    "bool_type": ("is neither true nor false", "Write {key} = true or {key} = false, no quotes."),
    "too_short": ("holds too little", "Name what belongs in {key}."),
    "too_long": (
        "holds too many entries",
        "Give just as many as are due; a decimal comma reads as two entries.",
    ),
}


def _number_flaw(path: Path, key: str, said: Any, *, whole: bool) -> Flaw:
    due = "a whole number" if whole else "a number"
    what = f"{key} is {_kind(said)} where {due} is due"
    if not isinstance(said, str):
        return Flaw(path=path, what=what, do=f"Write {due} after {key} =.")
    found = _NUMBER.fullmatch(said)
    if not found:
        return Flaw(path=path, what=what, do=f"Write {due} without quotes.")
    number, rest = found.group(1).replace(",", "."), found.group(2)
    what = f'{key} = "{said}" is a text, as numbers in quotes are'
    if "," in found.group(1):
        what = f'{key} = "{said}" has quotes and a decimal comma'
    unit = f'; the unit goes in unit = "{rest}"' if rest else ""
    return Flaw(path=path, what=what, do=f"Write {key} = {number} without quotes{unit}.")


def _word_flaw(path: Path, key: str, said: Any, expected: str) -> Flaw:
    words = re.findall(r"'([^']*)'", expected)
    meant = nearest_name(said, words) if isinstance(said, str) else None
    return Flaw(
        path=path,
        what=f"{key} is {_shown(said)}",
        allowed=", ".join(words),
        do=f'Probably "{meant}" is meant.' if meant else "",
    )


def _kind(said: Any) -> str:
    if isinstance(said, bool):
        return f"{str(said).lower()}"
    if isinstance(said, datetime.date | datetime.time):
        return f"the date {said}"
    if isinstance(said, list):
        return "a list"
    if isinstance(said, dict):
        return "a table"
    return f"the text {_shown(said)}" if isinstance(said, str) else _shown(said)


def _shown(said: Any) -> str:
    if isinstance(said, str):
        return f'"{said}"' if len(said) <= 40 else f'"{said[:37]}…"'
    if isinstance(said, bool):
        return str(said).lower()
    return f"{said:g}" if isinstance(said, float) else f"{said!s:.40}"


# --- the mends ---------------------------------------------------------------------------------

_STAND_INS: dict[str, Any] = {
    "study": {"title": "untitled"}, "title": "untitled", "role": "?", "sd": 0.0, "low": 0.0,
    "percent": 0.0, "grams": 0.0, "mean": 0.0, "sum": {"?": 1.0}, "settings": {"?": 1.0},
    "when": {}, "importance": {}, "additive": [{"name": "additive 1", "low": 0.0, "high": 1.0}],
}  # fmt: skip


def _mend(data: Any, path: Path, error: ErrorDetails) -> bool:
    """Put a likely value where one does not fit; False if it says nothing of what was meant."""
    said, holder = _value(data, path), _value(data, path[:-1])
    if error["type"] == "missing" and not isinstance(said, list):
        holder[path[-1]] = _stand_in(path)
        return False
    likely = _likely(said, error["type"])
    if likely is not None and likely != said:
        holder[path[-1]] = likely
        return True
    while isinstance(holder, list):  # a list with an entry less would be another list
        path = path[:-1]
        holder = _value(data, path[:-1])
    del holder[path[-1]]
    return False


def _stand_in(path: Path) -> Any:
    key = path[-1]
    if key == "name":
        return " ".join(str(one + 1 if isinstance(one, int) else one) for one in path[:-1])
    return _STAND_INS.get(str(key), 1.0)


def _likely(said: Any, kind: str) -> Any:
    if kind in _NUMBER_DUE and isinstance(said, str):
        found = _NUMBER.fullmatch(said)
        number = float(found.group(1).replace(",", ".")) if found else None
        return int(number) if number is not None and kind == "int_type" else number
    if kind == "string_type" and is_number(said):
        return str(said)
    if kind == "tuple_type" and isinstance(said, str):
        return [said]
    if kind == "bool_type" and isinstance(said, str):
        return {"true": True, "yes": True, "false": False, "no": False}.get(said.casefold())
    return None
