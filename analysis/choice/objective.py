"""The objective of the search: every aim and every binding limit, at many settings at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.choice.desirability import Aim, desirability, height, overall_desirability
from analysis.fits.fit import Fit
from analysis.fits.scales import inverse, log_slope
from analysis.surface.acceptance import AcceptLimit
from analysis.surface.exact import ExactResponse, Surface
from analysis.surface.noise import Production
from doe.model.coding import Coding, code
from doe.model.expansion import Expansion, compile_model
from doe.model.term import Model
from doe.study.settings import FloatArray, frozen_array

# Predictions that differ by less than this part of them differ by rounding.
FLAT = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Side:
    """One straight line `a + c y` over one response, not negative where things are as wanted."""

    response: int
    a: float
    c: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelGroup:
    """Responses with the same terms: one matrix serves them all.

    Attributes:
        expansion: The terms, ready to use.
        members: Which responses.
        coefficients: Shape (p, members).
    """

    expansion: Expansion
    members: tuple[int, ...]
    coefficients: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Objective:
    """What the search maximises, for m aims over r responses.

    Attributes:
        fits: Models of the r responses that matter to aims or binding limits, or what computes
            them.
        groups: The models, those with equal terms together.
        exact: Which of the r responses are computed.
        aims: The m aims.
        production: Points over which noise factors are averaged.
        sides: Ramps of all aims, one a side; `aim_of_side` names the aim of each.
        aim_of_side: Shape (s,).
        limits: Acceptance limits that bind, none without `within_limits`, as slacks in units of
            `limit_scale`.
        exponents: Shape (m,): log overall desirability = Σ exponents · ln height.
    """

    fits: tuple[Surface, ...]
    groups: tuple[ModelGroup, ...]
    exact: tuple[tuple[int, ExactResponse], ...]
    aims: tuple[Aim, ...]
    production: Production
    sides: tuple[Side, ...]
    aim_of_side: tuple[int, ...]
    limits: tuple[Side, ...]
    exponents: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "exponents", frozen_array(self.exponents))

    def values(self, settings: FloatArray) -> FloatArray:
        """Predict the responses, averaged over production: shape (n, r), response units."""
        rows = self.production.spread(settings)
        values = np.empty((len(rows), len(self.fits)))
        for group in self.groups:
            fitted = group.expansion.matrix(code(rows, group.expansion.coding)) @ group.coefficients
            for column, i in enumerate(group.members):
                values[:, i] = inverse(self.fits[i].scale, fitted[:, column])
        for i, exact in self.exact:
            values[:, i] = exact.values(rows)
        return self.production.averaged(values)

    def is_flat(self, settings: FloatArray) -> bool:
        """Tell whether no response differs among settings, shape (n, k), beyond rounding."""
        values = self.values(settings)
        return bool(np.all(np.ptp(values, axis=0) <= FLAT * np.abs(values).max(axis=0)))

    def slopes(self, settings: FloatArray, along: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Predict with slopes, averaged over production.

        Args:
            settings: Shape (n, k), lab units.
            along: Shape (n, k, d), coded units a step in each of d directions.

        Returns:
            Values (n, r), response units, and slopes (n, r, d).
        """
        g = len(self.production.weights)
        rows = self.production.spread(settings)
        values = np.empty((len(rows), len(self.fits)))
        slopes = np.empty((len(rows), len(self.fits), along.shape[2]))
        directions = np.repeat(along, g, axis=0)
        for group in self.groups:
            coded = code(rows, group.expansion.coding)
            fitted = group.expansion.matrix(coded) @ group.coefficients
            by_coded = np.nan_to_num(group.expansion.gradient(coded)) @ group.coefficients
            by_step = np.einsum("nkm,nkd->nmd", by_coded, directions)
            for column, i in enumerate(group.members):
                scale = self.fits[i].scale
                values[:, i] = inverse(scale, fitted[:, column])
                # dy/dz = 1 / (dz/dy), and the chain rule to the directions.
                dy = np.exp(-log_slope(scale, values[:, i]))
                slopes[:, i] = dy[:, None] * by_step[:, column]
        for i, exact in self.exact:
            values[:, i] = exact.values(rows)
            slopes[:, i] = np.einsum("nk,nkd->nd", exact.gradient(rows), directions)
        return self.production.averaged(values), self.production.averaged(slopes)

    def heights(self, values: FloatArray) -> FloatArray:
        """Give the height of each aim on its ramp: (n, r) to (n, m), cut at neither end."""
        places = self.places
        return np.stack(
            [height(aim, values[:, i]) for aim, i in zip(self.aims, places, strict=True)], axis=1
        )

    @property
    def places(self) -> tuple[int, ...]:
        """Which of the r responses each aim is for."""
        names = [fit.response for fit in self.fits]
        return tuple(names.index(aim.response) for aim in self.aims)

    def each(self, values: FloatArray) -> FloatArray:
        """Give the desirability of each aim: (n, r) to (n, m)."""
        return np.stack(
            [desirability(a, values[:, i]) for a, i in zip(self.aims, self.places, strict=True)],
            axis=1,
        )

    def overall(self, values: FloatArray) -> FloatArray:
        """Give the overall desirability: (n, r) to (n,)."""
        return overall_desirability(self.each(values), [aim.importance for aim in self.aims])

    def slack(self, values: FloatArray) -> FloatArray:
        """Give the least slack of the binding limits: (n, r) to (n,); infinite without any."""
        if not self.limits:
            return np.full(len(values), np.inf)
        every = [side.a + side.c * values[:, side.response] for side in self.limits]
        least: FloatArray = np.min(every, axis=0)
        return np.where(np.isnan(least), -np.inf, least)

    def score(self, values: FloatArray) -> FloatArray:
        """Order recipes: (n, r) to (n,).

        The overall desirability where it is positive; in (−1, 0] where it is zero, by the worst
        height; at −2 and below where a binding limit is broken, by the worst break. This order
        is the way off the flat zero: recipes that are all worthless still differ.
        """
        overall = self.overall(values)
        worst = np.minimum(self.heights(values).min(axis=1), 0.0)
        score = np.where(overall > 0.0, overall, _squashed(worst))
        slack = self.slack(values)
        return np.where(slack >= -SLACK_TOUCH, score, BROKEN + _squashed(np.minimum(slack, 0.0)))


