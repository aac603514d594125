"""Slices of the surfaces: over two settings, or over three additives, the others held."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from analysis.surface.acceptance import AcceptLimit, accept_limits, all_met
from analysis.surface.exact import Surface
from analysis.surface.lines import direction_of, inside_region, own_range, reach_along
from analysis.surface.noise import NO_NOISE, Production
from analysis.surface.predict import predict_values
from doe.model.coding import ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.settings import BoolArray, FloatArray, Settings, frozen_array

POINTS = 61
# Room drawn around the region of a package, as a part of its width, so that its edge is seen.
MARGIN = 0.06


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ContourSlice:
    """What every response does over two settings, the others held.

    Attributes:
        x: Name of the setting across.
        y: Name of the setting upwards.
        x_unit: Unit of `x`; empty for a share.
        y_unit: Unit of `y`.
        x_values: Shape (g,), rising, lab units.
        y_values: Shape (h,), rising, lab units.
        values: Values of each response, shape (h, g), response unit; outside the region too.
        units: Unit of each response.
        inside: Shape (h, g), whether the settings lie in the region.
        accepted: Shape (h, g), whether every acceptance limit is met inside the region.
        limits: Acceptance limits on these responses.
        held: The other settings; shares are those of the recipe that the slice goes through.
    """

    x: str
    y: str
    x_unit: str
    y_unit: str
    x_values: FloatArray
    y_values: FloatArray
    values: Mapping[str, FloatArray]
    units: Mapping[str, str]
    inside: BoolArray
    accepted: BoolArray
    limits: tuple[AcceptLimit, ...]
    held: Mapping[str, float | str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PackageSlice:
    """What every response does over three additives, all else held.

    Attributes:
        names: The three additives.
        shares: Shape (g, 3), proportions with one common sum, at and around the region.
        values: Values of each response, shape (g,), response unit; outside the region too.
        units: Unit of each response.
        inside: Shape (g,), whether the shares lie in the region.
        accepted: Shape (g,), whether every acceptance limit is met inside the region.
        outline: Shape (v, 3), corners of the region in order around it.
        limits: Acceptance limits on these responses.
        held: The other settings.
    """

    names: tuple[str, str, str]
    shares: FloatArray
    values: Mapping[str, FloatArray]
    units: Mapping[str, str]
    inside: BoolArray
    accepted: BoolArray
    outline: FloatArray
    limits: tuple[AcceptLimit, ...]
    held: Mapping[str, float | str]

    def __post_init__(self) -> None:
        object.__setattr__(self, "shares", frozen_array(self.shares))
        object.__setattr__(self, "outline", frozen_array(self.outline))


def contour_slice(
    study: Study,
    region: Region,
    fits: Mapping[str, Surface],
    at: FloatArray,
    x: str,
    y: str,
    *,
    production: Production = NO_NOISE,
    points: int = POINTS,
) -> ContourSlice:
    """Predict every response over two settings through one recipe.

    Args:
        study: The brief, for its acceptance limits.
        region: Its region.
        fits: Models by response, computed responses among them.
        at: The recipe that the others are held at, shape (k,), lab units.
        x: Setting across: a factor with a range, or one share (the others make room).
        y: Setting upwards; not a share where `x` is one.
        production: Noise factors averaged over; one that is drawn is set instead.
        points: Places along each range.

    Raises:
        ValueError: A setting has no range at this recipe, or both are shares.
    """
    coding = region.coding
    i, j = coding.index(x), coding.index(y)
    if all(isinstance(coding.axes[c], ShareAxis) for c in (i, j)):
        raise ValueError("two shares make a package slice")
    across, upwards = (_places(region, at, c, points) for c in (i, j))
    directions = [direction_of(coding, at, c) for c in (i, j)]
    grid = np.stack(np.meshgrid(across - at[i], upwards - at[j]), axis=-1).reshape(-1, 2)
    rows = at + grid @ np.array(directions)
    shape = (len(upwards), len(across))
    averaged = production.without([i, j])
    values = {
        name: predict_values(fit, rows, averaged).reshape(shape) for name, fit in fits.items()
    }
    inside = inside_region(region, rows, averaged.columns).reshape(shape)
    limits = _limits(study, fits)
    return ContourSlice(
        x=x,
        y=y,
        x_unit=_unit(coding, i),
        y_unit=_unit(coding, j),
        x_values=across,
        y_values=upwards,
        values=values,
        units={name: fit.unit for name, fit in fits.items()},
        inside=inside,
        accepted=inside & all_met(limits, values),
        limits=limits,
        held=_held(coding, at, (i, j), averaged),
    )


def package_slice(
    study: Study,
    region: Region,
    fits: Mapping[str, Surface],
    at: FloatArray,
    names: Sequence[str],
    *,
    production: Production = NO_NOISE,
    points: int = POINTS,
) -> PackageSlice:
    """Predict every response over three additives; other additives keep their shares.

    Args:
        study: The brief, for its acceptance limits.
        region: Its region.
        fits: Models by response, computed responses among them.
        at: The recipe that all else is held at, shape (k,), lab units.
        names: Three additives; together they share what the others leave.
        production: Noise factors averaged over.
        points: Places along each side of the triangle.

    Raises:
        ValueError: There are not three different additives.
    """
    coding = region.coding
    columns = [coding.index(name) for name in names]
    if len(set(columns)) != 3 or not all(isinstance(coding.axes[c], ShareAxis) for c in columns):
        raise ValueError("a package slice is over three additives")
    outline = _outline(region, at, columns)
    total = float(at[columns].sum())
    shares = _triangle(outline, total, points)
    rows = np.tile(at, (len(shares), 1))
    rows[:, columns] = shares
    values = {name: predict_values(fit, rows, production) for name, fit in fits.items()}
    inside = inside_region(region, rows, production.columns)
    limits = _limits(study, fits)
    return PackageSlice(
        names=(names[0], names[1], names[2]),
        shares=shares,
        values=values,
        units={name: fit.unit for name, fit in fits.items()},
        inside=inside,
        accepted=inside & all_met(limits, values),
        outline=outline,
        limits=limits,
        held=_held(coding, at, columns, production),
    )


def _places(region: Region, at: FloatArray, j: int, points: int) -> FloatArray:
    axis = region.coding.axes[j]
    ends = own_range(region.coding, at, j)
    if isinstance(axis, ShareAxis):
        reach = reach_along(region, at, j)
        ends = None if reach is None else (reach.low, reach.high)
    if isinstance(axis, ChoiceAxis) or ends is None:
        raise ValueError(f"'{axis.name}' has no range at this recipe")
    if isinstance(axis, NumericAxis) and axis.spacing == "log":
        return np.geomspace(*ends, points)
    return np.linspace(*ends, points)


def _limits(study: Study, fits: Mapping[str, Surface]) -> tuple[AcceptLimit, ...]:
    limits = accept_limits(study.responses)
    return tuple(limit for limit in limits if limit.response in fits)


def _unit(coding: Coding, j: int) -> str:
    axis = coding.axes[j]
    return axis.unit if isinstance(axis, NumericAxis) else ""


def _held(
    coding: Coding, at: FloatArray, drawn: Sequence[int], production: Production
) -> dict[str, float | str]:
    """Name what is held; averaged noise factors are not."""
    row = Settings(names=coding.names, values=at[None, :], labels=coding.labels).row(0)
    away = {coding.names[j] for j in (*drawn, *production.columns)}
    return {name: v for name, v in row.items() if v is not None and name not in away}


def _outline(region: Region, at: FloatArray, columns: Sequence[int]) -> FloatArray:
    """Find the corners of the region over three shares, all else held, in order around it.

    Lines through the slice in many directions would miss corners: they are where two bounds of a
    piece meet on the triangle. Pieces of a split region are taken together by their hull.
    """
    total = float(at[columns].sum())
    corners = []
    for piece in region.pieces:
        held = np.nan_to_num(at).copy()
        held[list(columns)] = 0.0
        if any(
            not np.isnan(value) and abs(at[i] - value) > 1e-9 and not _is_noise(region, i)
            for i, value in piece.fixed.items()
        ):
            continue
        # Bounds on (u, v), the first two shares; the third is total − u − v.
        A = piece.A[:, columns]
        b = piece.b - piece.A @ held - A[:, 2] * total
        A2 = np.column_stack([A[:, 0] - A[:, 2], A[:, 1] - A[:, 2]])
        corners.append(_polygon(A2, b))
    points = np.vstack([np.zeros((0, 2)), *corners])
    points = np.unique(points.round(10), axis=0)
    if len(points) > 2:
        try:
            points = points[ConvexHull(points).vertices]
        except QhullError:
            # The region over the slice is a line.
            points = points[[0, -1]]
    return np.column_stack([points, total - points.sum(axis=1)])


def _is_noise(region: Region, i: int) -> bool:
    return bool(getattr(region.coding.axes[i], "noise", False))


def _polygon(A: FloatArray, b: FloatArray) -> FloatArray:
    """Find where pairs of bounds A w ≤ b meet without breaking another, shape (v, 2)."""
    moves = np.linalg.norm(A, axis=1) > 1e-12
    if np.any(b[~moves] < -1e-9):
        return np.zeros((0, 2))
    A, b = A[moves], b[moves]
    first, second = np.triu_indices(len(A), 1)
    pairs = np.stack([A[first], A[second]], axis=1)
    crossing = np.abs(np.linalg.det(pairs)) > 1e-12
    ends = np.stack([b[first], b[second]], axis=1)[crossing]
    points = np.linalg.solve(pairs[crossing], ends[:, :, None])[:, :, 0]
    kept: FloatArray = points[np.all(points @ A.T <= b + 1e-9, axis=1)]
    return kept


def _triangle(outline: FloatArray, total: float, points: int) -> FloatArray:
    """Lay points over the smallest upright triangle that holds an outline, with a margin."""
    if not len(outline):
        low = np.zeros(3)
    else:
        low = outline.min(axis=0)
    size = total - low.sum()
    low = np.maximum(low - MARGIN * size, 0.0)
    size = total - low.sum()
    steps = points - 1
    i, j = np.array([(i, j) for i in range(points) for j in range(points - i)]).T
    weights = np.column_stack([i, j, steps - i - j]) / steps
    shares: FloatArray = low + size * weights
    return shares
