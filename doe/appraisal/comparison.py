"""Two plans side by side, held against the same model in the same region and unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.appraisal.appraise import Appraisal

# Averages that differ by less are not worth a choice.
_ALIKE = 0.01
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A first plan against a second.

    Attributes:
        better_share: Share of the region that the first predicts better.
        average_ratio: Average prediction variance of the first over that of the second.
        largest_ratio: The same of the largest variance.
        d_ratio: D of the first over D of the second: more than 1 is better, a run counting alike.
    """

    better_share: float
    average_ratio: float
    largest_ratio: float
    d_ratio: float


def compare(first: Appraisal, second: Appraisal) -> Comparison | None:
    """Compare two plans; None where one of them can't estimate the model."""
    a, b = first.profile, second.profile
    if a is None or b is None:
        return None
    return Comparison(
        better_share=float(np.mean(a.at_sample < b.at_sample * (1 - _ROUNDING))),
        average_ratio=a.average / b.average,
        largest_ratio=a.largest / b.largest,
        d_ratio=first.d_efficiency / second.d_efficiency,
    )


def comparison_sentence(names: tuple[str, str], found: Comparison) -> str:
    """Say which plan predicts better, and where."""
    ratio = found.average_ratio
    if abs(ratio - 1) < _ALIKE:
        return (
            f"Side by side, {names[0]} and {names[1]} predict alike: their average variances of "
            "prediction differ by less than 1 %."
        )
    smaller = ratio < 1
    first, second = names if smaller else (names[1], names[0])
    share = found.better_share if smaller else 1 - found.better_share
    part = 1 - (ratio if smaller else 1 / ratio)
    return (
        f"Side by side, {first} predicts better than {second} over {100 * share:.0f} % of the "
        f"region; its average variance of prediction is {100 * part:.0f} % smaller."
    )
