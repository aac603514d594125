"""Robust choice and window as the contract has them, and their grids as tables."""

from __future__ import annotations

from typing import Any

from analysis.risk.draws import Estimate
from analysis.risk.robust import RobustChoice, Standing
from analysis.risk.robust_window import RobustWindow
from analysis.risk.tolerance import ToleranceBox
from analysis.risk.window import slice_table, triangle_table
from doe.model.coding import Coding, settings_table
from doe.steps.choose import recipe_object
from doe.study.settings import FloatArray

WINDOW_TABLE, PACKAGE_TABLE = "risk-window.csv", "risk-package.csv"


def robust_object(found: RobustChoice) -> dict[str, Any]:
    """Give compromise and robust choice side by side."""
    return {
        "probability_wanted": found.level,
        "these_settings": _standing(found.compromise),
        "most_probable": _standing(found.most_probable),
        "best_at_probability": _standing(found.best_at_level),
        "anywhere": [
            {
                "setting": one.setting,
                "unit": one.unit,
                "low": one.low,
                "high": one.high,
                "levels": list(one.levels),
            }
            for one in found.anywhere
        ],
        "flat_part": found.flat_part,
        "tried": found.tried,
    }


def window_object(found: RobustWindow, coding: Coding, noise: tuple[int, ...]) -> dict[str, Any]:
    """Give the tolerance box, and what the grids are over; the grids are tables beside it."""
    slice_, triangle = found.slice_, found.triangle
    return {
        "probability_wanted": found.box.level,
        "over": [slice_.slice_.x, slice_.slice_.y] if slice_ is not None else None,
        "table": f"results/{WINDOW_TABLE}" if slice_ is not None else None,
        "package_over": list(triangle.slice_.names) if triangle is not None else None,
        "package_table": f"results/{PACKAGE_TABLE}" if triangle is not None else None,
        "box": _box(found, coding, noise),
    }


def window_files(found: RobustWindow) -> dict[str, bytes]:
    """Write the grids as tables."""
    files = {}
    if found.slice_ is not None:
        files[WINDOW_TABLE] = slice_table(found.slice_).encode("utf-8")
    if found.triangle is not None:
        files[PACKAGE_TABLE] = triangle_table(found.triangle).encode("utf-8")
    return files


def _standing(one: Standing | None) -> dict[str, Any] | None:
    if one is None:
        return None
    return {
        **recipe_object(one.recipe),
        "probability": one.probability.value,
        "probability_error": one.probability.error,
        "probability_true": one.probability_true.value,
        "probability_true_error": one.probability_true.error,
        "loss_by_steps": one.loss,
        "on_steps": one.on_steps,
    }


def _box(found: RobustWindow, coding: Coding, noise: tuple[int, ...]) -> dict[str, Any]:
    box: ToleranceBox = found.box
    return {
        "around": found.box_is_around,
        "settings": _named(box.around, coding, noise),
        "sides": [
            {
                "setting": side.setting,
                "unit": side.unit,
                "at": side.at,
                "low": side.low,
                "high": side.high,
                "rounded_to": side.rounded_to,
                "rounded_by": side.rounded_by,
                "plant_holds": side.holds,
                "others_make_room": side.is_share,
            }
            for side in box.sides
        ],
        "probability_at_choice": _number(box.at_choice),
        "least_probability": None if box.is_empty else _number(box.least),
        "least_probability_error": None if box.is_empty else box.least.error,
        "least_at": None if box.is_empty else _named(box.least_at, coding, noise),
        "tried": box.tried,
        "why_empty": box.why_empty,
    }


def _number(estimate: Estimate) -> float:
    return estimate.value


def _named(row: FloatArray, coding: Coding, noise: tuple[int, ...]) -> dict[str, float | str]:
    away = {coding.names[j] for j in noise}
    named = settings_table(row[None, :], coding).row(0)
    return {name: value for name, value in named.items() if value is not None and name not in away}
