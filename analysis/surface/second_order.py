"""A second-order model along the factors that move, as a function of its coefficients.

At one combination of levels a model of order two in the m factors that move is
y(u) = (c + Σ uᵢ gᵢ + Σ uᵢ uⱼ Hᵢⱼ)'β, with c, gᵢ and Hᵢⱼ known rows and β the coefficients. Slopes,
bends and their errors are then all linear in β, whatever shares, choices and noise factors the
model holds besides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from analysis.fits.fit import Fit
from analysis.surface.noise import NO_NOISE, Production
from doe.errors import FitError
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, code, decode, level_range
from doe.model.matrix import compile_model
from doe.study.settings import FloatArray, frozen_array

# Level combinations that a landscape is told for, at most: more are a table, not a landscape.
MOST_COMBINATIONS = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SecondOrder:
    """One fitted surface over the m factors that move, all else held; coded, fitted scale.

    Attributes:
        fit: The model.
        columns: Columns of these factors in a table of settings.
        levels: Level of each choice that changes the shape; the other choices are averaged.
        origin: Shape (k,), coded: the factors in the middle, the rest where it is held.
        constant: Shape (p,), c.
        slopes: Shape (m, p), g.
        bends: Shape (m, m, p), H, symmetric.
    """

    fit: Fit
    columns: tuple[int, ...]
    levels: Mapping[str, str]
    origin: FloatArray
    constant: FloatArray
    slopes: FloatArray
    bends: FloatArray

    def __post_init__(self) -> None:
        for name in ("origin", "constant", "slopes", "bends"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def axes(self) -> tuple[NumericAxis, ...]:
        """The m factors."""
        axes = (self.fit.coding.axes[j] for j in self.columns)
        return tuple(axis for axis in axes if isinstance(axis, NumericAxis))

    @property
    def names(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(axis.name for axis in self.axes)

    @property
    def units(self) -> tuple[str, ...]:
        """Their units."""
        return tuple(axis.unit for axis in self.axes)

    @property
    def middle_slopes(self) -> FloatArray:
        """Slopes in the middle, shape (m,), per coded unit."""
        slopes: FloatArray = self.slopes @ self.fit.coefficients
        return slopes

    @property
    def curvature(self) -> FloatArray:
        """Bends, shape (m, m): squares on the diagonal, half of each interaction off it."""
        bends: FloatArray = self.bends @ self.fit.coefficients
        return bends

    @property
    def is_plane(self) -> bool:
        """Whether no factor bends, alone or with another."""
        return not bool(np.any(self.bends))

    def rows(self, u: FloatArray) -> FloatArray:
        """Give the model row at places, shape (n, m), coded: shape (n, p)."""
        rows: FloatArray = (
            self.constant + u @ self.slopes + np.einsum("ni,nj,ijp->np", u, u, self.bends)
        )
        return rows

    def gradient_rows(self, u: FloatArray) -> FloatArray:
        """Give L with L'β the slopes at one place, shape (m,), coded: shape (m, p)."""
        rows: FloatArray = self.slopes + 2.0 * np.einsum("j,ijp->ip", u, self.bends)
        return rows

    def settings(self, u: FloatArray) -> FloatArray:
        """Give places, shape (n, m), coded, as whole settings, shape (n, k), lab units."""
        coded = np.tile(self.origin, (len(u), 1))
        coded[:, list(self.columns)] = u
        # Far outside, a log-spaced factor grows beyond all numbers.
        with np.errstate(over="ignore"):
            return decode(coded, self.fit.coding)

    def coded(self, settings: FloatArray) -> FloatArray:
        """Give whole settings, shape (n, k), lab units, as places, shape (n, m)."""
        return code(settings, self.fit.coding)[:, list(self.columns)]


def second_order(fit: Fit, base: FloatArray, production: Production = NO_NOISE) -> SecondOrder:
    """Take a model apart along the factors that move.

    Args:
        fit: A model of order two or less in its numeric factors.
        base: Shape (k,), lab units: where shares are held, and the levels of the choices.
        production: Noise factors; held at their production mean.

    Returns:
        The form over every factor with a range that the model holds. Choices that change nothing
        but the height of the surface are averaged over their levels, as are noise choices.

    Raises:
        FitError: The model is of third order in these factors, or a form bends one of them.
    """
    coding = fit.coding
    columns = moving_columns(fit, base, production)
    _check_order(fit, {coding.names[j] for j in columns})
    telling = telling_choices(fit, base, production)
    rows = _combined(coding, base, telling, production)
    coded = code(rows, coding)
    coded[:, list(columns)] = 0.0
    m, expansion = len(columns), compile_model(coding, fit.model)

    def row(*steps: tuple[int, float]) -> FloatArray:
        moved = coded.copy()
        for i, step in steps:
            moved[:, columns[i]] += step
        mean: FloatArray = expansion.matrix(moved).mean(axis=0)
        return mean

    constant, p = row(), len(fit.columns)
    up, down = ([row((i, sign)) for i in range(m)] for sign in (1.0, -1.0))
    slopes, bends = np.zeros((m, p)), np.zeros((m, m, p))
    # Differences of a quadratic are exact: g = (f₊ − f₋)/2, Hᵢᵢ = (f₊ + f₋)/2 − c.
    for i in range(m):
        slopes[i] = (up[i] - down[i]) / 2.0
        bends[i, i] = (up[i] + down[i]) / 2.0 - constant
        for j in range(i):
            bends[i, j] = bends[j, i] = (row((i, 1.0), (j, 1.0)) - up[i] - up[j] + constant) / 2.0
    origin = code(base[None, :], coding)[0]
    held = _held_coded(rows, coded, production)
    origin[list(held)] = list(held.values())
    origin[list(columns)] = 0.0
    return SecondOrder(
        fit=fit, columns=columns,
        levels={name: _level(coding, base, name) for name in telling},
        origin=origin, constant=constant, slopes=slopes, bends=bends,
    )  # fmt: skip