# A binding limit overstepped by less, in units of its scale, is met.
SLACK_TOUCH = 1e-9
# Scores at and below this are of recipes that break a binding limit.
BROKEN = -2.0


def make_objective(
    fits: Mapping[str, Surface],
    aims: Sequence[Aim],
    limits: Sequence[tuple[AcceptLimit, float]],
    production: Production,
) -> Objective:
    """Put aims and binding limits over the fits that they need.

    Args:
        fits: Models by response name, computed responses among them.
        aims: Aims on these responses.
        limits: Limits that bind, each with its scale, response unit.
        production: Where the noise factors lie.
    """
    wanted = [aim.response for aim in aims] + [limit.response for limit, _ in limits]
    names = list(dict.fromkeys(wanted))
    sides = tuple(
        Side(response=names.index(aim.response), a=a, c=c) for aim in aims for a, c in aim.ramps
    )
    weights = np.array([aim.importance for aim in aims])
    chosen = [fits[name] for name in names]
    return Objective(
        fits=tuple(chosen),
        groups=_groups(chosen),
        exact=tuple((i, one) for i, one in enumerate(chosen) if isinstance(one, ExactResponse)),
        aims=tuple(aims),
        production=production,
        sides=sides,
        aim_of_side=tuple(i for i, aim in enumerate(aims) for _ in aim.ramps),
        limits=tuple(
            Side(
                response=names.index(limit.response),
                a=limit.side * limit.limit / scale,
                c=-limit.side / scale,
            )
            for limit, scale in limits
        ),
        exponents=weights / weights.sum() * np.array([aim.shape for aim in aims]),
    )


def _groups(fits: Sequence[Surface]) -> tuple[ModelGroup, ...]:
    members: dict[tuple[Coding, Model], list[tuple[int, Fit]]] = {}
    for i, fit in enumerate(fits):
        if isinstance(fit, Fit):
            members.setdefault((fit.coding, fit.model), []).append((i, fit))
    return tuple(
        ModelGroup(
            expansion=compile_model(coding, model),
            members=tuple(i for i, _ in alike),
            coefficients=np.stack([fit.coefficients for _, fit in alike], axis=1),
        )
        for (coding, model), alike in members.items()
    )


def _squashed(x: FloatArray) -> FloatArray:
    """Map −∞..0 onto −1..0, in order."""
    with np.errstate(invalid="ignore"):
        squashed: FloatArray = np.where(np.isneginf(x), -1.0, x / (1.0 - x))
    return squashed
