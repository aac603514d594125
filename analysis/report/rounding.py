"""How many digits a printed number carries: the standard error decides, here and nowhere else.

Source:
    Two significant digits of the error decide the last printed place of the value, see JCGM
    100:2008 (GUM), 7.2.6.
"""

from __future__ import annotations

import math

# Without an error beside it a number carries the digits a bench instrument shows.
PLAIN_DIGITS = 4
SMALLEST_P = 0.001
MISSING = "–"
# In place of an interval of no width: the value is computed.
NO_ERROR = "no error"
# Errors of exact data are rounding noise; no bench reads further than this.
MOST_PLACES = 8


def places_for(error: float) -> int | None:
    """Find the decimal place that two significant digits of an error reach.

    Args:
        error: Standard error, in the unit of the value.

    Returns:
        Places after the point, negative for tens and hundreds; None where there is no error.

    Example:
        >>> places_for(0.0234), places_for(0.0998), places_for(412.0)
        (3, 2, -1)
    """
    if not math.isfinite(error) or error <= 0:
        return None
    # Rounding first: 0.0998 reads as 0.10, one place less than its own first digit suggests.
    rounded = float(f"{error:.1e}")
    return 1 - math.floor(math.log10(rounded) + 1e-12)


def with_error(value: float | None, error: float | None) -> str:
    """Print a value as far as its standard error carries.

    Example:
        >>> with_error(1.23456, 0.0234), with_error(-0.0001, 0.02), with_error(1234.5, 412.0)
        ('1.235', '0.000', '1230')
        >>> with_error(3.14e-11, 2.1e-13), with_error(3.14e-17, 2.1e-13)
        ('3.140e−11', '0')
    """
    places = None if error is None else places_for(error)
    if places is None:
        return plain(value)
    if places <= MOST_PLACES or value is None or abs(value) >= 10.0**-PLAIN_DIGITS:
        return fixed(value, min(places, MOST_PLACES))
    # So small a value has no place to print; what drowns in its error is 0.
    rounded = round(value, places)
    digits = 1 + places + math.floor(math.log10(abs(rounded))) if rounded else 0
    return plain(rounded, max(digits, 1))


def error_text(error: float | None) -> str:
    """Print a standard error: two significant digits.

    Example:
        >>> error_text(0.02341), error_text(412.0), error_text(None)
        ('0.023', '410', '–')
    """
    places = None if error is None else places_for(error)
    if places is None:
        return plain(error)
    return fixed(error, places) if places <= MOST_PLACES else plain(error, 2)


def interval_text(low: float, high: float, error: float | None) -> str:
    """Print an interval as far as the standard error carries; one of no width has no error.

    Example:
        >>> interval_text(1.18765, 1.28123, 0.0234), interval_text(4.2, 4.2, None)
        ('1.188 to 1.281', 'no error')
        >>> interval_text(math.nan, math.nan, None)
        '–'
    """
    if math.isnan(low) and math.isnan(high):
        return MISSING
    if low == high:
        return NO_ERROR
    return f"{with_error(low, error)} to {with_error(high, error)}"


def sd_interval_text(variance: tuple[float, float]) -> str:
    """Print the interval of a standard deviation from that of its square; it may be open.

    Example:
        >>> sd_interval_text((0.0004, 0.0121)), sd_interval_text((0.0, math.inf))
        ('0.02 to 0.11', '0 or more')
    """
    low, high = (plain(math.sqrt(end), 2) for end in variance)
    return f"{low} to {high}" if math.isfinite(variance[1]) else f"{low} or more"


def interval_error(low: float, high: float) -> float | None:
    """Take a quarter of an interval's width for its standard error, to choose digits only."""
    width = high - low
    return width / 4 if math.isfinite(width) and width > 0 else None


def plain(value: float | None, digits: int = PLAIN_DIGITS) -> str:
    """Print a number that has no error beside it.

    Example:
        >>> plain(0.123456), plain(2500.0), plain(-0.0), plain(None)
        ('0.1235', '2500', '0', '–')
    """
    if value is None or not math.isfinite(value):
        return MISSING
    if value == 0:
        return "0"
    places = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    if places > 7:
        return _true_minus(f"{value:.{digits - 1}e}")
    text = fixed(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def fixed(value: float | None, places: int) -> str:
    """Print a number to a fixed place, without a negative zero.

    Example:
        >>> fixed(-0.001, 2), fixed(1.005, 2), fixed(12345.0, -2)
        ('0.00', '1.00', '12300')
    """
    if value is None or not math.isfinite(value):
        return MISSING
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.lstrip("-") if float(text) == 0 else _true_minus(text)


def p_text(p: float | None) -> str:
    """Print a p-value: three places, `< 0.001` below.

    Example:
        >>> p_text(0.0004), p_text(0.03456), p_text(None)
        ('< 0.001', '0.035', '–')
    """
    if p is None or not math.isfinite(p):
        return MISSING
    return f"< {SMALLEST_P}" if p < SMALLEST_P else f"{p:.3f}"


def percent(value: float | None) -> str:
    """Print a fraction as per cent, with a space that does not break.

    Example:
        >>> percent(0.95), percent(None)
        ('95\u00a0%', '–')
    """
    return MISSING if value is None else f"{fixed(100 * value, 0)}\N{NO-BREAK SPACE}%"


def _true_minus(text: str) -> str:
    return text.replace("-", "−")
