"""Coding: what must hold for any range and any setting."""

from __future__ import annotations

from typing import Literal

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from doe.model.coding import AxisRange, ChoiceAxis, Coding, NumericAxis, code, decode
from doe.model.pseudo import from_pseudo, implied_share_limits, to_pseudo

LOWS = st.floats(0.01, 1e4)
RATIOS = st.floats(1.05, 1e3)
UNIT = st.floats(0, 1)


@given(LOWS, RATIOS, st.sampled_from(["even", "log"]), st.lists(UNIT, min_size=1, max_size=5))
def test_coding_round_trips(
    low: float, ratio: float, spacing: Literal["even", "log"], parts: list[float]
) -> None:
    """Decoding gives the lab setting back, inside the range and coded −1 to 1."""
    axis = NumericAxis(name="dose", unit="%", low=low, high=low * ratio, spacing=spacing)
    coding = Coding(axes=(axis,))
    values = low + (axis.high - low) * np.array(parts)[:, None]
    coded = code(values, coding)

    np.testing.assert_allclose(decode(coded, coding), values, rtol=1e-9)
    assert np.abs(coded).max() <= 1 + 1e-9


@given(LOWS, RATIOS, st.floats(1e-3, 1e3), UNIT)
def test_coded_settings_ignore_the_unit(low: float, ratio: float, unit: float, part: float) -> None:
    """Per cent or grams per kilogram: the coded number is the same, on either spacing."""
    for spacing in ("even", "log"):
        one = NumericAxis(name="dose", unit="a", low=low, high=low * ratio, spacing=spacing)
        other = NumericAxis(
            name="dose", unit="b", low=low * unit, high=low * ratio * unit, spacing=spacing
        )
        x = np.array([[low * (1 + (ratio - 1) * part)]])

        np.testing.assert_allclose(
            code(x * unit, Coding(axes=(other,))), code(x, Coding(axes=(one,))), atol=1e-7
        )


@given(
    st.lists(st.one_of(st.none(), st.tuples(LOWS, RATIOS)), min_size=2, max_size=4),
    st.lists(st.floats(-1, 1), min_size=4, max_size=4),
)
def test_ranged_factors_round_trip_at_every_level(
    ends: list[tuple[float, float] | None], coded_parts: list[float]
) -> None:
    """And stay open where the level lacks them."""
    levels = tuple(f"level {i}" for i in range(len(ends)))
    ranges = tuple(
        AxisRange(
            choice="chemistry",
            level=level,
            low=pair and pair[0],
            high=pair and pair[0] * pair[1],
        )
        for level, pair in zip(levels, ends, strict=True)
    )
    axes = (
        NumericAxis(name="dose", unit="%", low=1, high=2, ranges=ranges),
        ChoiceAxis(name="chemistry", levels=levels),
    )
    coding = Coding(axes=axes)
    coded = np.array([[c, float(i)] for i, c in zip(range(len(ends)), coded_parts, strict=False)])
    back = code(decode(coded, coding), coding)

    for i, pair in enumerate(ends):
        if pair is None:
            assert np.isnan(back[i, 0])
        else:
            np.testing.assert_allclose(back[i, 0], coded[i, 0], atol=1e-9)


@given(st.lists(st.floats(0, 0.2), min_size=2, max_size=5), st.data())
def test_pseudo_components_round_trip_and_add_to_one(
    lows: list[float], data: st.DataObject
) -> None:
    """Whatever is taken off below is stretched above."""
    parts = data.draw(st.lists(st.floats(0.01, 1), min_size=len(lows), max_size=len(lows)))
    low = np.array(lows) / 2
    shares = np.array([parts]) / np.sum(parts)
    pseudo = to_pseudo(shares, low)

    np.testing.assert_allclose(from_pseudo(pseudo, low), shares, atol=1e-12)
    np.testing.assert_allclose(pseudo.sum(), 1, atol=1e-9)


@given(st.lists(st.tuples(UNIT, UNIT), min_size=2, max_size=5))
def test_implied_limits_are_implied_by_themselves(ends: list[tuple[float, float]]) -> None:
    """Tightening twice changes nothing where blends exist."""
    low = np.array([min(pair) for pair in ends])
    high = np.array([max(pair) for pair in ends])
    tight = implied_share_limits(low, high)

    if low.sum() <= 1 <= high.sum():
        np.testing.assert_allclose(implied_share_limits(*tight), tight, atol=1e-12)
