"""All test methods, family by family: the one list that `from = "…"` of a brief chooses from."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from doe.methods import colour, fineness, recipe_values, stability, viscosity, water
from doe.methods.method import Method
from doe.study.brief import Response
from doe.study.names import fold

# A family is a module with METHODS and one entry here.
FAMILIES: Mapping[str, tuple[Method, ...]] = MappingProxyType(
    {
        "viscosity and flow": viscosity.METHODS,
        "colour and gloss": colour.METHODS,
        "fineness and grind": fineness.METHODS,
        "water and films": water.METHODS,
        "stability": stability.METHODS,
        "from the recipe": recipe_values.METHODS,
    }
)

METHODS: Mapping[str, Method] = MappingProxyType(
    {method.name: method for family in FAMILIES.values() for method in family}
)


def find_method(name: str) -> Method | None:
    """Find a method by its name, case and blanks aside; None where there is none."""
    wanted = fold(name)
    return next((method for known, method in METHODS.items() if fold(known) == wanted), None)


def is_computed(response: Response) -> bool:
    """Tell whether a response comes from the settings alone, through the recipe: no readings."""
    method = find_method(response.method) if response.method else None
    return method is not None and method.gathers == "recipe"


def has_readings(response: Response) -> bool:
    """Tell whether the bench reads something for a response, or enters it as it is."""
    return not is_computed(response)
