"""Which blocks are fitted as columns beside the model, and what is said of the others.

Source:
    DESIGN.md, section 5, "Strata": days and rounds are random from four on (then they are strata),
    other blocks fixed; a round as a fixed block needs two link runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.fits.fit_table import indicators
from analysis.fits.least_squares import dependent_groups
from analysis.lab.blocking import without_day
from analysis.lab.response_data import Blocking, ResponseData, in_words
from doe.errors import FitError
from doe.study.finding import Finding
from doe.study.settings import FloatArray

LINK_RUNS = 2
# More runs than these are counted in a sentence, not named.
_NAMED = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedBlocks:
    """The blocks that enter the fit; all None where none do."""

    of: tuple[str | None, ...]
    name: str
    findings: tuple[Finding, ...]


def blocks_to_fit(
    data: ResponseData, surface: FloatArray, labels: Sequence[str], n_controls: int
) -> FittedBlocks:
    """Decide whether the blocks of the data enter as fixed columns.

    Args:
        data: The response over its runs.
        surface: Columns of the model, shape (n, s); zeros for controls.
        labels: Names of the columns.
        n_controls: Other columns beside the surface: a mean a control, and a drift.

    Raises:
        FitError: Planned blocks cannot be told from terms of the model.
    """
    blocking = data.blocking
    nothing = tuple(None for _ in data.run)
    if blocking is None or len({label for label in blocking.of if label is not None}) < 2:
        return FittedBlocks(of=nothing, name="", findings=())
    blank = _on_days_not_noted(data, blocking)
    if blocking.effect == "random":
        # A stratum of the fit (`strata_of_data`), not columns of it.
        return FittedBlocks(of=nothing, name="", findings=blank)
    names = tuple(dict.fromkeys(label for label in blocking.of if label is not None))
    every = indicators(blocking.of, names)
    columns = every[:, :-1] - every[:, -1:]
    tied = _tied_terms(surface, columns, labels)
    df = len(data) - surface.shape[1] - n_controls - columns.shape[1]
    reason = _reason_against(data, blocking, tied, df)
    if reason:
        return FittedBlocks(of=nothing, name="", findings=(*blank, _left_out(blocking, reason, df)))
    return FittedBlocks(
        of=blocking.of, name=blocking.name, findings=(*blank, _fitted(blocking, names))
    )


def _reason_against(data: ResponseData, blocking: Blocking, tied: Sequence[str], df: int) -> str:
    if tied and blocking.planned:
        raise FitError(
            f"the differences of {blocking.name}s cannot be told from {_listed(tied)}",
            where=f"response '{data.response.name}'",
            allowed="terms that vary within the blocks",
            do="Drop these terms, or take a smaller model.",
        )
    if tied:
        return f"they cannot be told from {_listed(tied)}"
    if blocking.name == "round" and _link_runs(data, blocking) < LINK_RUNS:
        return f"fewer than {LINK_RUNS} runs link the rounds"
    if _is_round_without_days(blocking) and _runs_linked_to_blank(data, blocking) < LINK_RUNS:
        return f"fewer than {LINK_RUNS} runs link the round without days to those with days"
    if not blocking.planned and df < 1:
        return "too few degrees of freedom would stay for the error"
    return ""


def _tied_terms(surface: FloatArray, columns: FloatArray, labels: Sequence[str]) -> list[str]:
    if surface.shape[0] < surface.shape[1] + columns.shape[1]:
        return []
    alone = {group[-1] for group in dependent_groups(surface)}
    groups = dependent_groups(np.hstack([surface, columns]))
    s = surface.shape[1]
    named = [
        labels[j]
        for group in groups
        if group[-1] not in alone and any(j >= s for j in group)
        for j in group
        if j < s and labels[j] != "intercept"
    ]
    return list(dict.fromkeys(named))


def _link_runs(data: ResponseData, blocking: Blocking) -> int:
    # A link is a run whose recipe was also made in another block: a control or equal settings.
    made: dict[tuple[object, ...], set[str | None]] = {}
    for i, label in enumerate(blocking.of):
        made.setdefault(_recipe(data, i), set()).add(label)
    latest = [label for label in blocking.of if label is not None][-1]
    return sum(
        1
        for i, label in enumerate(blocking.of)
        if label == latest and len(made[_recipe(data, i)]) > 1
    )


def _is_round_without_days(blocking: Blocking) -> bool:
    # Then the round itself is the block, and days of the others lie within theirs.
    blank = without_day(blocking)
    rounds: tuple[set[str], set[str]] = (set(), set())
    for without, label in zip(blank, blocking.of, strict=True):
        rounds[without].add((label or "").partition(" of round ")[2])
    return bool(rounds[True] - rounds[False])


def _runs_linked_to_blank(data: ResponseData, blocking: Blocking) -> int:
    blank = without_day(blocking)
    made = {_recipe(data, i) for i, without in enumerate(blank) if without}
    return sum(not without and _recipe(data, i) in made for i, without in enumerate(blank))


def _recipe(data: ResponseData, i: int) -> tuple[object, ...]:
    name = data.control[i]
    cells = np.nan_to_num(data.planned.values[i], nan=-9e15)
    return (name,) if name is not None else tuple(np.round(cells, 9).tolist())


def _on_days_not_noted(data: ResponseData, blocking: Blocking) -> tuple[Finding, ...]:
    runs = [run for run, blank in zip(data.run, without_day(blocking), strict=True) if blank]
    if not runs:
        return ()
    few = len(runs) <= _NAMED
    named = in_words("run", runs).capitalize() if few else f"{len(runs)} of {len(data)} runs"
    has = "has" if len(runs) == 1 else "have"
    return (
        Finding(
            level="note",
            what=f"{named} of '{data.response.name}' {has} no day beside runs that have one: they "
            "count as a block of their own (day not noted).",
            evidence={"runs without a day": len(runs), "runs": len(data)},
            advice="Write the day of these runs, if somebody knows it, and fit again.",
        ),
    )


def _fitted(blocking: Blocking, names: Sequence[str]) -> Finding:
    return Finding(
        level="note",
        what=f"Differences between {blocking.name}s are fitted beside the model, so intervals are "
        f"for the {blocking.name}s of this study.",
        evidence={f"{blocking.name}s": len(names)},
    )


def _left_out(blocking: Blocking, reason: str, df: int) -> Finding:
    return Finding(
        level="caution",
        what=f"Differences between {blocking.name}s are not fitted, because {reason}; they go into "
        "the error or into the terms they move with.",
        evidence={"degrees of freedom that would stay": df},
        advice="Compare the runs of a control or of the centre between them before you trust small "
        "effects.",
    )


def _listed(words: Sequence[str]) -> str:
    quoted = [f"'{word}'" for word in words[:4]]
    more = f" and {len(words) - 4} more" if len(words) > 4 else ""
    return ", ".join(quoted) + more
