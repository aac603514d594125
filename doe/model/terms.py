"""Model terms: their names, how people write them, and which belong together."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """A product of settings: `dose × pH`, `dose²`; no powers for the intercept.

    Attributes:
        powers: Pairs of setting name and power, in the order of the study's settings.
        delta: True for the antisymmetric part `x·y·(x − y)` of a full cubic blend model.
    """

    powers: tuple[tuple[str, int], ...]
    delta: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """A named set of terms, in the order they are fitted and shown."""

    name: str
    terms: tuple[Term, ...]
