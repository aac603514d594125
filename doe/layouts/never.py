"""What a brief names and its limits and forbids never let happen: no plan can learn of it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from doe.model.coding import ChoiceAxis
from doe.model.region import Region
from doe.model.vertices import some_vertices
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# Vertices that are looked at: ties show on any of them.
_CORNERS = 2000
# A part of a column that is not in the others, below which it is rounding.
_TIED = 1e-7
_LIMITS = "limits and forbids"


def tied_findings(region: Region) -> tuple[Finding, ...]:
    """Find settings that cannot be told apart in any plan: always the same, or moving as one."""
    columns = _columns(region)
    tied = [name for name in columns if _is_within(columns, name)]
    groups = dict.fromkeys(_group(columns, tied, name) for name in tied)
    return tuple(_tied_words(region, group) for group in groups)


def missing_levels(region: Region) -> tuple[Finding, ...]:
    """Find levels of choices that no setting of the region has."""
    return tuple(
        Finding(
            level="stop",
            what=f"'{axis.name}' can never be {level}: the {_LIMITS} leave no setting there.",
            evidence={"factor": axis.name, "level": level},
            advice="Take the level out of the brief, or lift the forbid or move the limit.",
        )
        for j, axis in enumerate(region.coding.axes)
        if isinstance(axis, ChoiceAxis)
        for i, level in enumerate(axis.levels)
        if not any(piece.fixed.get(j) == i for piece in region.pieces)
    )


def missing_pairs(region: Region) -> tuple[Finding, ...]:
    """Find pairs of levels of two choices that never meet, though each occurs."""
    return tuple(
        Finding(
            level="stop",
            what=f"'{one}' {a} and '{other}' {b} never meet: the {_LIMITS} leave no setting there.",
            evidence={one: a, other: b},
            advice="A model with interactions needs every pair: take --model linear, or lift the "
            "forbid.",
        )
        for one, a, other, b in _unmet(region)
    )


def _unmet(region: Region) -> Iterator[tuple[str, str, str, str]]:
    axes = [(j, a) for j, a in enumerate(region.coding.axes) if isinstance(a, ChoiceAxis)]
    for (i, one), (j, other) in itertools.combinations(axes, 2):
        met = {(piece.fixed.get(i), piece.fixed.get(j)) for piece in region.pieces}
        first, second = {a for a, _ in met}, {b for _, b in met}
        for a, b in itertools.product(range(len(one.levels)), range(len(other.levels))):
            if a in first and b in second and (a, b) not in met:
                yield one.name, one.levels[a], other.name, other.levels[b]


def _columns(region: Region) -> dict[str, FloatArray]:
    """Give what each setting can do, by name: columns over the vertices, mean taken off."""
    values = some_vertices(region, _CORNERS, np.random.default_rng(0))
    found: dict[str, FloatArray] = {}
    for j, axis in enumerate(region.coding.axes):
        own = values[:, j]
        if isinstance(axis, ChoiceAxis):
            levels = np.unique(own)
            block = (own[:, None] == levels[None, 1:]).astype(np.float64)
            block = block if len(levels) > 1 else np.zeros((len(own), 1))
        else:
            block = own[:, None]
        # A level that lacks the factor says nothing of it.
        block = block - np.nanmean(block, axis=0)
        found[axis.name] = np.nan_to_num(block / max(float(np.nanmax(np.abs(own))), 1e-300))
    for share in region.coding.shares[-1:]:
        # The last share is what the others leave.
        del found[share.name]
    return found


def _is_within(columns: dict[str, FloatArray], name: str) -> bool:
    """Tell whether a column of a setting is constant or made up of the others."""
    own = columns[name]
    rest = np.hstack([np.zeros((len(own), 1)), *(c for n, c in columns.items() if n != name)])
    every = np.hstack([rest, own])
    return bool(_rank(every) < _rank(rest) + own.shape[1])


def _group(columns: dict[str, FloatArray], tied: list[str], name: str) -> tuple[str, ...]:
    """Give the settings that a tied one is tied with: free of it once the one is taken out."""
    left = {other: column for other, column in columns.items() if other != name}
    freed = {other for other in tied if other != name and not _is_within(left, other)}
    return tuple(n for n in columns if n == name or n in freed)


def _rank(columns: FloatArray) -> int:
    s = np.linalg.svd(columns, compute_uv=False)
    return int((s > _TIED).sum())


def _tied_words(region: Region, group: tuple[str, ...]) -> Finding:
    named = " and ".join(f"'{name}'" for name in group)
    if len(group) == 1:
        return Finding(
            level="stop",
            what=f"{named} cannot vary: the {_LIMITS} leave one value of it"
            f"{_value(region, group[0])}.",
            evidence={"factor": group[0]},
            advice="Widen the limits that hold it, or hold it in the brief (value = …).",
        )
    return Finding(
        level="stop",
        what=f"{named} move as one within the {_LIMITS}{_pairs(region, group)}: no plan can tell "
        "their effects apart.",
        evidence={"tied": ", ".join(group)},
        advice="Widen or lift what ties them, or make one factor of them.",
    )


def _value(region: Region, name: str) -> str:
    j = region.coding.names.index(name)
    axis = region.coding.axes[j]
    if isinstance(axis, ChoiceAxis):
        level = next((piece.fixed[j] for piece in region.pieces if j in piece.fixed), None)
        return "" if level is None else f" ({axis.levels[int(level)]})"
    return f" ({region.implied[j][0]:.6g})"


def _pairs(region: Region, group: tuple[str, ...]) -> str:
    """Name the levels that go together, where two choices are tied."""
    indices = [region.coding.names.index(name) for name in group]
    axes = [region.coding.axes[j] for j in indices]
    met = dict.fromkeys(tuple(piece.fixed.get(j) for j in indices) for piece in region.pieces)
    words = []
    for levels in met:
        named = []
        for axis, level in zip(axes, levels, strict=True):
            if not isinstance(axis, ChoiceAxis) or level is None:
                return ""
            named.append(axis.levels[int(level)])
        words.append(" with ".join(named))
    return f" ({', '.join(words)} only)" if words else ""
