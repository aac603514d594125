"""The region: vertices, samples and steps of any brief stay inside it."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations
from typing import Any

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from doe.errors import StudyError
from doe.model.bench_steps import on_steps, round_to_steps
from doe.model.region import Region, region_of
from doe.model.sampling import sample_region
from doe.model.vertices import edge_centroids, face_centroids, overall_centroid, region_vertices
from doe.study.brief import Study

# Decimals as people type them: they make degenerate corners, which random floats never do.
TENTHS = st.integers(0, 10).map(lambda i: i / 10)
WEIGHTS = st.integers(-2, 2)


@st.composite
def briefs(draw: st.DrawFn, *, forbids: bool = True) -> dict[str, Any]:
    """A package of up to four, up to two factors, limits over both, forbids, a choice."""
    q = draw(st.sampled_from([0, 2, 3, 4]))
    f = draw(st.integers(1 if q == 0 else 0, 2))
    names = [f"a{i}" for i in range(q)] + [f"z{i}" for i in range(f)]
    shares = [sorted((draw(TENTHS), draw(TENTHS))) for _ in range(q)]
    brief: dict[str, Any] = {"study": {"title": "law"}, "factor": [], "limit": [], "forbid": []}
    if q:
        brief["package"] = {
            "additive": [
                {"name": name, "low": low, "high": high, "step": 0.05}
                for name, (low, high) in zip(names, shares, strict=False)
            ]
        }
    for name in names[q:]:
        spacing = draw(st.sampled_from(["even", "log"]))
        brief["factor"].append(
            {"name": name, "low": 1.0, "high": 2.0, "step": 0.25, "spacing": spacing}
        )
    for _ in range(draw(st.integers(0, 2))):
        weights = draw(st.lists(WEIGHTS, min_size=len(names), max_size=len(names)))
        limit = {n: float(w) for n, w in zip(names, weights, strict=True) if w}
        if limit:
            brief["limit"].append({"sum": limit, "at_most": draw(st.integers(-4, 12)) / 4})
    if forbids and draw(st.booleans()):
        brief["factor"].append({"name": "salt", "levels": ["sodium", "ammonium"]})
    if forbids and f and draw(st.booleans()):
        settings_ = {"z0": draw(st.sampled_from(["> 1.5", ">= 1.5", "< 1.25"]))}
        if q:
            settings_["a0"] = "> 0.3"
        brief["forbid"].append({"settings": settings_})
    return brief


def region_or_none(brief: dict[str, Any]) -> Region | None:
    """Work the region out; None where the brief contradicts itself."""
    try:
        return region_of(Study.model_validate(brief))
    except StudyError:
        return None


SLOW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])


@SLOW
@given(briefs(), st.integers(0, 2**32 - 1))
def test_corners_centroids_and_samples_stay_inside(brief: dict[str, Any], seed: int) -> None:
    """Shares add to 1, every limit and forbid is obeyed."""
    region = region_or_none(brief)
    assume(region is not None)
    assert region is not None

    q = len(region.coding.shares)
    for rows in (
        region_vertices(region),
        edge_centroids(region),
        face_centroids(region, 2),
        overall_centroid(region),
        sample_region(region, 20, np.random.default_rng(seed)),
    ):
        assert region.contains(rows, 1e-9).all()
        if q:
            np.testing.assert_allclose(rows[:, :q].sum(axis=1), 1, atol=1e-12)


@SLOW
@given(briefs(), st.integers(0, 2**32 - 1))
def test_rounded_samples_lie_on_steps_inside_or_stay(brief: dict[str, Any], seed: int) -> None:
    """What is rounded can be made at the bench; nothing leaves the region."""
    region = region_or_none(brief)
    assume(region is not None)
    assert region is not None
    rows = sample_region(region, 4, np.random.default_rng(seed))

    made = round_to_steps(rows, region)

    assert region.contains(made, 1e-9).all()
    stayed = np.all(made == rows, axis=1)
    assert (on_steps(made, region) | stayed).all()


@SLOW
@given(briefs(forbids=False))
def test_vertices_are_those_of_exact_enumeration(brief: dict[str, Any]) -> None:
    """Every active set solved in exact fractions, the plain way."""
    region = region_or_none(brief)
    corners = exact_vertices(brief)
    found = set() if region is None else {tuple(row) for row in region_vertices(region).round(9)}

    assert found == {tuple(round(float(x), 9) for x in corner) for corner in corners}


def exact_vertices(brief: dict[str, Any]) -> set[tuple[Fraction, ...]]:
    """Solve every choice of k active constraints; keep the solutions that meet all."""
    additives = brief.get("package", {"additive": []})["additive"]
    names = [part["name"] for part in [*additives, *brief["factor"]]]
    k, q = len(names), len(additives)
    rows: list[tuple[list[Fraction], Fraction]] = []
    for j, part in enumerate([*additives, *brief["factor"]]):
        unit = [Fraction(int(i == j)) for i in range(k)]
        rows.append((unit, exact(part["high"])))
        rows.append(([-u for u in unit], -exact(part["low"])))
    for limit in brief["limit"]:
        weights = [exact(limit["sum"].get(name, 0.0)) for name in names]
        rows.append((weights, exact(limit["at_most"])))
    total = [([Fraction(int(j < q)) for j in range(k)], Fraction(1))] if q else []
    corners = set()
    for active in combinations(rows, k - len(total)):
        x = solved([*active, *total], k)
        if x is not None and all(
            sum(a * v for a, v in zip(row, x, strict=True)) <= bound for row, bound in rows
        ):
            corners.add(tuple(x))
    return corners


def exact(number: float) -> Fraction:
    """Read a decimal as typed."""
    return Fraction(str(number))


def solved(rows: list[tuple[list[Fraction], Fraction]], k: int) -> list[Fraction] | None:
    """Gauss and Jordan; None where the rows do not fix a point."""
    M = [[*row, bound] for row, bound in rows]
    for c in range(k):
        pivot = next((r for r in range(c, k) if M[r][c] != 0), None)
        if pivot is None:
            return None
        M[c], M[pivot] = M[pivot], M[c]
        M[c] = [value / M[c][c] for value in M[c]]
        for r in range(k):
            if r != c and M[r][c] != 0:
                M[r] = [a - M[r][c] * b for a, b in zip(M[r], M[c], strict=True)]
    return [row[k] for row in M]


@SLOW
@given(briefs(), st.lists(st.floats(0, 1), min_size=7, max_size=7))
def test_membership_is_what_the_statements_say(brief: dict[str, Any], parts: list[float]) -> None:
    """Against the brief read sentence by sentence, at settings on a coarse grid."""
    region = region_or_none(brief)
    assume(region is not None)
    assert region is not None
    additives = brief.get("package", {"additive": []})["additive"]
    row: dict[str, float] = {}
    left = 1.0
    for part, fraction in zip(additives[:-1], parts, strict=False):
        row[part["name"]] = round(round(left * fraction * 20) / 20, 9)
        left -= row[part["name"]]
    if additives:
        row[additives[-1]["name"]] = round(left, 9)
    for factor, fraction in zip(brief["factor"], reversed(parts), strict=False):
        row[factor["name"]] = (
            float(round(fraction)) if "levels" in factor else 1 + round(fraction * 8) / 8
        )

    assert region.contains(np.array([list(row.values())]))[0] == obeyed(brief, row)


def obeyed(brief: dict[str, Any], row: dict[str, float]) -> bool:
    """Read the brief sentence by sentence."""
    additives = brief.get("package", {"additive": []})["additive"]
    in_ranges = all(
        part["low"] - 1e-9 <= row[part["name"]] <= part["high"] + 1e-9
        for part in [*additives, *(f for f in brief["factor"] if "low" in f)]
    )
    in_limits = all(
        sum(w * row[name] for name, w in limit["sum"].items()) <= limit["at_most"] + 1e-9
        for limit in brief["limit"]
    )
    return in_ranges and in_limits and not any(map(lambda f: struck(f, row), brief["forbid"]))


def struck(forbid: dict[str, Any], row: dict[str, float]) -> bool:
    """Tell whether every condition holds; `>= 1.5` leaves the step below, 1.25."""
    signs = {
        "> 1.5": lambda x: x > 1.5 + 1e-9,
        ">= 1.5": lambda x: x > 1.25 + 1e-9,
        "< 1.25": lambda x: x < 1.25 - 1e-9,
        "> 0.3": lambda x: x > 0.3 + 1e-9,
    }
    return all(signs[condition](row[name]) for name, condition in forbid["settings"].items())
