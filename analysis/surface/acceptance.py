"""Acceptance limits met or broken, at predicted values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from doe.methods.kinds import kind_of
from doe.study.brief import Response
from doe.study.settings import BoolArray, FloatArray

# A value computed to lie on its limit meets it: rounding in the last digits breaks no limit.
TOUCH = 1e-9
# A rating, modelled by the probability of its accepted classes, meets them where it more likely
# does than not. Our own choice.
MORE_LIKELY = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptLimit:
    """One side of the `accept` of a response.

    Attributes:
        response: Name of the response.
        unit: Its unit.
        limit: Response unit.
        side: +1 for at most, −1 for at least.
    """

    response: str
    unit: str
    limit: float
    side: int

    def margin(self, value: FloatArray) -> FloatArray:
        """Give what is left before the limit, response unit, any shape; negative beyond it."""
        return self.side * (self.limit - value)

    def met(self, value: FloatArray) -> BoolArray:
        """Tell whether values meet the limit; NaN does not."""
        slack: BoolArray = self.margin(value) >= -TOUCH * max(1.0, abs(self.limit))
        return slack

    def words(self) -> str:
        """Say the limit with its response: `viscosity at most 2500 mPa·s`."""
        return f"{self.response} {self.bound()}"

    def bound(self) -> str:
        """Say the limit: `at most 2500 mPa·s`."""
        bound = "at most" if self.side > 0 else "at least"
        return f"{bound} {self.limit:g} {self.unit}".rstrip()


def accept_limits(responses: tuple[Response, ...]) -> tuple[AcceptLimit, ...]:
    """List every acceptance limit of a brief, in its order."""
    limits: list[AcceptLimit] = []
    for response in responses:
        accept = response.accept
        if accept is None:
            continue
        if kind_of(response) == "rating":
            limits.append(
                AcceptLimit(response=response.name, unit="probability", limit=MORE_LIKELY, side=-1)
            )
            continue
        for limit, side in ((accept.at_most, 1), (accept.at_least, -1)):
            if limit is not None:
                limits.append(
                    AcceptLimit(response=response.name, unit=response.unit, limit=limit, side=side)
                )
    return tuple(limits)


def all_met(limits: tuple[AcceptLimit, ...], values: Mapping[str, FloatArray]) -> BoolArray:
    """Tell where every limit on a response with values is met.

    Args:
        limits: Limits; those on responses without values are passed over.
        values: Values of each response, all of one shape.
    """
    shape = next(iter(values.values())).shape
    met = np.ones(shape, dtype=np.bool_)
    for limit in limits:
        if limit.response in values:
            met &= limit.met(values[limit.response])
    return met