def moving_columns(fit: Fit, base: FloatArray, production: Production) -> tuple[int, ...]:
    """List the numeric factors that a model holds, somebody sets, and the levels have."""
    held = {name for term in fit.model.terms for name in term.names}
    return tuple(
        j
        for j, axis in enumerate(fit.coding.axes)
        if isinstance(axis, NumericAxis)
        and axis.name in held
        and axis.low < axis.high
        and j not in production.columns
        and _has(fit.coding, base, axis)
    )


def telling_choices(fit: Fit, base: FloatArray, production: Production) -> tuple[str, ...]:
    """List the choices on whose level the shape along the factors hangs, noise left out."""
    coding = fit.coding
    numeric = {axis.name for axis in coding.axes if isinstance(axis, NumericAxis)}
    ranged = [axis for axis in coding.axes if isinstance(axis, NumericAxis) and axis.ranges]
    found = {axis.ranges[0].choice for axis in ranged}
    for term in fit.model.terms:
        if set(term.names) & numeric:
            found |= set(term.names)
    return tuple(
        axis.name
        for j, axis in enumerate(coding.axes)
        if isinstance(axis, ChoiceAxis) and axis.name in found and j not in production.columns
    )


def level_rows(fit: Fit, base: FloatArray, production: Production = NO_NOISE) -> FloatArray:
    """Put a recipe to every combination of the levels that change the shape, shape (c, k).

    A factor that a level lacks is NaN there; one that the recipe lacks stands in the middle of the
    level's range. The recipe's own combination comes first; at most `MOST_COMBINATIONS`.
    """
    coding = fit.coding
    telling = [coding.index(name) for name in telling_choices(fit, base, production)]
    counts = [range(len(_choice(coding, j).levels)) for j in telling]
    own = tuple(int(base[j]) for j in telling)
    combinations = sorted(product(*counts), key=lambda one: one != own)[:MOST_COMBINATIONS]
    rows = np.tile(base, (len(combinations), 1))
    rows[:, telling] = np.array(combinations, dtype=np.float64).reshape(len(rows), len(telling))
    for row in rows:
        for j, axis in enumerate(coding.axes):
            if isinstance(axis, NumericAxis) and axis.ranges:
                ends = level_range(axis, _level(coding, row, axis.ranges[0].choice))
                middle = np.nan if ends is None else float(np.mean(ends))
                row[j] = middle if ends is None or np.isnan(row[j]) else row[j]
    return rows


def _check_order(fit: Fit, moving: set[str]) -> None:
    bend = fit.model.bend
    if bend is not None and bend.factor in moving:
        raise FitError(
            f"the surface is bent along {bend.factor} by a form ({bend.form}): stationary points, "
            "ridges and bends are told of polynomials of second order only",
            where=f"response '{fit.response}'",
            allowed="a model without a form",
            do="Read the effects along each setting instead.",
        )
    for term in fit.model.terms:
        if sum(power for name, power in term.powers if name in moving) > 2:
            raise FitError(
                "a landscape is told only of models of order two in the factors",
                where=f"response '{fit.response}'",
                allowed="linear, interactions or quadratic",
                do="Read the effects along each setting instead.",
            )


def _combined(
    coding: Coding, base: FloatArray, telling: tuple[str, ...], production: Production
) -> FloatArray:
    """Lay out the rows whose mean is taken: other choices at each level, noise at its mean."""
    averaged = [
        j
        for j, axis in enumerate(coding.axes)
        if isinstance(axis, ChoiceAxis) and axis.name not in telling
    ]
    combinations = list(product(*(range(len(_choice(coding, j).levels)) for j in averaged)))
    rows = np.tile(base, (len(combinations), 1))
    rows[:, averaged] = np.array(combinations, dtype=np.float64).reshape(len(rows), len(averaged))
    for column, mean in zip(production.columns, production.means, strict=True):
        if not np.isnan(mean):
            rows[:, column] = np.where(np.isnan(rows[:, column]), np.nan, mean)
    return rows


def _held_coded(rows: FloatArray, coded: FloatArray, production: Production) -> dict[int, float]:
    return {
        column: float(coded[0, column])
        for column, mean in zip(production.columns, production.means, strict=True)
        if not np.isnan(mean) and not np.isnan(rows[0, column])
    }


def _has(coding: Coding, base: FloatArray, axis: NumericAxis) -> bool:
    if not axis.ranges:
        return True
    ends = level_range(axis, _level(coding, base, axis.ranges[0].choice))
    return ends is not None and ends[0] < ends[1]


def _level(coding: Coding, row: FloatArray, name: str) -> str:
    j = coding.index(name)
    return _choice(coding, j).levels[int(row[j])]


def _choice(coding: Coding, j: int) -> ChoiceAxis:
    axis = coding.axes[j]
    assert isinstance(axis, ChoiceAxis)
    return axis
