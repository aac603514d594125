"""Reading a term as people write it: `dose × pH`, `pH*dose`, `dose^2`, `"a × b" × dose`."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from doe.errors import FitError
from doe.model.coding import Coding, NumericAxis, ShareAxis
from doe.model.term import INTERCEPT, Term, quoted, term_label
from doe.study.names import fold, nearest_name

_TIMES = re.compile(r"\s*(?:[×*·]|(?<=\s)[xX](?=\s))\s*")
_POWER = re.compile(r"\s*(?:(?P<raised>[²³])|(?:\^|\*\*)\s*(?P<plain>\d+))")
_QUOTED = re.compile(r'"((?:[^"]|"")*)"|\'([^\']*)\'')
_MINUS = re.compile(r"\s*[−–-]\s*")

# One factor of a product: its name, its power and, for the reader, how it was meant.
_Part = tuple[str, int]
# Highest power that is read; models of the house go to the square of a factor.
HIGHEST_POWER = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    """One way to read a text: the parts of a product, and the pair of a trailing `(x − y)`."""

    parts: tuple[_Part, ...]
    difference: tuple[str, str] | None = None

    def spelled(self) -> str:
        """Write it with every name quoted, so that it has no second reading."""
        parts = [
            quoted(name, always=True) + (f"^{power}" if power > 1 else "")
            for name, power in self.parts
        ]
        if self.difference:
            parts.append("({} − {})".format(*(quoted(n, always=True) for n in self.difference)))
        return " × ".join(parts)


def parse_term(text: str, coding: Coding) -> Term:
    """Read a term.

    Args:
        text: Names joined by ×, * or a free-standing x; powers as ², ^2 or **2; any order; quotes
            protect a name. `intercept` is the constant.
        coding: The settings whose names it may hold.

    Returns:
        The term, its settings in the study's order.

    Raises:
        FitError: No setting has such a name, the text has two readings, or the term means nothing
            (a squared share, a square of a named choice or of two levels).

    Example:
        >>> from doe.model.coding import NumericAxis
        >>> axes = (NumericAxis(name="dose", unit="%", low=1, high=2),
        ...         NumericAxis(name="pH", unit="", low=8, high=9))
        >>> term_label(parse_term("PH * dose", Coding(axes=axes)))
        'dose × pH'
    """
    if fold(text) in {"intercept", "1"} and fold(text) not in {fold(n) for n in coding.names}:
        return INTERCEPT
    names = {fold(name): name for name in coding.names}
    readings: dict[Term, _Reading] = {}
    strays: list[tuple[str, str]] = []
    for reading in _readings(text, names):
        term = _term_of(reading, coding)
        if term is None:
            strays += [reading.difference] if reading.difference else []
        else:
            readings.setdefault(term, reading)
    if not readings:
        raise _stray(strays[0]) if strays else _unknown(text, coding)
    if len(readings) > 1:
        ways = " or ".join(reading.spelled() for reading in readings.values())
        raise FitError(
            f"the term '{text}' has two readings: {ways}",
            allowed="a term with one reading",
            do="Put quotes round each name.",
        )
    term = next(iter(readings))
    _refuse_meaningless(term, coding)
    return term


def unambiguous_label(term: Term, coding: Coding) -> str:
    """Write a term so that `parse_term` gives it back, with quotes only where they are needed."""
    label = term_label(term)
    names = {fold(name): name for name in coding.names}
    if term == INTERCEPT or _only_reading(label, names, coding) == term:
        return label
    difference = (term.names[0], term.names[1]) if term.delta else None
    return _Reading(parts=term.powers, difference=difference).spelled()


def _only_reading(label: str, names: dict[str, str], coding: Coding) -> Term | None:
    terms = {_term_of(reading, coding) for reading in _readings(label, names)}
    return terms.pop() if len(terms) == 1 else None


def _readings(text: str, names: dict[str, str]) -> Iterator[_Reading]:
    """Go through every way to split a text into names, powers and signs between them."""
    for name, power, end in _factors_at(text, names):
        if not text[end:].strip():
            yield _Reading(parts=((name, power),))
            continue
        sign = _TIMES.match(text, end)
        if sign is None:
            continue
        rest = text[sign.end() :]
        for difference in _differences(rest, names):
            yield _Reading(parts=((name, power),), difference=difference)
        for reading in _readings(rest, names):
            parts = ((name, power), *reading.parts)
            yield _Reading(parts=parts, difference=reading.difference)


def _factors_at(text: str, names: dict[str, str]) -> Iterator[tuple[str, int, int]]:
    """Give every name that starts the text, with its power and where it ends."""
    start = len(text) - len(text.lstrip())
    token = _QUOTED.match(text, start)
    bare = "" if token is None else (token.group(1) or token.group(2) or "").replace('""', '"')
    if token is not None and fold(bare) in names:
        # Quotes protect: nothing else is read where they close round a name.
        ends = [(names[fold(bare)], token.end())]
    else:
        ends = [
            (names[fold(text[start:end])], end)
            for end in range(start + 1, len(text) + 1)
            # A name ends in a letter of its own: "pH " would be "pH" a second time.
            if not text[end - 1].isspace() and fold(text[start:end]) in names
        ]
    for name, end in ends:
        yield name, 1, end
        power = _POWER.match(text, end)
        if power is not None:
            raised = power.group("raised")
            n = {"²": 2, "³": 3}[raised] if raised else int(power.group("plain"))
            if 1 <= n <= HIGHEST_POWER:
                yield name, n, power.end()


def _differences(text: str, names: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Read a text that is `(x − y)` and nothing else."""
    body = text.strip()
    if not (body.startswith("(") and body.endswith(")")):
        return
    inner = body[1:-1]
    for minus in _MINUS.finditer(inner):
        left = _whole_name(inner[: minus.start()], names)
        right = _whole_name(inner[minus.end() :], names)
        if left is not None and right is not None:
            yield left, right


