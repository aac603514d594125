"""The tolerance box carried over to the weigh-out: how far each additive may be weighed off.

The box lets shares and dose vary at once, but grams set both: all additives weighed low make less
dose. So the ends of every additive are drawn in until the dose stays in its own box as well.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from doe.study.agreement import AgreedSetting, FormulaLine, Version

# Rounding of the arithmetic only; far below what any scale shows.
ON_MARK = 1e-9

Ends = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighingBox:
    """Ends between which every additive may be weighed, all at once.

    Attributes:
        kg: Ends by additive, rounded inward to what a scale shows; empty where there are none.
        too_narrow: Additives whose ends lie closer than a scale shows, so that none are given.
    """

    kg: Mapping[str, Ends]
    too_narrow: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weighed:
    """One additive: its share, the ends of its amount in the box, and its kg."""

    name: str
    share: float
    ends: Ends
    kg: float
    decimals: int


def weighing_box(
    version: Version, dose: str, weighed: Sequence[tuple[FormulaLine, float, int]]
) -> WeighingBox:
    """Draw the ends of every additive in until share and dose stay in the box.

    Args:
        version: What was agreed, with its tolerance box.
        dose: Name of the dose among its settings; empty without one.
        weighed: Lines of the formula with their kg and the decimals of a scale for that.

    Returns:
        Ends such that every combination of weigh-outs within them gives shares and a dose of the
        box. The box bounds the amount of each additive by itself and then makes room, so amounts
        within its ends are shares within it; the dose grows with every amount, so it is least with
        all at their low ends (and the pigment as heavy as its own tolerance lets it be) and
        greatest with all at their high ends.
    """
    settings = {one.name: one for one in version.settings}
    if all(one.window_low is None for one in version.settings):
        return WeighingBox(kg={})
    lines = [
        _weighed(settings[line.name], kg, decimals)
        for line, kg, decimals in weighed
        if line.kind == "additive" and line.name in settings and kg > 0.0
    ]
    if not lines:
        return WeighingBox(kg={})
    of_dose = _dose_ends(settings.get(dose))
    if len(lines) == 1:
        # Alone it is the whole package, whatever it weighs: the dose alone bounds it.
        (one,) = lines
        lines = [replace(one, ends=(one.share * of_dose[0], one.share * of_dose[1]))]
    parts = _kept_parts(lines, of_dose, _pigment_off(version))
    found = {one.name: _rounded(one, parts) for one in lines}
    narrow = tuple(
        one.name
        for one in lines
        if found[one.name][1] - found[one.name][0] < 10.0**-one.decimals * (1 - ON_MARK)
    )
    return WeighingBox(kg={} if narrow else found, too_narrow=narrow)


def _weighed(setting: AgreedSetting, kg: float, decimals: int) -> _Weighed:
    assert not isinstance(setting.value, str)
    low, high = setting.window_low, setting.window_high
    ends = (setting.value, setting.value) if low is None or high is None else (low, high)
    return _Weighed(name=setting.name, share=setting.value, ends=ends, kg=kg, decimals=decimals)


def _dose_ends(dose: AgreedSetting | None) -> Ends:
    """Give the box of the dose on its own value; a dose that was not moved has no room."""
    if dose is None or isinstance(dose.value, str) or dose.value <= 0.0:
        return 1.0, 1.0
    if dose.window_low is None or dose.window_high is None:
        return 1.0, 1.0
    return dose.window_low / dose.value, dose.window_high / dose.value


def _pigment_off(version: Version) -> float:
    """Give how far the pigment may be weighed off, as a part of its own kg."""
    stated = [one.tolerance_percent or 0.0 for one in version.formula if one.kind == "pigment"]
    return max(stated, default=0.0) / 100.0


def _kept_parts(lines: Sequence[_Weighed], dose: Ends, pigment_off: float) -> Ends:
    """Give what part of the way down and up all additives may go at once, 0 to 1."""
    whole = sum(one.share for one in lines)
    down = sum(one.share - one.ends[0] for one in lines) / whole
    up = sum(one.ends[1] - one.share for one in lines) / whole
    # (1 - f down) / (1 + pigment) >= low, and (1 + f up) / (1 - pigment) <= high.
    room = (1.0 - dose[0] * (1.0 + pigment_off), dose[1] * (1.0 - pigment_off) - 1.0)
    low, high = (
        min(max(left, 0.0) / way, 1.0) if way > 0.0 else 1.0
        for left, way in zip(room, (down, up), strict=True)
    )
    return low, high


def _rounded(one: _Weighed, parts: Ends) -> Ends:
    """Turn parts of the way into kg, rounded inward to what a scale for that load shows."""
    power = 10.0**one.decimals
    low = one.kg * (1.0 - parts[0] * (one.share - one.ends[0]) / one.share)
    high = one.kg * (1.0 + parts[1] * (one.ends[1] - one.share) / one.share)
    return math.ceil(low * power - ON_MARK) / power, math.floor(high * power + ON_MARK) / power
