"""Labels of reflectance curves: whose they are, as people name them in an instrument."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, cast

from doe.errors import Fault
from doe.study.curves import Subject
from doe.study.names import fold, tidy

# Which of several curves of a unit: the words that the methods know.
WORDS = ("rubbed", "over black", "over white", "masstone")
ALLOWED = (
    "'run 7' or '7', 'standard', 'white', then where needed 'repeat 2', 'panel 3', 'day 2', "
    f"'card C4', '14 d', or one of {', '.join(WORDS)}"
)
COLUMNS = ("run", "subject", "panel", "repeat", "day", "card", "age_d", "what")

Part = Literal["panel", "repeat", "day", "card", "age_d", "what"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveLabel:
    """Whose a curve is; fields as those of `Curve`."""

    subject: Subject
    run: int | None = None
    day: int | None = None
    card: str = ""
    panel: int | None = None
    age_d: float | None = None
    repeat: int | None = None
    what: str = ""


_HEAD = re.compile(
    r"(?:run[ #-]*)?(?P<run>\d+)(?:\.0)?(?![\w.])|(?P<subject>standard|white)\b", re.I
)
_PARTS = re.compile(
    r"(?P<name>panel|repeat|day)[ -]*(?P<number>\d+)(?!\w)"
    r"|card[ -]*(?P<card>[^\s]+)"
    r"|(?:age )?(?P<age>\d+(?:[.,]\d+)?) ?d(?:ays?)?(?!\w)"
    r"|(?P<what>rubbed|over black|over white|mass ?tone)(?!\w)",
    re.I,
)
_SEPARATORS = re.compile(r"[\s_,;/|]+")


def label_of_text(text: str) -> CurveLabel | None:
    """Read a label; None where it is none.

    Example:
        >>> label = label_of_text("Run 7, repeat 2")
        >>> label is not None and (label.run, label.repeat)
        (7, 2)
    """
    plain = tidy(_SEPARATORS.sub(" ", text))
    head = _HEAD.match(plain)
    if head is None:
        return None
    found = CurveLabel(subject="run", run=int(head["run"]) if head["run"] else None)
    if head["subject"]:
        found = replace(found, subject=cast("Subject", head["subject"].casefold()))
    rest = plain[head.end() :].lstrip()
    while rest:
        match = _PARTS.match(rest)
        said = None if match is None else _part(match)
        if match is None or said is None or getattr(found, said[0]) not in (None, ""):
            return None
        found = replace(found, **{said[0]: said[1]})
        rest = rest[match.end() :].lstrip()
    return found


def label_of_cells(cells: Mapping[str, str], where: str) -> CurveLabel | Fault:
    """Put a label together from the columns of a table.

    Args:
        cells: What stands in the columns `label`, `run`, `subject`, `panel` …; blank ones may be
            left out.
        where: Place of the curve, for messages.
    """
    said = {name: cell.strip() for name, cell in cells.items() if cell.strip()}
    subject = fold(said.get("subject", ""))
    named = said.get("run") or said.get("label", "")
    if subject in ("standard", "white"):
        if said.get("run"):
            what = f"a curve of the {subject} has run '{said['run']}'"
            return Fault(where=where, what=what, do="Leave one of the two blank.")
        named = subject
    elif subject not in ("", "run"):
        return Fault(
            where=where, what=f"the subject is '{subject}'", allowed="run, standard, white"
        )
    label = label_of_text(named)
    if label is None or (label.run is not None and label.run < 1):
        return _unknown(named, where)
    for name in ("panel", "repeat", "day", "card", "age_d", "what"):
        if name in said:
            merged = _with(label, name, said[name], where)
            if isinstance(merged, Fault):
                return merged
            label = merged
    return _checked(label, where)


def _with(label: CurveLabel, name: str, text: str, where: str) -> CurveLabel | Fault:
    reads: dict[str, Callable[[str], Any]] = {
        "panel": _whole, "repeat": _whole, "day": _whole,
        "card": tidy, "age_d": _number, "what": _word,
    }  # fmt: skip
    value = reads[name](text)
    if value is None:
        allowed = {"what": ", ".join(WORDS), "age_d": "days, 0 or more"}
        return Fault(
            where=where,
            what=f"'{name}' is '{text}'",
            allowed=allowed.get(name, "whole numbers from 1"),
        )
    before = getattr(label, name)
    if before not in (None, "", value):
        what = f"the label says {name} {before}, the column '{name}' {text}"
        return Fault(where=where, what=what, do="Say it once.")
    return replace(label, **{name: value})


def _checked(label: CurveLabel, where: str) -> CurveLabel | Fault:
    if label.subject == "run" and label.day is not None:
        return Fault(
            where=where,
            what=f"run {label.run} is given day {label.day}, and the plan says the day of a run",
            do="Leave the day to the curves of standard and white.",
        )
    if any(number == 0 for number in (label.panel, label.repeat, label.day)):
        return Fault(
            where=where, what="a panel, repeat or day is numbered 0", allowed="numbers from 1"
        )
    return replace(label, repeat=label.repeat or 1)


def _unknown(text: str, where: str) -> Fault:
    what = f"'{text}' names no curve" if text else "the curve has no label"
    return Fault(where=where, what=what, allowed=ALLOWED)


def _part(match: re.Match[str]) -> tuple[Part, Any] | None:
    if match["name"]:
        return cast("Part", match["name"].casefold()), int(match["number"])
    if match["card"]:
        return "card", match["card"]
    if match["age"]:
        return "age_d", _number(match["age"])
    return "what", _word(match["what"])


def _word(text: str) -> str | None:
    plain = fold(text).replace("mass tone", "masstone")
    return plain if plain in WORDS else None


def _whole(text: str) -> int | None:
    match = re.fullmatch(r"(\d+)(?:[.,]0+)?", text.strip())
    return int(match[1]) if match and int(match[1]) >= 1 else None


def _number(text: str) -> float | None:
    match = re.fullmatch(r"\d+(?:[.,]\d+)?", text.strip())
    return float(match[0].replace(",", ".")) if match else None
