"""Advice on ions: what stays in the film, and what binds the dispersant before it works."""

from __future__ import annotations

from collections.abc import Iterator

from doe.recipe.advice_on_surface import family_of
from doe.recipe.chemistry_scene import Scene, quoted, reading
from doe.recipe.name_reading import Meaning, reads_as
from doe.study.finding import Finding

# Critical coagulation concentration goes as z^-6 (Schulze-Hardy, from memory): a divalent ion acts
# at one sixty-fourth of the concentration of a monovalent one.
DIVALENT = 2.0**-6

_DIVALENT_NAMES: tuple[Meaning, ...] = ("calcium", "zinc", "magnesium", "hard water")


def permanent_ion(scene: Scene) -> Iterator[Finding]:
    """Say that sodium or potassium stays in the film, and whether anything would show it."""
    names = scene.reading_as("sodium or potassium")
    if not names:
        return
    tests = tuple(
        one.name
        for one in scene.study.responses
        if reads_as(one.name, "water test") or reads_as(one.method or "", "water test")
    )
    seen = (
        f"{quoted(tests)} can show it"
        if tests
        else "and no response of the brief reads what water does to the film"
    )
    yield Finding(
        level="note" if tests else "caution",
        what=f"{reading(names, 'sodium or potassium')}: unlike ammonia it does not leave, and the "
        f"film stays sensitive to water; {seen}.",
        evidence={"names read": quoted(names), "responses to water": len(tests)},
        advice="Compare films of equal age; what a volatile base would gain shows only once it has "
        "left."
        if tests
        else 'Add a response such as from = "water uptake", or keep to a volatile base.',
        source="A trade textbook page and a trade article (both read).",
    )


def divalent_ions(scene: Scene) -> Iterator[Finding]:
    """Say where calcium, zinc, magnesium or hard water meets an anionic dispersant."""
    study = scene.study
    pigment = (study.pigment.name,) if study.pigment else ()
    letdown = tuple(p.name for p in (study.letdown.ingredients if study.letdown else ()))
    balance = (study.millbase.balance,) if study.millbase else ()
    factors = tuple(one.name for one in study.factors)
    names = (*pigment, *scene.materials(), *letdown, *balance, *factors)
    found = {
        meaning: tuple(dict.fromkeys(one for one in names if reads_as(one, meaning)))
        for meaning in _DIVALENT_NAMES
    }
    sources = tuple(dict.fromkeys(name for some in found.values() for name in some))
    if not sources:
        return
    salts = tuple(n for n in scene.materials() if n not in sources if _is_salt(n))
    said = " and ".join(reading(some, meaning) for meaning, some in found.items() if some)
    yield Finding(
        level="caution" if salts else "note",
        what=f"{said}: ions of two charges bind carboxylate and destabilise what charge alone "
        "holds apart, at about a sixty-fourth of the concentration of sodium"
        + (f"; {reading(salts, 'such a salt')}." if salts else "."),
        evidence={
            "names read": quoted(sources), "coagulation, divalent over monovalent": DIVALENT,
        },
        advice="Grind in deionised water, look at the viscosity again after a week, and try a "
        "dispersant that holds by polymer chains beside it.",
        source="Schulze-Hardy rule (from memory); binding of magnesium: Sun, Bergström & Gao "
        "(2001), J. Am. Ceram. Soc. 84, 2710 (read).",
    )  # fmt: skip


def _is_salt(name: str) -> bool:
    return family_of(name) == "polyacrylate"
