"""What a bench cell means: a number in either decimal sign, a flag, a date, a level."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from doe.errors import Fault
from doe.methods.rating_words import rating_of
from doe.sheets.book_pages import Spot
from doe.study.finding import Finding
from doe.study.names import fold, match_name
from doe.study.numerals import Decimal, parse_number, possible_decimals
from doe.study.readings import Flag
from doe.study.tables import number_fault

_COMMA: frozenset[Decimal] = frozenset((",",))
_POINT: frozenset[Decimal] = frozenset((".",))
_GELLED = frozenset({"gelled", "gel"})
_RANGE = re.compile(r"^(.+?)\s*(?:\bto\b|\.\.+|…)\s*(.+)$", re.IGNORECASE)
_ALLOWED = "a number, or gelled, lost, > 5000, < 5, 5 to 10"


@dataclass(frozen=True, slots=True, kw_only=True)
class CellReading:
    """What a reading cell says; the flag is None where it only repeats an exclusion."""

    flag: Flag | None
    value: float | None = None
    value_to: float | None = None


def decide_sign(spots: Iterable[Spot]) -> tuple[Decimal, list[Fault], list[Finding]]:
    """Decide the decimal sign of numbers that were typed as text, once for the whole file.

    Returns:
        The sign, what cannot be decided, and what was decided.
    """
    seen: dict[frozenset[Decimal], list[Spot]] = {}
    for spot in spots:
        if isinstance(spot.value, str):
            for part in _number_parts(spot.text):
                seen.setdefault(possible_decimals(part), []).append(spot)
    comma, point, either = (seen.get(signs, []) for signs in (_COMMA, _POINT, _COMMA | _POINT))
    faults = []
    if comma and point:
        faults.append(
            Fault(
                where=point[0].where,
                what=f"'{point[0].text}' has a decimal point, but '{comma[0].text}' "
                f"({comma[0].where}) a decimal comma",
                allowed="one decimal sign in a file",
                do="Type these cells as numbers.",
            )
        )
    elif either and not comma and not point:
        faults += [
            Fault(
                where=spot.where,
                what=f"'{spot.text}' is a text that may be read with a decimal comma or with "
                "groups of thousands",
                do="Type it as a number.",
            )
            for spot in either
        ]
    findings = []
    if comma:
        findings.append(
            Finding(
                level="note",
                what="Numbers typed as text are read with a decimal comma.",
                evidence={"cells": len(comma) + len(either), "first": comma[0].where},
            )
        )
    return "," if comma else ".", faults, findings


@dataclass(frozen=True, slots=True, kw_only=True)
class CellReader:
    """Reads cells in one decimal sign and gathers what it cannot understand.

    Attributes:
        sign: Decimal sign of numbers that were typed as text.
        faults: What was wrong so far.
    """

    sign: Decimal
    faults: list[Fault] = field(default_factory=list)

    def number(self, spot: Spot) -> float | None:
        """Read a number; None for a blank cell and after a fault."""
        if isinstance(spot.value, bool):
            self.faults.append(Fault(where=spot.where, what=f"'{spot.text}' is not a number"))
            return None
        if isinstance(spot.value, (int, float)):
            return float(spot.value)
        if spot.is_uncomputed:
            self.faults.append(
                Fault(
                    where=spot.where,
                    what="the cell holds a formula that has not been computed",
                    do="Open the workbook in a spreadsheet, save it, and enter it again.",
                )
            )
            return None
        if spot.is_blank:
            return None
        number = self._parsed(spot.text) if isinstance(spot.value, str) else None
        if number is None:
            self.faults.append(number_fault(spot.text, spot.where))
        return number

    def grams(self, spot: Spot) -> float | None:
        """Read grams, 0 or more."""
        grams = self.number(spot)
        if grams is not None and grams < 0:
            self.faults.append(
                Fault(where=spot.where, what=f"{grams:g} g were weighed", allowed="0 g or more")
            )
            return None
        return grams

    def whole(self, spot: Spot) -> int | None:
        """Read a whole number from 1, such as a run."""
        number = self.number(spot)
        if number is None:
            return None
        if number < 1 or number != int(number):
            self.faults.append(
                Fault(
                    where=spot.where,
                    what=f"'{spot.text}' cannot number anything",
                    allowed="whole numbers from 1",
                )
            )
            return None
        return int(number)

    def date(self, spot: Spot) -> str:
        """Read a date, with or without a time, in ISO form; empty for a blank cell."""
        if isinstance(spot.value, datetime.datetime):
            is_day = spot.value.time() == datetime.time(0)
            return (
                spot.value.date().isoformat()
                if is_day
                else spot.value.isoformat(timespec="minutes")
            )
        if isinstance(spot.value, datetime.date):
            return spot.value.isoformat()
        if spot.is_blank:
            return ""
        try:
            return datetime.datetime.fromisoformat(spot.text).isoformat().removesuffix("T00:00:00")
        except ValueError:
            self.faults.append(
                Fault(
                    where=spot.where,
                    what=f"'{spot.text}' is no date",
                    allowed="a date, such as 2026-03-14",
                )
            )
            return ""

    def level(self, spot: Spot, levels: Sequence[str]) -> str:
        """Read a level of a named choice in the spelling of the brief; empty for a blank cell."""
        if spot.is_blank:
            return ""
        level = match_name(spot.text, levels)
        if level is None:
            self.faults.append(
                Fault(
                    where=spot.where,
                    what=f"'{spot.text}' is no level of the brief",
                    allowed=", ".join(f"'{one}'" for one in levels),
                )
            )
        return level or ""

    def reading(self, spot: Spot) -> CellReading | None:
        """Read a reading: a number or a flag; None for a blank cell and after a fault."""
        word = fold(spot.text) if isinstance(spot.value, str) else ""
        if word in _GELLED:
            return CellReading(flag="gelled")
        if word == "lost":
            return CellReading(flag="lost")
        if word == "excluded":
            return CellReading(flag=None)
        off_scale = self._off_scale(spot, word) if word else None
        if off_scale is not None:
            return off_scale if off_scale.value is not None else None
        known = len(self.faults)
        number = self.number(spot)
        if number is not None:
            return CellReading(flag="ok", value=number)
        if word and len(self.faults) > known and not self.faults[-1].do:
            last = self.faults.pop()
            self.faults.append(Fault(where=last.where, what=last.what, allowed=_ALLOWED))
        return None

    def rating(
        self,
        spot: Spot,
        ratings: Mapping[str, float],
        spellings: Mapping[str, float] | None = None,
    ) -> CellReading | None:
        """Read a rating: one of its words, a number between the least and the greatest, a flag."""
        rated = rating_of(spot.text, ratings, spellings)
        if rated is not None:
            return CellReading(flag="ok", value=rated)
        text = spot.text
        known = len(self.faults)
        said = self.reading(spot)
        ends = min(ratings.values()), max(ratings.values())
        inside = (
            said is None or said.value is None or said.flag != "ok"
            or ends[0] <= said.value <= ends[1]
        )  # fmt: skip
        if len(self.faults) == known and inside:
            return said
        del self.faults[known:]
        words = ", ".join(f"'{one}'" for one in ratings)
        allowed = f"{words}, or gelled, lost"
        self.faults.append(
            Fault(where=spot.where, what=f"'{text}' is no rating of this test", allowed=allowed)
        )
        return None

    def _off_scale(self, spot: Spot, word: str) -> CellReading | None:
        """Read `> 5000`, `< 5` and `5 to 10`; without a value after a fault, None for all else."""
        if word[0] in "<>≤≥":
            flag: Flag = "above" if word[0] in ">≥" else "below"
            number = self._parsed(word.lstrip("<>≤≥= "))
            if number is None:
                self.faults.append(_not_understood(spot))
            return CellReading(flag=flag, value=number)
        match = _RANGE.match(word)
        if match is None:
            return None
        low, high = (self._parsed(part) for part in match.groups())
        if low is None or high is None or not low < high:
            self.faults.append(_not_understood(spot))
            return CellReading(flag="between")
        return CellReading(flag="between", value=low, value_to=high)

    def _parsed(self, text: str) -> float | None:
        """Read a number in the sign of the file.

        Only a file that mixes both signs, which is a fault already, has cells that need the other:
        they are no second fault.
        """
        number = parse_number(text, self.sign)
        return parse_number(text, "." if self.sign == "," else ",") if number is None else number


def _not_understood(spot: Spot) -> Fault:
    return Fault(where=spot.where, what=f"'{spot.text}' is no reading", allowed=_ALLOWED)


def _number_parts(text: str) -> Iterable[str]:
    match = _RANGE.match(text)
    return match.groups() if match else (text,)
