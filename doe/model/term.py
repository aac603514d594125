"""One term and a set of terms as values, and how a term is written."""

from __future__ import annotations

import re
from dataclasses import dataclass

from doe.model.bend import Bend

# Signs that mean something inside a term; a name that holds one is quoted there.
_SIGNS = re.compile(r"[×*^²³·()\"]|^'|\s[xX−-]\s")
_RAISED = {2: "²", 3: "³"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """A product of settings: `dose × pH`, `dose²`; no powers for the intercept.

    Attributes:
        powers: Pairs of setting name and power, in the order of the study's settings.
        delta: True for the antisymmetric part `x·y·(x − y)` of a full cubic blend model.
    """

    powers: tuple[tuple[str, int], ...]
    delta: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the settings in it."""
        return tuple(name for name, _ in self.powers)

    @property
    def order(self) -> int:
        """Degree of the product: 0 for the intercept, 2 for `dose × pH` and `dose²`."""
        return sum(power for _, power in self.powers) + int(self.delta)


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """A named set of terms, in the order they are fitted and shown.

    Attributes:
        name: Its name.
        terms: The terms.
        bend: The form that bends the axis of one factor; None where all axes are straight.
    """

    name: str
    terms: tuple[Term, ...]
    bend: Bend | None = None


INTERCEPT = Term(powers=())


def term_label(term: Term) -> str:
    """Write a term as people read it.

    A name that holds a sign of its own, such as ×, is quoted inside a product or power.

    Example:
        >>> term_label(Term(powers=(("dose", 2), ("pH", 1))))
        'dose² × pH'
        >>> term_label(Term(powers=(("wetting agent", 1), ("dispersant", 1)), delta=True))
        'wetting agent × dispersant × (wetting agent − dispersant)'
    """
    return product_label(term.powers, delta=term.delta)


def product_label(powers: tuple[tuple[str, int], ...], *, delta: bool = False) -> str:
    """Write a product of names with powers; `intercept` for the empty one."""
    if not powers:
        return "intercept"
    if len(powers) == 1 and powers[0][1] == 1:
        return powers[0][0]
    parts = [quoted(name) + _RAISED.get(power, "") for name, power in powers]
    if delta:
        parts.append(f"({parts[0]} − {parts[1]})")
    return " × ".join(parts)


def quoted(name: str, *, always: bool = False) -> str:
    """Put quotes round a name that would not be read as one inside a term."""
    if not always and not _SIGNS.search(name):
        return name
    return '"' + name.replace('"', '""') + '"'
