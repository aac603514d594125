"""The model matrix: settings in, columns out."""

from __future__ import annotations

from dataclasses import dataclass

from doe.model.terms import Term


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of the model matrix.

    Attributes:
        term: The term it belongs to.
        levels: For each named choice in the term, the level whose effect the column carries.
    """

    term: Term
    levels: tuple[tuple[str, str], ...] = ()
