"""Curves and options of the colour methods, taken out of a unit as the arithmetic needs them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from analysis.lab.colour_difference import DistanceFormula
from analysis.lab.colour_library import ILLUMINANTS, OBSERVERS, Viewing
from analysis.lab.computing.doubts import doubt
from analysis.lab.kubelka_munk import FloatArray, Surface
from analysis.lab.raw_unit import Computed, OptionValues, RawUnit
from analysis.lab.spectrum import covers_grid, on_grid
from doe.study.curves import Curve
from doe.study.finding import Finding

Whose = Literal["sample", "standard", "white"]


def viewing_of(options: OptionValues) -> Viewing:
    """Give light and eye; a brief may write the observer as a word or as a number."""
    light, eye = str(options.get("illuminant", "D65")), options.get("observer", "10")
    shown = eye if isinstance(eye, str) else f"{eye:g}"
    return Viewing(
        illuminant=next(one for one in ILLUMINANTS if one == light),
        observer=next(one for one in OBSERVERS if one == shown),
    )


def surface_of(options: OptionValues) -> Surface | None:
    """Give the surface to take off; None where the reflectance is used as it was measured."""
    if options.get("saunderson", "yes") != "yes":
        return None
    return Surface(
        k1=float(options.get("k1", 0.04)),
        k2=float(options.get("k2", 0.6)),
        includes_specular=options.get("specular", "included") == "included",
    )


def formula_of(options: OptionValues, default: DistanceFormula) -> DistanceFormula:
    """Give the formula of a colour distance."""
    return "CIEDE2000" if options.get("formula", default) == "CIEDE2000" else "CIELAB"


def is_yes(options: OptionValues, name: str) -> bool:
    """Tell whether an option says yes; silence is a no."""
    return options.get(name, "no") == "yes"


def curves_of(unit: RawUnit, wanted: Sequence[tuple[Whose, str]]) -> FloatArray | Computed:
    """Bring the curves that a method needs onto the grid.

    Args:
        unit: The raw readings.
        wanted: Whose curve, and its word.

    Returns:
        Reflectance factors, shape (wanted, 31), 0..1; or why there is nothing to compute.
    """
    from_: dict[Whose, Mapping[str, Curve]] = {
        "sample": unit.curves,
        "standard": unit.standard,
        "white": unit.white,
    }
    found: list[Curve] = []
    for whose, word in wanted:
        curve = from_[whose].get(word)
        if curve is None:
            return Computed(value=None, findings=(_no_curve(whose, word),))
        if not covers_grid(curve):
            return Computed(value=None, findings=(_too_short(whose, curve),))
        found.append(curve)
    return on_grid(found)


def _no_curve(whose: Whose, word: str) -> Finding:
    if whose == "sample":
        name = f"curve '{word}'" if word else "plain curve"
        return Finding(level="note", what=f"The {name} is not read yet.")
    drawn = "the standard" if whose == "standard" else "the white alone"
    return doubt(
        f"There is no curve of {drawn} for this card or day, so nothing is computed.",
        advice=f"Draw {drawn} beside the samples, read it, and enter its curve as '{whose}', "
        f"'{whose} day 2' or '{whose} card C4'.",
    )


def _too_short(whose: Whose, curve: Curve) -> Finding:
    return doubt(
        f"The curve of the {whose} does not reach over 400 to 700 nm, so nothing is computed.",
        advice="Export the whole range of the instrument.",
        first_nm=curve.x[0],
        last_nm=curve.x[-1],
    )
