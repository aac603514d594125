"""Controls in the plan: their settings, and how often they are run."""

from __future__ import annotations

from typing import Literal

import numpy as np

from doe.layouts.blocking import BlockRule
from doe.model.coding import ChoiceAxis, Coding, ShareAxis
from doe.study.brief import Control
from doe.study.names import fold
from doe.study.settings import FloatArray

Turns = Literal["each", "once", "spread"]


def control_turns(control: Control, rule: BlockRule | None) -> Turns:
    """Tell whether a control is run in each block (day), once a round, or spread over the plan."""
    every = fold(control.every or "")
    if every == "round":
        return "once"
    return "each" if rule is not None and every in (fold(rule.name), "block") else "spread"


def control_row(control: Control, coding: Coding) -> FloatArray:
    """Give the settings of a control, shape (k,), lab units.

    A share that the brief doesn't name is 0; a factor that it doesn't name is open (NaN).
    """
    named = {fold(name): value for name, value in control.settings.items()}
    row = np.full(len(coding.axes), np.nan)
    for i, axis in enumerate(coding.axes):
        value = named.get(fold(axis.name), 0.0 if isinstance(axis, ShareAxis) else None)
        if value is None:
            continue
        if isinstance(axis, ChoiceAxis):
            row[i] = [fold(level) for level in axis.levels].index(fold(str(value)))
        else:
            row[i] = float(value)
    return row
