"""How numbers, units and cautions read on every sheet."""

from __future__ import annotations

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
