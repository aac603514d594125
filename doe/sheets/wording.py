"""How numbers, units and cautions read on every sheet."""

from __future__ import annotations

from collections.abc import Iterable

from doe.study.brief import Study


def number_text(value: float) -> str:
    """Write a setting with as many digits as it has, at most six that count.

    Example:
        >>> number_text(8.60), number_text(45.0)
        ('8.6', '45')
    """
    return f"{value:.6g}"


def grams_text(grams: float) -> str:
    """Write grams as a balance for that load would show them.

    Example:
        >>> grams_text(1.8333), grams_text(26.42), grams_text(368.579)
        ('1.833', '26.42', '368.6')
    """
    return f"{grams:.{grams_decimals(grams)}f}"


def grams_decimals(grams: float) -> int:
    """Give the decimals worth weighing: about four digits that count. Common practice."""
    if round(grams, 3) < 10:
        return 3
    return 2 if round(grams, 2) < 100 else 1


def with_unit(name: str, unit: str) -> str:
    """Write a name with its unit in brackets.

    Example:
        >>> with_unit("viscosity", "mPa·s"), with_unit("pH", "")
        ('viscosity (mPa·s)', 'pH')
    """
    return f"{name} ({unit})" if unit else name


READ_REACHED = "read what was reached"
# By the kind of a line, how it goes in.
_STEP_HOW = {"balance": "weigh first", "pigment": "last, under shear"}


def task_text(what: str, how: str = "") -> str:
    """Write one step of the weigh-out.

    Example:
        >>> task_text("water", "weigh first"), task_text("defoamer")
        ('water – weigh first', 'defoamer')
    """
    return f"{what} – {how}" if how else what


def step_how(kind: str) -> str:
    """Say how a line of a recipe goes in; empty where it is only weighed."""
    return _STEP_HOW.get(kind, "")


def titrant_name(titrant: str, factor: str) -> str:
    """Name what is added until an instrument shows a value."""
    return f"{titrant} for {factor}"


def titrant_how(factor: str, target: str, mass: str = "grams") -> str:
    """Say how far it is added; `target` carries its unit."""
    return f"add to {factor} {target}; note all {mass}"


def made_up_name(balance: str) -> str:
    """Name the step in which what was held back goes in."""
    return f"{balance} made up"


def fill_up_how(held_back: str, titrants: Iterable[str]) -> str:
    """Say what fills the batch up once all is titrated; `held_back` carries its unit.

    Example:
        >>> fill_up_how("25 g", ["ammonia solution"])
        'fill up: 25 g held back, less the ammonia solution'
    """
    return f"fill up: {held_back} held back, less the {', '.join(dict.fromkeys(titrants))}"


FOLLOW = "Follow the safety data sheets, local codes and qualified persons; they go before this."
HAZARD_REMINDER = "Hazards: see the safety data sheets."

# Reminders, not advice; usual cautions of a pigment laboratory, common practice.
CAUTIONS = (
    "Pigment dust: extraction, respirator as the safety data sheet says, no dry sweeping.",
    "Ammonia and amines: burns and vapour; ventilate, add below the surface, never mix with acids.",
    "Disperser and bead mill: guard and interlock on, vessel clamped, no loose clothing, "
    "lock out before cleaning.",
    "Sealed mills and oven cans build up pressure: vent, never fill a can to the brim, "
    "leave neither heating nor milling unattended.",
    "Biocides sensitise: gloves, lowest effective dose, local rules.",
    "No pigment, biocide or wash water down the drain.",
)
EFFECT_CAUTION = "Aluminium pigment in alkaline water gives off hydrogen: vent, no sealed cans."


def cautions_for(study: Study) -> tuple[str, ...]:
    """Give the cautions that every sheet of a study carries, the general one first."""
    effect = study.pigment is not None and study.pigment.kind == "effect"
    return (FOLLOW, *CAUTIONS, *((EFFECT_CAUTION,) if effect else ()))
