"""Heads and labels of flow-curve files: quantity, unit, and the unit of the plan that was read."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

from doe.study.names import fold

Quantity = Literal["rate", "stress", "viscosity"]

_NAMES: dict[Quantity, tuple[str, ...]] = {
    "rate": ("shear rate", "shear rate per s", "gamma dot", "γ̇"),
    "stress": ("shear stress", "stress", "tau", "τ"),
    "viscosity": ("viscosity", "apparent viscosity", "shear viscosity", "eta", "η"),
}
# What a number in that unit is in 1/s, Pa and Pa·s. Capitals count: mPa is not MPa.
_UNITS: dict[Quantity, dict[str, float]] = {
    "rate": {"1/s": 1.0, "s-1": 1.0, "/s": 1.0, "1/sec": 1.0},
    "stress": {"Pa": 1.0, "mPa": 1e-3, "N/m2": 1.0, "dyn/cm2": 0.1},
    "viscosity": {"Pas": 1.0, "mPas": 1e-3, "cP": 1e-3, "cps": 1e-3, "P": 0.1, "dPas": 0.1},
}
# What stands for a blank unit; a viscosity may be in Pa·s or mPa·s, and is asked for.
_BLANK: dict[Quantity, float] = {"rate": 1.0, "stress": 1.0}
_BRACKETS = re.compile(r"^(?P<name>[^()\[\]]*)[(\[](?P<unit>[^()\[\]]*)[)\]](?P<rest>.*)$")
_LABEL = re.compile(
    r"run (?P<run>[1-9][0-9]*)"
    r"(?:[ ,]+panel (?P<panel>[1-9][0-9]*))?"
    r"(?:[ ,]+age (?P<age>[0-9]+(?:[.][0-9]+)?)(?: ?d(?:ays?)?)?)?"
    r"(?:[ ,]+repeat (?P<repeat>[1-9][0-9]*))?"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What a column holds, as its head says.

    Attributes:
        name: The head without quantity and unit: empty, or a label such as `run 7`.
        quantity: None where the head does not say it.
        factor: What the numbers are multiplied by for 1/s, Pa or Pa·s; None where the unit is not
            known, or where a viscosity has none.
        unit: The unit as written.
        rest: What stands behind the brackets of the unit.
    """

    name: str
    quantity: Quantity | None
    factor: float | None
    unit: str = ""
    rest: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """The unit of the plan that a label names."""

    run: int
    panel: int | None = None
    age_d: float | None = None
    repeat: int = 1


def read_head(text: str) -> Head:
    """Read what a head says: quantity by its name or by its unit.

    Example:
        >>> read_head("run 7 (mPa·s)")
        Head(name='run 7', quantity='viscosity', factor=0.001, unit='mPa·s', rest='')
    """
    match = _BRACKETS.match(text)
    bare, unit, rest = (match["name"], match["unit"], match["rest"]) if match else (text, "", "")
    name, by_name = _without_quantity(fold(bare.replace("_", " ")))
    by_unit = _quantity_of_unit(unit)
    # A plain "rate" is taken for one of shear by its unit alone: tables have other rates.
    name = "" if by_unit == "rate" and name == "rate" else name
    quantity = by_name or by_unit
    if quantity is None:
        return Head(name=name, quantity=None, factor=None, unit=unit, rest=rest.strip())
    plain = _plain_unit(unit)
    factor = _UNITS[quantity].get(plain) if plain else _BLANK.get(quantity)
    return Head(name=name, quantity=quantity, factor=factor, unit=unit, rest=rest.strip())


def read_label(text: str) -> Label | None:
    """Read a label such as `run 7`, `run 7 repeat 2` or `run 7, panel 1, age 28 d, repeat 2`.

    Returns:
        None where the text is no such label.
    """
    match = _LABEL.fullmatch(fold(text.replace("_", " ")))
    if match is None:
        return None
    return Label(
        run=int(match["run"]),
        panel=int(match["panel"]) if match["panel"] else None,
        age_d=float(match["age"]) if match["age"] else None,
        repeat=int(match["repeat"] or 1),
    )


def units_of(quantity: Quantity) -> str:
    """List the units in which a quantity is read, for messages."""
    shown = {"rate": "1/s", "stress": "Pa, mPa", "viscosity": "mPa·s, Pa·s, cP"}
    return shown[quantity]


def _without_quantity(folded: str) -> tuple[str, Quantity | None]:
    """Take the name of a quantity off the end of a head."""
    known = [(name, one) for one, names in _NAMES.items() for name in names]
    for name, quantity in sorted(known, key=lambda one: -len(one[0])):
        name = fold(name)
        if folded == name:
            return "", quantity
        if folded.endswith(f" {name}") and quantity != "rate":
            return folded.removesuffix(name).rstrip(" ,:;"), quantity
    return folded, None


def _quantity_of_unit(unit: str) -> Quantity | None:
    plain = _plain_unit(unit)
    return next((one for one, units in _UNITS.items() if plain in units), None)


def _plain_unit(unit: str) -> str:
    plain = unicodedata.normalize("NFKC", unit).replace("\u2212", "-")
    return re.sub(r"[\s·⋅∙*^.]", "", plain)
