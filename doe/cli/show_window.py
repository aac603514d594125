"""Robust choice and tolerance box in the terminal."""

from __future__ import annotations

from analysis.report.rounding import plain, with_error
from analysis.risk.robust import RobustChoice, Standing
from analysis.risk.robust_window import HERE, RobustWindow
from analysis.risk.tolerance import ToleranceSide
from analysis.risk.words import of_hundred
from doe.cli.screen import paragraph, text_table
from doe.steps.window_contract import PACKAGE_TABLE, WINDOW_TABLE
from doe.study.brief import Study

ROUNDED = {
    "step": "its step", "scatter": "what the plant holds (one sd)", "range": "a hundredth of range",
}  # fmt: skip


def show_robust(found: RobustChoice, study: Study) -> str:
    """Set compromise and robust choice side by side."""
    heads = ["what", "unit", *(_head(one, found) for one in found.standings)]
    units = {factor.name: factor.unit for factor in study.factors}
    rows = [
        ["meet every limit, of 100", "batches"]
        + [of_hundred(s.probability.value, s.probability.error) for s in found.standings],
        ["by their true values", "batches"]
        + [of_hundred(s.probability_true.value, s.probability_true.error) for s in found.standings],
    ]
    if any(s.recipe.expected and _has_aim(s) for s in found.standings):
        rows.append(
            ["overall desirability", ""] + [f"{s.recipe.desirability:.3f}" for s in found.standings]
        )
    for name in study.setting_names:
        if any(name in s.recipe.settings for s in found.standings):
            rows.append(
                [name, units.get(name, "share")]
                + [_setting(s.recipe.settings.get(name)) for s in found.standings]
            )
    for i, expected in enumerate(found.standings[0].recipe.expected):
        rows.append([expected.response, expected.unit] + [_expected(s, i) for s in found.standings])
    words = "Side by side, responses as predicted:"
    return f"{words}\n{text_table(heads, rows)}{_losses(found)}"


def show_box(found: RobustWindow) -> str:
    """Say how far one may set off the choice."""
    box = found.box
    wanted = f"{100 * box.level:g} of 100"
    if box.is_empty:
        return paragraph(f"No tolerance box for {wanted} batches: {box.why_empty}.")
    whose = "these settings" if found.box_is_around == HERE else f"the {found.box_is_around} ones"
    words = (
        f"Tolerance box around {whose}: set anywhere in it, all at once, at least {wanted} "
        f"production batches meet every limit; the least found is "
        f"{of_hundred(box.least.value, box.least.error)} (tried at {box.tried} places inside, on "
        "faces and corners)."
    )
    rows = [_side(side) for side in box.sides]
    heads = ["setting", "unit", "low", "choice", "high", "plant holds", "rounded inward to"]
    parts = [paragraph(words), text_table(heads, rows)]
    if any(side.is_share for side in box.sides):
        parts.append(
            "  (an additive's share moves by its own grams; the others make room at the same dose)"
        )
    return "\n".join(parts)


def show_grids(found: RobustWindow) -> str:
    """Say which window was looked at, and where its table goes."""
    said = []
    if found.slice_ is not None:
        said.append(f"over {found.slice_.slice_.x} and {found.slice_.slice_.y} ({WINDOW_TABLE})")
    if found.triangle is not None:
        said.append(f"over the package ({PACKAGE_TABLE})")
    return f"Joint probability {' and '.join(said)}: drawn in the report." if said else ""


def _head(one: Standing, found: RobustChoice) -> str:
    return {
        "compromise": HERE,
        "most probable": "most probable",
        "best at the level": f"best at {100 * found.level:g} of 100",
    }[one.name]


def _has_aim(one: Standing) -> bool:
    return any(item.desirability is not None for item in one.recipe.expected)


def _setting(value: float | str | None) -> str:
    if value is None:
        return "–"
    return value if isinstance(value, str) else plain(value)


def _expected(one: Standing, i: int) -> str:
    item = one.recipe.expected[i]
    low, high = item.run_interval
    return with_error(item.value, (high - low) / 4.0 or None)


def _side(side: ToleranceSide) -> list[str]:
    return [
        side.setting,
        side.unit,
        plain(side.low),
        plain(side.at),
        plain(side.high),
        f"± {side.holds:.2g}" if side.holds else "not stated",
        f"{plain(side.rounded_to)}, {ROUNDED[side.rounded_by]}",
    ]


def _losses(found: RobustChoice) -> str:
    said = []
    for one in found.standings[1:] if found.compromise is not None else found.standings:
        if not one.on_steps:
            said.append(f"the {one.name} one lies between the bench's steps: no mark is inside")
        elif one.loss > 0.0005:
            what = "desirability" if one.name == "best at the level" else "probability"
            said.append(f"the bench's steps cost the {one.name} one {one.loss:.3f} in {what}")
    return f"\n  ({'; '.join(said)})" if said else ""
