"""What may leave a model, as units with what each one needs: every smaller model by bit masks.

`hierarchy` says of one model what may leave it next. Searches over thousands of models ask for the
same in advance: whether a unit may leave hangs on each other unit by itself, so pairs tell all.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from doe.model.coding import Coding
from doe.model.hierarchy import Group, drop_group, in_order, may_drop
from doe.model.term import Model, Term


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """The units of a model, u of them; a set of units is an integer with one bit a unit.

    Attributes:
        model: The full model.
        coding: The settings.
        fixed: Terms that never leave.
        terms: Terms of each unit, length u; a unit stands behind all those that it needs.
        needs: Units that must be there for each one, length u.
        held_by: Units that hold the columns of each one, so that its terms are not written while
            one of them is there: z in the set shares × z. Length u.
    """

    model: Model
    coding: Coding
    fixed: tuple[Term, ...]
    terms: tuple[Group, ...]
    needs: tuple[int, ...]
    held_by: tuple[int, ...]

    @property
    def everything(self) -> int:
        """All units."""
        return (1 << len(self.terms)) - 1

    def model_of(self, state: int) -> Model:
        """Give the model of a set of units, its terms in the order that dropping leaves."""
        there = [u for u in range(len(self.terms)) if state >> u & 1]
        written = [t for u in there if not self.held_by[u] & state for t in self.terms[u]]
        kept = {*self.fixed, *written}
        own = [term for term in self.model.terms if term in kept]
        heirs = [term for term in written if term not in self.model.terms]
        return in_order(replace(self.model, terms=(*own, *heirs)), self.coding)

    def with_unit(self, state: int, unit: int) -> int:
        """Add a unit and all that it needs."""
        wanted = state | 1 << unit
        for u in range(unit, -1, -1):
            if wanted >> u & 1:
                wanted |= self.needs[u]
        return wanted

    def without_unit(self, state: int, unit: int) -> int:
        """Take a unit out, and all that need it."""
        left = state & ~(1 << unit)
        for u in range(unit + 1, len(self.terms)):
            if self.needs[u] & ~left:
                left &= ~(1 << u)
        return left

    def states(self) -> Iterator[int]:
        """Give every allowed set of units, each once."""
        stack = [(0, 0)]
        while stack:
            state, first = stack.pop()
            yield state
            for u in range(first, len(self.terms)):
                if not self.needs[u] & ~state:
                    stack.append((state | 1 << u, u + 1))


def units_of(model: Model, coding: Coding) -> Units:
    """Find the units of a model by leaving out what may go until nothing may."""
    gone, heir_of, bottom = _way_down(model, coding)
    terms = tuple(reversed(gone))
    held_by = tuple(
        sum(1 << terms.index(group) for group, heirs in heir_of.items() if set(heirs) >= set(own))
        for own in terms
    )
    needs = tuple(
        sum(
            1 << u
            for u, own in enumerate(terms)
            if u != v and (held_by[u] >> v & 1 or _holds(holder, own, bottom, coding))
        )
        for v, holder in enumerate(terms)
    )
    return Units(
        model=model, coding=coding, fixed=bottom.terms, terms=terms, needs=needs, held_by=held_by
    )


def _way_down(model: Model, coding: Coding) -> tuple[list[Group], dict[Group, Group], Model]:
    gone: list[Group] = []
    heir_of: dict[Group, Group] = {}
    while True:
        step = next(
            (
                (group, smaller)
                for group in may_drop(model, coding)
                if len((smaller := drop_group(model, group, coding)).terms) < len(model.terms)
            ),
            None,
        )
        if step is None:
            return gone, heir_of, model
        group, smaller = step
        gone.append(group)
        heirs = tuple(term for term in smaller.terms if term not in model.terms)
        if heirs:
            heir_of[group] = heirs
        model = smaller


def _holds(holder: Group, own: Group, bottom: Model, coding: Coding) -> bool:
    both = replace(bottom, terms=(*bottom.terms, *own, *holder))
    return not any(set(group) == set(own) for group in may_drop(both, coding))
