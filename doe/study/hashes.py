"""Hashes: short marks that tell whether what a result rests on is still what the brief says.

The region hash covers what decides where runs may lie and how they are coded. The goals hash
covers everything else that a result or an agreement rests on. What the plan should be able to see
(`[plan]`) belongs to neither: each round of the plan records it for itself.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from doe.study.brief import Additive, Factor, Forbid, Limit, Package, Study
from doe.study.names import fold

HASH_DIGITS = 16


def content_hash(*parts: bytes) -> str:
    """Give the first 16 hexadecimal digits of the SHA-256 of one or several contents.

    Example:
        >>> content_hash(b"")
        'e3b0c44298fc1c14'
    """
    digest = hashlib.sha256()
    for part in parts:
        if len(parts) > 1:  # lengths keep ("ab", "c") and ("a", "bc") apart
            digest.update(f"{len(part)}:".encode())
        digest.update(part)
    return digest.hexdigest()[:HASH_DIGITS]


def region_hash(study: Study) -> str:
    """Mark where runs may lie and how they are coded.

    Equal for briefs that differ only in the order of factors, additives, limits or keys, in
    capitals of names, in texts and in goals.
    """
    return _mark(
        {
            "package": _package(study.package),
            "factors": _unordered([_factor(factor) for factor in study.factors]),
            "limits": _unordered([_limit(limit) for limit in study.limits]),
            "forbids": _unordered([_forbid(forbid) for forbid in study.forbids]),
            "blocks": _unordered(
                [[fold(block.name), block.size, block.effect] for block in study.blocks]
            ),
        }
    )


def goals_hash(study: Study) -> str:
    """Mark all that results and an agreement rest on besides the region.

    That is responses, views, controls, texts, prices, raw materials and production scatter.
    """
    plain = study.model_dump(mode="json", exclude={"wishes", "blocks"})
    plain["factors"] = _unordered([_without(row, _REGION_KEYS) for row in plain["factors"]])
    if plain["package"]:
        plain["package"] = _unordered(
            [_without(row, _SHARE_KEYS) for row in plain["package"]["additives"]]
        )
    plain["limits"] = _unordered([limit.because for limit in study.limits])
    plain["forbids"] = _unordered([forbid.because for forbid in study.forbids])
    for several in ("responses", "views", "controls", "materials"):
        plain[several] = _unordered(plain[several])
    return _mark(plain)


# What the region hash holds already; the names stay, as they say whose price or scatter it is.
_REGION_KEYS = frozenset(
    {"role", "low", "high", "spacing", "ranges", "set_per", "step", "levels", "noise", "value"}
)
_SHARE_KEYS = frozenset({"low", "high", "step"})


def _package(package: Package | None) -> Any:
    if package is None:
        return None
    return [package.set_per, _unordered([_additive(one) for one in package.additives])]


def _additive(additive: Additive) -> list[Any]:
    return [fold(additive.name), additive.low, additive.high, additive.step]


def _factor(factor: Factor) -> list[Any]:
    ranges = [
        [_folded_keys(one.when, fold_values=True), one.low, one.high] for one in factor.ranges
    ]
    # The order of levels stays: the last level of a named choice is coded −1.
    levels = [fold(level) if isinstance(level, str) else level for level in factor.levels]
    value = fold(factor.value) if isinstance(factor.value, str) else factor.value
    return [
        fold(factor.name), factor.role, factor.low, factor.high, factor.spacing,
        _unordered(ranges), factor.set_per, factor.step, levels, factor.noise, value,
    ]  # fmt: skip


def _limit(limit: Limit) -> list[Any]:
    return [_folded_keys(limit.sum), limit.at_most, limit.at_least]


def _forbid(forbid: Forbid) -> dict[str, Any]:
    return {
        fold(name): _unordered([fold(one) if isinstance(one, str) else one for one in _each(said)])
        for name, said in forbid.settings.items()
    }


def _each(said: float | str | tuple[float | str, ...]) -> tuple[float | str, ...]:
    return said if isinstance(said, tuple) else (said,)


def _folded_keys(table: Any, *, fold_values: bool = False) -> dict[str, Any]:
    return {fold(key): fold(said) if fold_values else said for key, said in table.items()}


def _without(row: dict[str, Any], keys: frozenset[str]) -> dict[str, Any]:
    return {key: said for key, said in row.items() if key not in keys}


def _unordered(rows: list[Any]) -> list[Any]:
    return sorted(rows, key=_canonical)


def _mark(plain: Any) -> str:
    return content_hash(_canonical(plain).encode())


def _canonical(plain: Any) -> str:
    return json.dumps(_plain_zero(plain), sort_keys=True, ensure_ascii=False)


def _plain_zero(plain: Any) -> Any:
    """Write −0.0 as 0.0, which is the same number."""
    if isinstance(plain, float):
        return plain + 0.0
    if isinstance(plain, dict):
        return {key: _plain_zero(said) for key, said in plain.items()}
    if isinstance(plain, list | tuple):
        return [_plain_zero(said) for said in plain]
    return plain
