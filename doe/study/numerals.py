"""Numerals: numbers as people and spreadsheets write them, and what dates among them may mean."""

from __future__ import annotations

import math
import re
from typing import Literal

Decimal = Literal[".", ","]

# Blanks that typesetters and spreadsheets put between groups of three digits: no-break, figure,
# thin, narrow no-break and plain.
_BLANKS = str.maketrans(dict.fromkeys("\u00a0\u2006\u2007\u2008\u2009\u200a\u202f", " "))
# Unicode minus, hyphens and dashes that stand for a minus before a digit; apostrophes of groups.
_SIGNS = str.maketrans(
    dict.fromkeys("\u2212\u2010\u2011\u2012\u2013\ufe63\uff0d", "-") | {"\u2019": "'"}
)
_PATTERNS: dict[str, re.Pattern[str]] = {
    decimal: re.compile(
        rf"[+-]?(?:(?:[0-9]+|[1-9][0-9]{{0,2}}([{group}' ])[0-9]{{3}}(?:\1[0-9]{{3}})*)"
        rf"(?:{re.escape(decimal)}[0-9]*)?|{re.escape(decimal)}[0-9]+)(?:[eE][+-]?[0-9]+)?"
    )
    for decimal, group in ((".", ","), (",", "."))
}
_COMPARISON = re.compile(r"^\s*(?:[<>]=?|[≤≥=~≈])\s*")

# First letters of the months in English, German, French, Spanish, Italian and Dutch.
_MONTHS = {
    "jan": 1, "ene": 1, "gen": 1, "feb": 2, "fév": 2, "fev": 2, "mar": 3, "mär": 3, "mrz": 3,
    "maa": 3, "mrt": 3, "apr": 4, "avr": 4, "abr": 4, "may": 5, "mai": 5, "mag": 5, "mei": 5,
    "jun": 6, "jui": 6, "giu": 6, "jul": 7, "lug": 7, "aug": 8, "aoû": 8, "ago": 8, "sep": 9,
    "set": 9, "oct": 10, "okt": 10, "ott": 10, "nov": 11, "dec": 12, "dez": 12, "déc": 12,
    "dic": 12,
}  # fmt: skip
_MONTH = f"(?P<month>{'|'.join(_MONTHS)})[a-zà-ÿ]*"
_ISO_DATE = re.compile(r"\d{4}-(?P<m>\d{2})-(?P<d>\d{2})(?:[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?")
_DAY_MONTH = re.compile(rf"(?P<d>\d{{1,2}})[-./ ]*{_MONTH}(?:[-./ ]*(?:\d{{4}}|\d{{2}}))?\.?", re.I)
_MONTH_YEAR = re.compile(rf"{_MONTH}[-./ ]*(?P<y>\d{{2,4}})", re.I)
_DIGIT_DATE = re.compile(r"(?P<d>\d{1,2})([./-])(?P<m>\d{1,2})\2(?:\d{4}|\d{2})")
_TIME = re.compile(r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[ap]m)?", re.I)
_ERROR_VALUE = re.compile(r"#(?:[A-ZÄÖÜÉ0-9/_]+[!?]|N/A|NV|N/V|NULL)")


def parse_number(text: str, decimal: Decimal = ".") -> float | None:
    """Read a number; None if the text is none, or none that a float can hold.

    Groups of three digits may be set apart by blanks of any width, by apostrophes, and by the
    sign that is not the decimal sign.

    Example:
        >>> parse_number("−1 234,5", ",")
        -1234.5
    """
    plain = text.translate(_BLANKS).translate(_SIGNS).strip()
    if not _PATTERNS[decimal].fullmatch(plain):
        return None
    grouped = plain.replace(" ", "").replace("'", "")
    digits = grouped.replace("," if decimal == "." else ".", "").replace(decimal, ".")
    value = float(digits)
    return value if math.isfinite(value) else None


def possible_decimals(text: str) -> frozenset[Decimal]:
    """Tell which decimal signs a cell speaks for.

    Returns:
        One sign where only that reading is possible, both where the two readings differ
        ("1,234"), and none where the cell is no number or the sign does not matter.

    Example:
        >>> sorted(possible_decimals("1,234")), sorted(possible_decimals("> 0,5"))
        ([',', '.'], [','])
    """
    bare = _COMPARISON.sub("", text)
    point, comma = parse_number(bare, "."), parse_number(bare, ",")
    if point == comma:
        return frozenset()
    signs: tuple[tuple[Decimal, float | None], ...] = ((".", point), (",", comma))
    return frozenset(sign for sign, value in signs if value is not None)


def half_last_digit(text: str, decimal: Decimal = ".") -> float:
    """Give half a unit of the last printed digit: how far a rounded number may be off.

    Example:
        >>> half_last_digit("0.33")
        0.005
    """
    plain = text.translate(_BLANKS).strip().lower()
    mantissa, _, power = plain.partition("e")
    digits = len(mantissa.partition(decimal)[2])
    return float(f"0.5e{int(power or 0) - digits}")


def date_meant(text: str) -> str | None:
    """Guess the number that a spreadsheet may have turned into a date.

    Returns:
        None if the text is no date or time; the number that was probably typed, such as "3.4" for
        "3. Apr"; an empty string where no guess is worth making.

    Example:
        >>> date_meant("2024-04-03"), date_meant("3. Apr"), date_meant("3.4")
        ('3.4', '3.4', None)
    """
    bare = text.translate(_BLANKS).strip()
    if match := _ISO_DATE.fullmatch(bare) or _DIGIT_DATE.fullmatch(bare):
        return f"{int(match['d'])}.{int(match['m'])}"
    if match := _DAY_MONTH.fullmatch(bare):
        return f"{int(match['d'])}.{_MONTHS[match['month'].lower()]}"
    if match := _MONTH_YEAR.fullmatch(bare):
        return f"{_MONTHS[match['month'].lower()]}.{match['y']}"
    return "" if _TIME.fullmatch(bare) else None


def is_error_value(text: str) -> bool:
    """Recognise what a spreadsheet shows where a formula failed, such as #DIV/0!."""
    return _ERROR_VALUE.fullmatch(text.strip()) is not None


def holds_unit(text: str) -> bool:
    """Recognise a number with a unit or a per cent sign behind it, such as "45 %"."""
    match = re.match(r"\s*[+-]?[0-9][0-9.,]*\s*(?P<unit>[^\s0-9.,;:+-].*)$", text)
    return match is not None


def number_text(value: float) -> str:
    """Print a number in the fewest digits that read back as the same number.

    Raises:
        ValueError: The number is not finite: a file cannot hold it.

    Example:
        >>> number_text(30.0), number_text(0.1)
        ('30', '0.1')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} cannot be written to a file")
    if isinstance(value, int):
        return str(int(value))
    return repr(float(value)).removesuffix(".0")
