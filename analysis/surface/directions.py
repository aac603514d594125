"""Directions over several factors in words, in real units."""

from __future__ import annotations

import numpy as np

from analysis.surface.canonical import CanonicalAxis
from analysis.surface.second_order import SecondOrder

# Settings that a direction moves by less than this part of its largest move are left unsaid.
SMALL_PART = 0.15


def direction_words(form: SecondOrder, axis: CanonicalAxis) -> str:
    """Say a direction: `pH up 0.4 with dose down 0.2 %`; the factor that moves most comes first."""
    size = np.abs(axis.direction)
    parts = []
    for i in np.argsort(-size.round(9), kind="stable"):
        factor, change = form.axes[int(i)], float(axis.change[int(i)])
        if size[i] < SMALL_PART * size.max():
            continue
        if factor.spacing == "log":
            parts.append(f"{factor.name} times {_short(change)}")
        else:
            way = "up" if change >= 0.0 else "down"
            parts.append(f"{factor.name} {way} {_short(abs(change))} {factor.unit}".rstrip())
    return " with ".join(parts)


def levels_words(form: SecondOrder) -> str:
    """Name the levels that a shape is for; empty where no choice changes it."""
    return ", ".join(f"{name} {level}" for name, level in form.levels.items())


def _short(value: float) -> str:
    """Write two digits, never with an exponent of ten that a bench would not read."""
    return f"{float(f'{value:.2g}'):g}"
