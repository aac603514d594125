"""What a user's own name for a thing reads as: whole words in several spellings, never a guess.

Names are free text, so that every answer here is a reading of a name and has to be told as one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Literal

from doe.study.names import fold

Meaning = Literal[
    "ammonia", "sodium or potassium", "calcium", "zinc", "magnesium", "hard water", "polyacrylate",
    "steric polymer", "wetting agent", "hydrophobic additive", "binder", "order of addition", "pH",
    "paint stage", "grind", "mill temperature", "tip speed", "water test",
]  # fmt: skip

# Words that must follow one another in a name. A word that is spelled with or without a hyphen
# stands here in both forms; chemical formulas as people type them.
_PHRASES: Mapping[Meaning, tuple[str, ...]] = MappingProxyType(
    {
        "ammonia": ("ammonia", "ammonium", "ammoniacal", "nh3", "nh4", "nh4oh"),
        "sodium or potassium": (
            "sodium", "potassium", "naoh", "koh", "caustic", "caustic soda", "na salt", "k salt",
            "na polyacrylate", "na paa", "napaa", "soda lye", "caustic potash",
        ),
        "calcium": (
            "calcium", "calcite", "caco3", "chalk", "whiting", "limestone", "gypsum", "dolomite",
        ),
        "zinc": ("zinc", "zno"),
        "magnesium": ("magnesium", "dolomite"),
        "hard water": (
            "hard water", "water hardness", "hardness of water", "hardness of the water",
        ),
        "polyacrylate": (
            "polyacrylate", "polyacrylic acid", "poly acrylic acid", "poly acrylate",
            "acrylate salt", "paa", "napaa", "polycarboxylate salt", "polyacrylic salt",
        ),
        "steric polymer": (
            "steric", "electrosteric", "multi anchor", "multianchor", "side chain", "side chains",
            "comb", "non ionic", "nonionic", "copolymer",
        ),
        "wetting agent": ("wetting", "wetter", "surfactant", "surfactants", "surface active agent"),
        "hydrophobic additive": (
            "hydrophobic", "hydrophobe", "water repellent", "co additive", "co dispersant",
        ),
        "binder": (
            "binder", "resin", "latex", "acrylic dispersion", "polymer dispersion",
            "styrene acrylic", "styrene acrylate", "acrylic emulsion", "polymer emulsion",
            "vinyl acetate", "alkyd",
        ),
        "order of addition": ("order of addition", "addition order", "sequence of addition"),
        "pH": ("ph",),
        "paint stage": (
            "paint", "let down", "letdown", "can", "final", "film", "after the grind",
            "after grind", "after grinding",
        ),
        "grind": (
            "grind", "grinding", "mill", "milling", "bead", "beads", "ground", "media", "milled",
        ),
        "mill temperature": (
            "mill temperature", "grind temperature", "grinding temperature", "charge temperature",
            "temperature of the mill", "temperature of the grind", "temperature of the charge",
            "milling temperature", "temperature in the mill", "jacket temperature",
            "millbase temperature", "mill base temperature",
        ),
        "tip speed": ("tip speed", "peripheral speed", "disc speed", "disk speed"),
        "water test": (
            "water uptake", "water absorption", "water pick up", "water pickup", "water spot",
            "water spots", "water spotting", "water resistance", "water sensitivity", "early water",
            "capillary water", "water vapour", "water vapor", "water immersion", "blister",
            "blisters", "blistering", "leached", "leaching", "scrub", "wet adhesion",
            "wet cross cut", "whitening in water",
        ),
    }
)  # fmt: skip

# "sodium-free", "free of sodium", "no ammonia", "without zinc", "non-sodium" mean the opposite.
_BEFORE = frozenset({"no", "non", "without", "not"})


def reads_as(name: str, meaning: Meaning) -> bool:
    """Tell whether a name holds whole words of this meaning.

    Example:
        >>> reads_as("Ammonia, 25 %", "ammonia"), reads_as("ammonia-free base", "ammonia")
        (True, False)
    """
    words = re.findall(r"[^\W_]+", fold(name))
    return any(_holds(words, phrase.split()) for phrase in _PHRASES[meaning])


def names_reading_as(names: Iterable[str], meaning: Meaning) -> tuple[str, ...]:
    """Keep the names that read so, each once, in their order."""
    return tuple(dict.fromkeys(name for name in names if reads_as(name, meaning)))


def _holds(words: list[str], phrase: list[str]) -> bool:
    n = len(phrase)
    return any(
        words[i : i + n] == phrase and not _is_denied(words, i, i + n)
        for i in range(len(words) - n + 1)
    )


def _is_denied(words: list[str], start: int, end: int) -> bool:
    before = words[max(start - 2, 0) : start]
    return (
        bool(_BEFORE.intersection(before[-1:]))
        or before == ["free", "of"]
        or before == ["free", "from"]
        or words[end : end + 1] == ["free"]
    )
