"""The output contract, version 1: what `--json` prints, built from values (DESIGN.md §4)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from doe.study.finding import Finding

CONTRACT = 1


def envelope(
    body: Mapping[str, Any], *, inputs: Mapping[str, str], findings: Iterable[Finding] = ()
) -> dict[str, Any]:
    """Wrap an answer: contract number, hashes of what it rests on, findings."""
    return {
        "contract": CONTRACT,
        "inputs": dict(inputs),
        "findings": [finding_object(finding) for finding in findings],
        **{key: plain(value) for key, value in body.items()},
    }


def finding_object(finding: Finding) -> dict[str, Any]:
    """Give a finding as the contract has it."""
    return {
        "level": finding.level,
        "what": finding.what,
        "evidence": plain(finding.evidence),
        "advice": finding.advice,
        "source": finding.source,
    }


def plain(value: Any) -> Any:
    """Turn arrays, tuples and numbers into what JSON knows; NaN and infinities become null.

    Example:
        >>> plain({"p": float("nan"), "x": (1, 2.5)})
        {'p': None, 'x': [1, 2.5]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
