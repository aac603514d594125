"""What a recipe gains on a control, in words."""

from __future__ import annotations

import math

from analysis.report.rounding import fixed, interval_error, places_for, with_error
from analysis.surface.against_control import AgainstControl

# From twice the control on, "times" reads better than "per cent higher".
_TIMES_FROM = 2.0
_PROBABILITY = "probability"
_NO_ARTICLE = ("the ", "a ", "an ", "no ", "without ", "our ")


def against_words(one: AgainstControl) -> str:
    """Say the whole of it.

    Example:
        >>> against_words(AgainstControl(response="viscosity", unit="mPa·s", measure="ratio",
        ...     control="present formula", value=0.58, interval=(0.49, 0.69), control_value=900.0,
        ...     level=0.95, df=12.0, p=0.001, candidates=1)).replace("\u00a0", " ")
        '42 % lower viscosity than the present formula (31 to 51 %)'
    """
    what = f"chance of an accepted {one.response}" if one.unit == _PROBABILITY else one.response
    control = control_words(one.control)
    than = f"the {what} of {control}" if _in_times(one) else f"{what} than {control}"
    return f"{change_words(one)} {than} ({range_words(one)})"


def control_words(name: str) -> str:
    """Put an article before the name of a control that is no proper name.

    Example:
        >>> control_words("present formula"), control_words("Standard A")
        ('the present formula', 'Standard A')
    """
    is_whole = not name[:1].islower() or name.startswith(_NO_ARTICLE)
    return name if is_whole else f"the {name}"


def change_words(one: AgainstControl) -> str:
    """Say how much higher or lower: per cent, times, or the response's unit."""
    if _in_times(one):
        return f"{_times(one, one.value)} times"
    return _change(one, one.value, told=True)


def range_words(one: AgainstControl) -> str:
    """Say the interval in the same terms; where it holds no change, both ends with their way."""
    low, high = one.interval
    if not (math.isfinite(low) and math.isfinite(high)):
        return "no interval: nothing is left to judge the error by"
    if _in_times(one):
        return f"{_times(one, low)} to {_times(one, high)} times"
    if not one.is_told:
        return f"{_change(one, low, told=True)} to {_change(one, high, told=True)}"
    near, far = (low, high) if _part(one, one.value) > 0 else (high, low)
    return f"{_amount(one, near)} to {_change(one, far, told=False)}"


def _in_times(one: AgainstControl) -> bool:
    return one.measure == "ratio" and one.value >= _TIMES_FROM


def _times(one: AgainstControl, ratio: float) -> str:
    return with_error(ratio, interval_error(*one.interval))


def _change(one: AgainstControl, value: float, *, told: bool) -> str:
    """Say one change with its unit, and its way if `told`."""
    way = (" higher" if _part(one, value) > 0 else " lower") if told else ""
    return f"{_amount(one, value)}{_unit(one)}{way}"


def _amount(one: AgainstControl, value: float) -> str:
    error = interval_error(*(_part(one, end) for end in one.interval))
    size = abs(_part(one, value))
    places = None if error is None else places_for(error)
    if places is None or not _is_percent(one):
        return with_error(size, error)
    # Of per cents one significant digit of the error is enough, and no tens.
    return fixed(size, max(places - 1, 0))


def _is_percent(one: AgainstControl) -> bool:
    return one.measure == "ratio" or one.unit == _PROBABILITY


def _part(one: AgainstControl, value: float) -> float:
    """Take the change as it is printed: per cent of a ratio or a probability, else the unit."""
    if one.measure == "ratio":
        return 100 * (value - 1.0)
    return 100 * value if one.unit == _PROBABILITY else value


def _unit(one: AgainstControl) -> str:
    if one.measure == "ratio":
        return "\N{NO-BREAK SPACE}%"
    # A difference of per cents is not a per cent of anything.
    if one.unit == _PROBABILITY or one.unit.startswith("%"):
        return " percentage points"
    return f" {one.unit}" if one.unit else ""
