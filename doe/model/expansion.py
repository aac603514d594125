"""A model made ready for searches: the matrix and its slopes at many coded settings, fast."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from doe.model.bend import Bend, Bent
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, lab_values
from doe.model.column import Column, bent_columns, contrast_levels, model_columns, shape_columns
from doe.model.term import Model, Term
from doe.study.settings import FloatArray, frozen_array

IndexArray = NDArray[np.intp]

# Below this many entries gathering all products at once beats a loop over columns (measured).
SMALL_MATRIX = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class _Contrast:
    """A choice's column: +1 at its level, −1 at the last, 0 elsewhere.

    NaN stands where it is open, and at levels that no run has.
    """

    axis: int
    by_level: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Products:
    """Products of features; row r is `coefficient[r] · Π features[index[r]]`, for a column."""

    column: IndexArray
    index: IndexArray
    coefficient: FloatArray
    axis: IndexArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expansion:
    """The p columns of a model as products of features of the k coded settings.

    Feature 0 is the constant, then come the numeric settings and shares, then the contrasts.

    Attributes:
        coding: The settings.
        columns: The p columns.
    """

    coding: Coding
    columns: tuple[Column, ...]
    numeric: IndexArray
    contrasts: tuple[_Contrast, ...]
    products: _Products
    subtracted: _Products
    slopes: _Products
    subtracted_slopes: _Products

    def matrix(self, coded: FloatArray) -> FloatArray:
        """Expand coded settings, shape (n, k), into the model matrix, shape (n, p).

        NaN stands in the columns of a setting that is open; one that its level lacks counts 0.
        """
        features = self._features(coded)
        n, p = coded.shape[0], len(self.columns)
        if n * p < SMALL_MATRIX:
            X: FloatArray = features[self.products.index].prod(axis=1)
            X[self.subtracted.column] -= features[self.subtracted.index].prod(axis=1)
            return X.T
        X = np.empty((p, n))
        for c, factors in enumerate(self.products.index):
            _product(features, factors, X[c])
        for c, factors in zip(self.subtracted.column, self.subtracted.index, strict=True):
            X[c] -= _product(features, factors, np.empty(n))
        return X.T

    def gradient(self, coded: FloatArray) -> FloatArray:
        """Give the slopes of every column, shape (n, k, p), per coded unit; 0 along a choice."""
        features = self._features(coded)
        G = np.zeros((coded.shape[1], len(self.columns), coded.shape[0]))
        for part in (self.slopes, self.subtracted_slopes):
            values = features[part.index].prod(axis=1) * part.coefficient[:, None]
            G[part.axis, part.column] += values
        lacking = self._lacking(coded)
        if lacking.any():
            G[np.broadcast_to(lacking.T[:, None, :], G.shape)] = 0.0
        return G.transpose(2, 0, 1)

    def _lacking(self, coded: FloatArray) -> NDArray[np.bool_]:
        """Mark the settings that a level lacks, shape (n, k)."""
        lacking = np.zeros(coded.shape, dtype=np.bool_)
        for j, axis in enumerate(self.coding.axes):
            if isinstance(axis, NumericAxis) and any(e.low is None for e in axis.ranges):
                i = self.coding.index(axis.ranges[0].choice)
                there = np.array([float(e.low is not None) for e in axis.ranges])
                lacking[:, j] = _at_level(coded[:, i], there) == 0
        return lacking

    def _features(self, coded: FloatArray) -> FloatArray:
        """Give the features, shape (f, n), each contiguous."""
        f = 1 + len(self.numeric) + len(self.contrasts)
        features = np.empty((f, coded.shape[0]))
        features[0] = 1.0
        numeric = coded[:, self.numeric]
        lacking = self._lacking(coded)[:, self.numeric]
        features[1 : 1 + len(self.numeric)] = np.where(lacking, 0.0, numeric).T
        for row, contrast in enumerate(self.contrasts, start=1 + len(self.numeric)):
            features[row] = _at_level(coded[:, contrast.axis], np.array(contrast.by_level))
        return features


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BentExpansion(Expansion):
    """A model with one axis bent, over the same coded settings as without.

    The columns of its shape parameters are ∂(row · b)/∂s = Σ b_c · (column c without the factor) ·
    ∂u/∂s, with the weights b of the form.

    Attributes:
        bend: The form.
        axis: Which setting is bent.
        plain: The columns of the terms, over settings of which that one is bent already.
        rest: Those that hold the bent factor, without it.
    """

    bend: Bend
    axis: int
    plain: Expansion
    rest: Expansion

    def matrix(self, coded: FloatArray) -> FloatArray:
        """Expand coded settings, shape (n, k), into the model matrix, shape (n, p)."""
        bent, known, _ = self._bent(coded)
        X = self.plain.matrix(bent)
        if not self.bend.weights:
            return X
        pull = self.rest.matrix(coded) @ np.array(self.bend.weights)
        return np.hstack([X, pull[:, None] * known.by_shape])

    def gradient(self, coded: FloatArray) -> FloatArray:
        """Give the slopes of every column, shape (n, k, p), per unit coded without the form."""
        bent, known, lab = self._bent(coded)
        G = self.plain.gradient(bent)
        G[:, self.axis] *= (known.slope * lab)[:, None]
        if not self.bend.weights:
            return G
        weights = np.array(self.bend.weights)
        pull, by_setting = self.rest.matrix(coded) @ weights, self.rest.gradient(coded) @ weights
        shapes = by_setting[:, :, None] * known.by_shape[:, None, :]
        shapes[:, self.axis] += (pull * lab)[:, None] * known.slope_by_shape
        return np.concatenate([G, shapes], axis=2)

    def _bent(self, coded: FloatArray) -> tuple[FloatArray, Bent, FloatArray]:
        """Give the settings with the axis bent, the bend there, and lab units a coded unit."""
        axis = self.coding.axes[self.axis]
        assert isinstance(axis, NumericAxis)
        values, per_coded = lab_values(coded[:, self.axis], axis)
        known = self.bend.at(values)
        bent = np.array(coded, dtype=np.float64)
        bent[:, self.axis] = known.value
        return bent, known, per_coded


def _bent(coding: Coding, model: Model, bend: Bend) -> BentExpansion:
    own = model_columns(replace(model, bend=None), coding)
    plain = compile_columns(coding, own)
    rest = tuple(_without(own[j], bend.factor) for j in bent_columns(own, bend.factor))
    known = {field.name: getattr(plain, field.name) for field in fields(plain)}
    known["columns"] = own + shape_columns(model)
    return BentExpansion(
        **known,
        bend=bend,
        axis=coding.index(bend.factor),
        plain=plain,
        rest=compile_columns(coding, rest),
    )


def _without(column: Column, factor: str) -> Column:
    powers = dict(column.term.powers)
    if powers.pop(factor) != 1:
        raise ValueError(f"{factor} is bent and squared")
    return replace(column, term=Term(powers=tuple(powers.items())))


def compile_model(coding: Coding, model: Model) -> Expansion:
    """Make a model ready for searches; the same value again for the same model.

    Args:
        coding: The settings.
        model: The terms.

    Returns:
        The expansion; its columns are `model_columns(model, coding)`.
    """
    return _compiled(coding, model)


@lru_cache(maxsize=128)
def _compiled(coding: Coding, model: Model) -> Expansion:
    if model.bend is None:
        return compile_columns(coding, model_columns(model, coding))
    return _bent(coding, model, model.bend)


def compile_columns(coding: Coding, columns: tuple[Column, ...]) -> Expansion:
    """Make a choice of columns ready for searches."""
    numeric = [j for j, axis in enumerate(coding.axes) if not isinstance(axis, ChoiceAxis)]
    place = {j: 1 + i for i, j in enumerate(numeric)}
    contrasts: dict[_Contrast, int] = {}
    plus: list[tuple[int, list[int]]] = []
    minus: list[tuple[int, list[int]]] = []
    for c, column in enumerate(columns):
        factors: list[int] = []
        for name, power in column.term.powers:
            j = coding.index(name)
            if j in place:
                factors += [place[j]] * power
            else:
                contrast = _contrast(column, j, coding)
                row = contrasts.setdefault(contrast, len(contrasts))
                factors.append(1 + len(numeric) + row)
        if column.term.delta:
            first, second = (place[coding.index(name)] for name in column.term.names[:2])
            minus.append((c, [*factors, second]))
            factors.append(first)
        plus.append((c, factors))
    axis_of = {feature: j for j, feature in place.items()}
    return Expansion(
        coding=coding,
        columns=columns,
        numeric=np.array(numeric, dtype=np.intp),
        contrasts=tuple(contrasts),
        products=_packed((c, f, 1.0, 0) for c, f in plus),
        subtracted=_packed((c, f, 1.0, 0) for c, f in minus),
        slopes=_packed(_derivatives(plus, axis_of, 1.0)),
        subtracted_slopes=_packed(_derivatives(minus, axis_of, -1.0)),
    )


def _product(features: FloatArray, factors: IndexArray, out: FloatArray) -> FloatArray:
    """Multiply features into `out`; index 0 is the constant and costs nothing."""
    named = [f for f in factors if f]
    out[:] = features[named[0]] if named else 1.0
    for f in named[1:]:
        out *= features[f]
    return out


def _at_level(index: FloatArray, by_level: FloatArray) -> FloatArray:
    """Look a number up by level index, shape (n,); NaN where the level is open."""
    table = np.append(by_level, np.nan)
    rows = np.where(np.isnan(index), len(by_level), np.nan_to_num(index))
    return table[np.rint(rows).astype(np.intp)]


def _contrast(column: Column, axis: int, coding: Coding) -> _Contrast:
    choice = coding.axes[axis]
    assert isinstance(choice, ChoiceAxis)
    own = dict(column.levels)[choice.name]
    last = contrast_levels(choice, column.term, coding)[-1]
    by_level = tuple(
        float("nan") if level in choice.never else float(level == own) - float(level == last)
        for level in choice.levels
    )
    return _Contrast(axis=axis, by_level=by_level)


def _derivatives(
    products: Iterable[tuple[int, list[int]]], axis_of: dict[int, int], sign: float
) -> Iterable[tuple[int, list[int], float, int]]:
    """Differentiate each product by each numeric setting in it: r · x^(r − 1) · the rest."""
    for c, factors in products:
        for feature in dict.fromkeys(factors):
            if feature in axis_of:
                rest = list(factors)
                rest.remove(feature)
                yield c, rest, sign * factors.count(feature), axis_of[feature]


def _packed(rows: Iterable[tuple[int, list[int], float, int]]) -> _Products:
    entries = list(rows)
    width = max((len(factors) for _, factors, _, _ in entries), default=0)
    index = np.zeros((len(entries), max(width, 1)), dtype=np.intp)
    for r, (_, factors, _, _) in enumerate(entries):
        index[r, : len(factors)] = factors
    return _Products(
        column=np.array([c for c, *_ in entries], dtype=np.intp),
        index=index,
        coefficient=frozen_array(np.array([w for *_, w, _ in entries], dtype=np.float64)),
        axis=np.array([j for *_, j in entries], dtype=np.intp),
    )
