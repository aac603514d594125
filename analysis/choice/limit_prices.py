"""The price of each limit: what is gained if it is relaxed by one unit.

Acceptance limits bind here, whether or not they did in the compromise: the price of a limit is the
difference between the best recipe within all limits and the best one when this limit alone is
relaxed. Ends of ranges and limits of the brief are priced where the best recipe lies on them. All
of it between the bench's steps, so that no price is an accident of rounding.

A unit is one unit of the response or setting where that is sensible, else the power of ten at or
below a tenth of its ramp or range; it is always stated. That rule is our own choice.

Source:
    The price is the shadow price of linear programming (Dantzig 1963, from memory), over a whole
    unit instead of at the margin, so that it holds for curved responses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import floor, log10

import numpy as np

from analysis.choice.again import Search, noted, search_again
from analysis.choice.ascent import Summit
from analysis.choice.boundary import ON_LIMIT
from analysis.choice.chart import charts_of
from analysis.choice.compromise import Recipe
from analysis.choice.objective import BROKEN, Objective
from analysis.surface.acceptance import AcceptLimit
from doe.methods.kinds import kind_of
from doe.model.coding import Axis, ChoiceAxis, NumericAxis, ShareAxis
from doe.model.region import Piece, Region, binding_words, inside_piece
from doe.study.finding import Finding
from doe.study.settings import FloatArray, IntArray

# One unit is sensible between these parts of a ramp or range; our own choice.
SENSIBLE = (0.01, 0.25)
# A share of the package is relaxed by one hundredth of it, a probability by five.
SHARE_UNIT, PROBABILITY_UNIT = 0.01, 0.05
# Desirability below this is rounding of the search, no gain.
NO_GAIN = 1e-7
# Ends of ranges and limits are priced up to this many.
MOST_BOUNDS = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitPrice:
    """What one limit costs.

    Attributes:
        limit: The limit in words.
        kind: `acceptance` of a response, `range` of a setting, or `limit` over settings.
        response: Whose acceptance limit; empty for the others.
        by: How far it is relaxed, in `unit`.
        unit: Of that.
        binds: Whether the best recipe within limits lies on it.
        gain: What overall desirability gains; 0 where the limit does not stand in the way.
        recipe: The best recipe with the limit relaxed, between the bench's steps.
        changes: For each response, its value there less that within all limits.
        beyond_tried: Whether the recipe leaves the ranges in which the models were made.
    """

    limit: str
    kind: str
    response: str
    by: float
    unit: str
    binds: bool
    gain: float
    recipe: Recipe
    changes: Mapping[str, float]
    beyond_tried: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitPrices:
    """The prices of all limits.

    Attributes:
        within: The best recipe within all limits, between the bench's steps.
        is_met: Whether it meets them all; prices are then gains from where all are met.
        prices: Acceptance limits in the brief's order, then the ends and limits it lies on.
    """

    within: Recipe
    is_met: bool
    prices: tuple[LimitPrice, ...]

    @property
    def finding(self) -> Finding | None:
        """Name the dearest limit."""
        if not self.is_met or not self.prices:
            return None
        dearest = max(self.prices, key=lambda one: one.gain)
        if dearest.gain <= NO_GAIN:
            return Finding(
                level="note",
                what="No limit costs anything: relaxing any of them by a unit gains nothing.",
            )
        unit = f" {dearest.unit}" if dearest.unit else ""
        return Finding(
            level="note",
            what=f"The dearest limit is: {dearest.limit}. Relaxed by {dearest.by:g}{unit} it would "
            f"give {dearest.gain:.3f} more overall desirability.",
            evidence={"gain": dearest.gain},
            advice="Ask whether this limit is as firm as the others."
            if not dearest.beyond_tried
            else "Only new runs can tell: the models were not made beyond it.",
        )


def find_limit_prices(search: Search) -> LimitPrices:
    """Price every acceptance limit, and the ends and limits that the best recipe lies on."""
    limits = search.limits()
    objective = search.with_limits(limits)
    top = search_again(search, objective)[0]
    within = search.book.recipe(top.settings)
    pricing = _Pricing(search=search, top=top, within=within)
    prices = [pricing.of_acceptance(limits, i) for i in range(len(limits))]
    prices += [pricing.of_bound(objective, words) for words in pricing.bounds()]
    return LimitPrices(within=within, is_met=top.score > BROKEN, prices=tuple(prices))


def sensible_unit(width: float, own: float = 1.0) -> float:
    """Choose how far to relax something: `own` where that is sensible, else a power of ten.

    Args:
        width: Length of the ramp or range it belongs to.
        own: One unit, or one step of the bench.

    Example:
        >>> sensible_unit(12.0), sensible_unit(600.0), sensible_unit(0.8)
        (1.0, 10.0, 0.01)
    """
    if SENSIBLE[0] * width <= own <= SENSIBLE[1] * width:
        return own
    return float(10.0 ** floor(log10(width / 10.0) + 1e-9))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pricing:
    """The best within all limits, against which each relaxed limit is held."""

    search: Search
    top: Summit
    within: Recipe

    def of_acceptance(self, limits: Sequence[tuple[AcceptLimit, float]], i: int) -> LimitPrice:
        """Relax one acceptance limit."""
        limit, scale = limits[i]
        is_rating = kind_of(self.search.book.study.response(limit.response)) == "rating"
        by = PROBABILITY_UNIT if is_rating else sensible_unit(scale)
        relaxed = replace(limit, limit=limit.limit + limit.side * by)
        others = [*limits[:i], (relaxed, scale), *limits[i + 1 :]]
        objective = self.search.with_limits(others)
        tops = search_again(self.search, objective)
        tops += noted(objective, self.search.charts, [self.top.settings])
        value = {one.response: one.value for one in self.within.expected}[limit.response]
        return self._price(
            limit=limit.words(), kind="acceptance", response=limit.response, by=by,
            unit=limit.unit, objective=objective, tops=tops,
            binds=abs(value - limit.limit) <= ON_LIMIT * scale,
        )  # fmt: skip

    def bounds(self) -> list[str]:
        """Name the ends of ranges and limits of the brief that the best lies on."""
        book = self.search.book
        coding, probe = book.coding, self.top.settings.copy()
        # Noise factors at the end of a range are no limit of a recipe.
        for j in book.production.columns:
            axis = coding.axes[j]
            if isinstance(axis, NumericAxis) and not axis.levels:
                probe[j] = (axis.low + axis.high) / 2.0
        words = binding_words(book.region, probe, ON_LIMIT)
        return [one for one in words if not self._is_physical(one)][:MOST_BOUNDS]

    def of_bound(self, objective: Objective, words: str) -> LimitPrice:
        """Relax one end of a range, or one limit of the brief."""
        book = self.search.book
        by, unit, kind = self._unit_of(words)
        pieces = tuple(_relaxed(piece, words, by) for piece in book.region.pieces)
        region: Region = replace(book.region, pieces=pieces)
        charts = charts_of(region, book.production)
        tops = search_again(self.search, objective, charts=charts)
        tops += noted(objective, charts, [self.top.settings])
        return self._price(
            limit=words, kind=kind, response="", by=by, unit=unit, objective=objective,
            tops=tops, binds=True,
        )  # fmt: skip

    def _is_physical(self, words: str) -> bool:
        """Tell whether a bound is a share of none or all, which nobody can relax."""
        row, end = self._row_of(words)
        columns = np.flatnonzero(row).astype(np.int64)
        if len(columns) != 1 or not isinstance(self._axis(columns), ShareAxis):
            return False
        return abs(end / row[columns[0]]) in (0.0, 1.0)

    def _unit_of(self, words: str) -> tuple[float, str, str]:
        """Choose how far a bound is relaxed: by how much, unit, kind."""
        row, _ = self._row_of(words)
        columns = np.flatnonzero(row).astype(np.int64)
        if len(columns) > 1:
            reach = self.search.book.coding
            width = sum(abs(row[j]) * _width(reach.axes[j]) for j in columns)
            return sensible_unit(width), "", "limit"
        axis = self._axis(columns)
        if isinstance(axis, ShareAxis):
            return SHARE_UNIT * abs(row[columns[0]]), "share", "range"
        step = getattr(axis, "step", None) or 1.0
        return sensible_unit(_width(axis), step), getattr(axis, "unit", ""), "range"

    def _axis(self, columns: IntArray) -> Axis:
        return self.search.book.coding.axes[int(columns[0])]

    def _row_of(self, words: str) -> tuple[FloatArray, float]:
        """Find a bound by its words in the piece of the best recipe."""
        book, here = self.search.book, self.top.settings[None, :]
        for piece in book.region.pieces:
            if (
                words in piece.words
                and inside_piece(piece, here, book.region.spans, book.coding)[0]
            ):
                i = piece.words.index(words)
                return piece.A[i], float(piece.b[i])
        first = next(piece for piece in book.region.pieces if words in piece.words)
        i = first.words.index(words)
        return first.A[i], float(first.b[i])

    def _price(
        self,
        *,
        limit: str,
        kind: str,
        response: str,
        by: float,
        unit: str,
        binds: bool,
        objective: Objective,
        tops: Sequence[Summit],
    ) -> LimitPrice:
        best = max(tops, key=lambda one: one.score)
        gain = best.score - self.top.score
        if self.top.score <= 0.0:
            gain = max(best.score, 0.0)
        gain = gain if gain > NO_GAIN else 0.0
        recipe = self.search.book.recipe(best.settings) if gain else self.within
        values = {one.response: one.value for one in self.within.expected}
        return LimitPrice(
            limit=limit, kind=kind, response=response, by=by, unit=unit, binds=binds, gain=gain,
            recipe=recipe,
            changes={one.response: one.value - values[one.response] for one in recipe.expected},
            beyond_tried=bool(gain) and kind != "acceptance",
        )  # fmt: skip


def _relaxed(piece: Piece, words: str, by: float) -> Piece:
    """Move every bound with some words outwards."""
    moved = piece.b + by * np.array([own == words for own in piece.words], dtype=np.float64)
    return replace(piece, b=moved)


def _width(axis: Axis) -> float:
    return 1.0 if isinstance(axis, ChoiceAxis) else (axis.high - axis.low) or 1.0