def _whole_name(text: str, names: dict[str, str]) -> str | None:
    for name, power, end in _factors_at(text, names):
        if power == 1 and not text[end:].strip():
            return name
    return None


def _term_of(reading: _Reading, coding: Coding) -> Term | None:
    """Give the term of a reading; None where its `(x − y)` is not of the two shares before it."""
    total: dict[str, int] = {}
    for name, power in reading.parts:
        total[name] = total.get(name, 0) + power
    powers = tuple((name, total[name]) for name in coding.names if name in total)
    if reading.difference is None:
        return Term(powers=powers)
    if set(reading.difference) != set(total) or any(power != 1 for _, power in powers):
        return None
    return Term(powers=powers, delta=True)


def _stray(difference: tuple[str, str]) -> FitError:
    return FitError(
        f"the part ({difference[0]} − {difference[1]}) does not belong to the product before it",
        allowed="x × y × (x − y) of two shares",
        do="Name the same two shares in the product and in the difference.",
    )


def _unknown(text: str, coding: Coding) -> FitError:
    pieces = [piece.strip() for piece in re.split(r"[×*·²³^]+", text) if piece.strip()]
    known = {fold(name) for name in coding.names}
    strangers = [p for p in pieces if fold(p) not in known and not p.isdigit()]
    stranger = strangers[0] if strangers else text
    near = nearest_name(stranger, coding.names)
    return FitError(
        f"the term '{text}' holds no setting of this study at '{stranger}'",
        allowed=", ".join(coding.names),
        do=f"Did you mean '{near}'?" if near else "Put quotes round a name that holds signs.",
    )


def _refuse_meaningless(term: Term, coding: Coding) -> None:
    for name, power in term.powers:
        axis = coding.axes[coding.index(name)]
        if isinstance(axis, ShareAxis):
            _refuse_share_power(name, power, term, coding)
        elif power > 1 and not (isinstance(axis, NumericAxis) and len(axis.levels) not in {1, 2}):
            why = (
                f"at its two levels '{name}²' is the same number"
                if isinstance(axis, NumericAxis)
                else f"'{name}' is a named choice and has no square"
            )
            raise FitError(
                f"the term '{term_label(term)}' cannot be told apart: {why}",
                allowed="squares of numeric factors with a range or three and more levels",
                do="Leave the term out.",
            )
    if term.delta and not all(name in {a.name for a in coding.shares} for name in term.names):
        raise FitError(
            f"the term '{term_label(term)}' is an antisymmetric part of something else than shares",
            allowed="x × y × (x − y) of two shares",
        )


def _refuse_share_power(name: str, power: int, term: Term, coding: Coding) -> None:
    if power == 1:
        return
    others = [axis.name for axis in coding.shares if axis.name != name]
    products = "".join(f" − {name} × {other}" for other in others)
    raise FitError(
        f"the term '{term_label(term)}' squares a share, and shares add to 1: "
        f"{name}² = {name}{products}",
        allowed="products of different shares",
        do="Use the products of shares; they hold the square.",
    )
