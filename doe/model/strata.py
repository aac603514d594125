"""Strata: which runs share a batch, a day or a block, and what that does to what they tell.

Source:
    DESIGN.md, section 5, "Strata" and "Criteria"; Goos (2002), The Optimal Design of Blocked and
    Split-Plot Experiments, chapters 3 and 6.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doe.study.brief import STAGES, Stage, Study
from doe.study.plan import Plan
from doe.study.settings import FloatArray, IntArray

RESIDUAL = "residual"
# Days are random from this many on (DESIGN.md, section 5).
RANDOM_DAYS = 4
# As in `doe.model.information`: settings are recorded to some twelve digits, and what two products
# of them differ by in the last of these is no direction of its own.
_RANK_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stratum:
    """Units that runs share.

    Attributes:
        name: `day`, `batch`, `sample`, `round`, or the name of a block.
        unit: Unit of each run, shape (n,).
        is_fixed: Whether the differences of its units are estimated as fixed effects.
    """

    name: str
    unit: IntArray
    is_fixed: bool = False

    @property
    def size(self) -> int:
        """How many units there are."""
        return len(np.unique(self.unit))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strata:
    """The strata above the residual, coarsest first; none where all runs are independent.

    Attributes:
        n: Number of runs.
        above: Only those in which some unit holds two or more runs.
    """

    n: int
    above: tuple[Stratum, ...] = ()

    @property
    def random(self) -> tuple[Stratum, ...]:
        """The random ones."""
        return tuple(stratum for stratum in self.above if not stratum.is_fixed)

    @property
    def fixed(self) -> tuple[Stratum, ...]:
        """The fixed blocks."""
        return tuple(stratum for stratum in self.above if stratum.is_fixed)

    def find(self, name: str) -> Stratum | None:
        """Find a stratum by name."""
        return next((stratum for stratum in self.above if stratum.name == name), None)


def units_word(stratum: str) -> str:
    """Name the units of a stratum, many of them.

    Example:
        >>> units_word("batch"), units_word("day")
        ('batches', 'days')
    """
    return f"{stratum}es" if stratum.endswith(("ch", "s", "sh", "x")) else f"{stratum}s"


def make_strata(n: int, units: Sequence[Stratum]) -> Strata:
    """Keep the strata that tie runs together.

    A stratum with a single unit, with one run a unit, or with the units of the one before it says
    nothing of its own. A fixed block that finer fixed blocks divide is told apart by those: both
    together would take the level of the model, too.
    """
    kept: list[Stratum] = []
    for stratum in units:
        if 1 < stratum.size < n and not (kept and _same_units(kept[-1].unit, stratum.unit)):
            kept.append(stratum)
    above = tuple(
        one
        for i, one in enumerate(kept)
        if not (one.is_fixed and any(f.is_fixed and _divides(f, one) for f in kept[i + 1 :]))
    )
    return Strata(n=n, above=above)


def days_are_random(study: Study, n_days: int) -> bool:
    """Tell whether days are a random stratum: said in the brief, a factor set a day, or many."""
    said = next((block.effect for block in study.blocks if block.name == "day"), None)
    if said is not None:
        return said == "random"
    set_a_day = any(stage == "day" for stage in stages_of(study))
    return set_a_day or n_days >= RANDOM_DAYS


def block_is_random(study: Study, name: str) -> bool:
    """Tell whether a block other than the day is random: only where the brief says so."""
    return any(block.name == name and block.effect == "random" for block in study.blocks)


def strata_of_plan(plan: Plan, study: Study, rows: Sequence[int] | None = None) -> Strata:
    """Read the strata off a plan.

    Rounds are as days are: random from four on, fixed below; where days are random, two or three
    rounds are no more than some days.

    Args:
        plan: The plan.
        study: Its brief.
        rows: Rows of the plan that count, in this order; None for all.
    """
    kept = list(range(len(plan))) if rows is None else list(rows)
    units: list[Stratum] = []
    days = _numbers([plan.day[i] for i in kept])
    rounds = _numbers([plan.round[i] for i in kept])
    random_days = days is not None and days_are_random(study, len(np.unique(days)))
    if rounds is not None:
        many = len(np.unique(rounds)) >= RANDOM_DAYS
        # Two or three rounds cannot tell a variance between them: random days carry it, and without
        # those each round has a level of its own.
        if many or not random_days:
            units.append(Stratum(name="round", unit=rounds, is_fixed=not many))
    labels = {run: word for entry in plan.rounds for run, word in _blocks(entry.details)}
    if labels:
        name = next((b.name for b in study.blocks if b.name != "day"), "block")
        unit = _numbers([labels.get(plan.run[i]) for i in kept])
        if unit is not None:
            units.append(Stratum(name=name, unit=unit, is_fixed=not block_is_random(study, name)))
    if days is not None:
        units.append(Stratum(name="day", unit=days, is_fixed=not random_days))
    for name, column in (("batch", plan.batch), ("sample", plan.sample)):
        unit = _numbers([column[i] for i in kept])
        if unit is not None:
            units.append(Stratum(name=name, unit=unit))
    return make_strata(len(kept), units)


def precision(strata: Strata, ratio: float | Mapping[str, float]) -> FloatArray:
    """Give P, so that the information on a model is X'PX in residual variances.

    V = I + Σ ρ ZZ'; P = V^-1, and V^-1 − V^-1 B (B'V^-1 B)^-1 B'V^-1 where fixed blocks B, coded
    to sum to zero, are estimated beside the model.

    Args:
        strata: Who shares what.
        ratio: Variance of each random stratum over the residual variance: one number for all, or
            by name (`batch` stands for those that are not named).

    Returns:
        Shape (n, n), symmetric, positive semidefinite.
    """
    V = np.eye(strata.n)
    for stratum in strata.random:
        V += _ratio_of(stratum.name, ratio) * _same(stratum.unit)
    P: FloatArray = np.linalg.inv(V).astype(np.float64)
    B = fixed_columns(strata)
    if B.shape[1] == 0:
        return (P + P.T) / 2
    PB = P @ B
    left: FloatArray = P - PB @ np.linalg.pinv(B.T @ PB) @ PB.T
    return (left + left.T) / 2


def middle_ratio(ratios: Sequence[float]) -> float:
    """Give the geometric mean of variance ratios; the plain one where one of them is 0."""
    if all(ratio > 0 for ratio in ratios):
        return float(np.exp(np.mean(np.log(ratios)))) if len(ratios) > 1 else ratios[0]
    return float(np.mean(ratios))


def fixed_columns(strata: Strata) -> FloatArray:
    """Give the columns of the fixed blocks: +1 in a block, −1 in the last, shape (n, blocks)."""
    parts = [np.zeros((strata.n, 0))]
    for stratum in strata.fixed:
        numbers = np.unique(stratum.unit)
        own = (stratum.unit[:, None] == numbers[None, :-1]).astype(np.float64)
        parts.append(own - (stratum.unit == numbers[-1])[:, None])
    return np.hstack(parts)


def residual_df(strata: Strata, X: FloatArray) -> dict[str, int]:
    """Count the error's degrees of freedom in each stratum, fixed blocks estimated beside X.

    Those of a random stratum are the rank that its units add to the model and to the coarser
    strata; what is left belongs to the residual. They sum to n less all that is estimated.

    Args:
        strata: Who shares what.
        X: Model matrix, shape (n, p).

    Returns:
        By name of the stratum, coarsest first, `residual` last.

    Example:
        >>> strata = make_strata(6, [Stratum(name="batch", unit=np.repeat([1, 2, 3], 2))])
        >>> residual_df(strata, np.column_stack([np.ones(6), np.tile([-1.0, 1.0], 3)]))
        {'batch': 2, 'residual': 2}
    """
    columns = np.hstack([X / _lengths(X), fixed_columns(strata)])
    rank = _rank(columns)
    df: dict[str, int] = {}
    for stratum in strata.random:
        columns = np.hstack([columns, _members(stratum.unit)])
        more = _rank(columns)
        df[stratum.name] = more - rank
        rank = more
    df[RESIDUAL] = strata.n - rank
    return df


def stages_of(study: Study) -> tuple[Stage, ...]:
    """Give the stage at which each setting is set, k entries."""
    shares = [study.package.set_per] * len(study.additives) if study.package else []
    return (*shares, *(factor.set_per for factor in study.varied_factors))


def moving_units(
    strata: Strata, stages: tuple[Stage, ...], held: int = 0
) -> list[tuple[IntArray, IntArray]]:
    """List what moves together in a search: the runs of each unit, and the settings it holds.

    Args:
        strata: Who shares what.
        stages: Stage of each setting, k entries.
        held: Number of runs at the front that never move.

    Returns:
        Pairs of runs and columns: units of the day first, then batches, samples, single runs.
    """
    runs = np.arange(held, strata.n)
    groups = [np.array([run]) for run in runs]
    merged: dict[tuple[int, ...], list[int]] = {}
    parts: list[tuple[list[IntArray], Stage]] = []
    for stage in reversed(STAGES):
        stratum = strata.find(stage)
        if stratum is not None:
            groups = _grouped(stratum.unit, runs)
        parts.append((groups, stage))
    for units, stage in reversed(parts):
        columns = [j for j, own in enumerate(stages) if own == stage]
        for unit in units:
            if columns:
                merged.setdefault(tuple(unit.tolist()), []).extend(columns)
    return [(np.array(rows), np.array(columns)) for rows, columns in merged.items()]


def _ratio_of(name: str, ratio: float | Mapping[str, float]) -> float:
    if not isinstance(ratio, Mapping):
        return ratio
    return ratio.get(name, ratio.get("batch", 1.0))


def _blocks(details: Mapping[str, object]) -> list[tuple[int, str]]:
    blocks = details.get("blocks")
    if not isinstance(blocks, Mapping):
        return []
    return [(int(run), str(word)) for run, word in blocks.items()]


def _numbers(labels: Sequence[int | str | None]) -> IntArray | None:
    """Number labels in their order; a run without one is a unit of its own, None where all are."""
    if all(label is None for label in labels):
        return None
    known: dict[object, int] = {}
    return np.array(
        [
            known.setdefault(label if label is not None else (None, i), len(known) + 1)
            for i, label in enumerate(labels)
        ]
    )


def _grouped(unit: IntArray, runs: IntArray) -> list[IntArray]:
    return [runs[unit[runs] == number] for number in dict.fromkeys(unit[runs].tolist())]


def _same(unit: IntArray) -> FloatArray:
    return np.asarray(unit[:, None] == unit[None, :], dtype=np.float64)


def _same_units(first: IntArray, second: IntArray) -> bool:
    return bool(np.array_equal(_same(first), _same(second)))


def _divides(finer: Stratum, coarser: Stratum) -> bool:
    """Tell whether each unit of one stratum lies within a unit of another."""
    pairs = set(zip(finer.unit.tolist(), coarser.unit.tolist(), strict=True))
    return len(pairs) == finer.size


def _members(unit: IntArray) -> FloatArray:
    return np.asarray(unit[:, None] == np.unique(unit)[None, :], dtype=np.float64)


def _lengths(X: FloatArray) -> FloatArray:
    lengths = np.linalg.norm(X, axis=0)
    return np.where(lengths > 0, lengths, 1.0)


def _rank(columns: FloatArray) -> int:
    """Count the directions that columns of about unit length span, shape (n, ·)."""
    if not columns.size:
        return 0
    s = np.linalg.svd(columns / _lengths(columns), compute_uv=False)
    return int((s > _RANK_TOLERANCE * s[0]).sum())
