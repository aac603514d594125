"""Fold-over: the mirror image of a two-level layout, which breaks aliases.

With all signs changed, every product of an odd number of factors that was constant over the runs
changes its sign, and is told apart over both rounds together; with the signs of one factor changed,
every product with that factor does.

Source:
    Box and Hunter (1961), Technometrics 3, 311-351; Montgomery (2013), Design and Analysis of
    Experiments, 8th ed., section 8.6.3.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from doe.appraisal.two_level import alias_chains, found_words, relation_in_words
from doe.errors import PlanError
from doe.layouts.completing import of_kind
from doe.layouts.extending.fixed_table import Table, table_round
from doe.layouts.extending.request import Extension, Purpose
from doe.layouts.extending.two_level_core import Core, core_of
from doe.layouts.placing import placed
from doe.layouts.request import LayoutRuns
from doe.model.coding import ChoiceAxis, code
from doe.study.names import match_name
from doe.study.settings import FloatArray

# Centre runs beside the mirror image where the rounds before have a centre.
_CENTRE = 2
_NOTHING = 1e-9
_TOLD = 7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mirror:
    """One way to change signs.

    Attributes:
        flipped: Positions in the core's columns whose sign is changed.
        left: How much main effects, then pairs, stay mixed up over both rounds together.
    """

    flipped: tuple[int, ...]
    left: tuple[float, float]


def make(ask: Extension) -> LayoutRuns:
    """Run the mirror image that takes most confusion away, or that of the factor asked for.

    Raises:
        PlanError: The runs so far are no two-level layout, nothing is mixed up in them, or the
            factor is unknown.
    """
    core = core_of(ask, "foldover")
    before = confusion(core.signs)
    if max(before) < _NOTHING:
        raise PlanError(
            "main effects and products of two factors are told apart already",
            where="--for foldover",
            do="Extend for replicates, axial runs or a larger model instead.",
        )
    mirror = _asked(ask, core) or _best(core)
    if mirror.left >= before:
        raise PlanError(
            f"changing the signs of {_named(ask, core, mirror)} breaks none of the aliases",
            where="--factor",
            do="Leave out --factor: the mirror image that breaks most of them is found.",
        )
    values = _mirrored(ask, core, mirror)
    centre = np.unique(core.centre, axis=0)
    table = Table(
        values=values, kind=of_kind("foldover", len(values)),
        beside=centre, beside_kind="centre", default_beside=_CENTRE, region=ask.region,
    )  # fmt: skip
    wanted = ask if ask.asked_model else replace(ask, model="interactions")
    runs = table_round(wanted, table, _reasons(ask, core, mirror), purpose="foldover")
    return replace(runs, details={**runs.details, **_record(ask, core, mirror)})


def both_rounds(signs: FloatArray, flipped: tuple[int, ...]) -> FloatArray:
    """Put a two-level layout and its mirror image together, shape (2 n, c)."""
    image = signs.copy()
    image[:, list(flipped)] *= -1.0
    return np.vstack([signs, image])


def confusion(signs: FloatArray) -> tuple[float, float]:
    """Measure what is mixed up: squared correlations of main effects with pairs, and among pairs.

    The first also holds those among main effects.
    """
    n, k = signs.shape
    pairs = np.stack(
        [signs[:, i] * signs[:, j] for i, j in itertools.combinations(range(k), 2)]
        or [np.zeros(n)], axis=1
    )  # fmt: skip
    main = float(np.square(signs.T @ pairs / n).sum())
    main += float(np.square(np.triu(signs.T @ signs / n, 1)).sum())
    among = float(np.square(np.triu(pairs.T @ pairs / n, 1)).sum())
    return round(main, 9), round(among, 9)


def _best(core: Core) -> Mirror:
    """Choose the mirror image after which least is mixed up; all signs where it is a tie."""
    c = core.signs.shape[1]
    ways = [tuple(range(c)), *((j,) for j in range(c))]
    mirrors = [Mirror(flipped=w, left=confusion(both_rounds(core.signs, w))) for w in ways]
    return min(mirrors, key=lambda mirror: mirror.left)


def _asked(ask: Extension, core: Core) -> Mirror | None:
    if ask.factor is None:
        return None
    names = _names(ask, core)
    found = match_name(ask.factor, names)
    if found is None:
        raise PlanError(
            f"'{ask.factor}' is no factor with two settings in the runs so far",
            where="--factor",
            allowed=", ".join(names),
        )
    way = (names.index(found),)
    return Mirror(flipped=way, left=confusion(both_rounds(core.signs, way)))


def _mirrored(ask: Extension, core: Core, mirror: Mirror) -> FloatArray:
    coded = code(core.values, ask.coding)
    for position in mirror.flipped:
        j = core.columns[position]
        choice = isinstance(ask.coding.axes[j], ChoiceAxis)
        coded[:, j] = 1.0 - coded[:, j] if choice else -coded[:, j]
    values, _ = placed(coded, ask.coding, ask.region)
    return values


def _names(ask: Extension, core: Core) -> tuple[str, ...]:
    return tuple(ask.coding.names[j] for j in core.columns)


def _named(ask: Extension, core: Core, mirror: Mirror) -> str:
    names = _names(ask, core)
    if len(mirror.flipped) == len(names):
        return "all factors"
    return f"'{names[mirror.flipped[0]]}'"


def _record(ask: Extension, core: Core, mirror: Mirror) -> dict[str, object]:
    names = _names(ask, core)
    before = found_words(core.signs)
    after = found_words(both_rounds(core.signs, mirror.flipped))
    return {
        "signs changed": _named(ask, core, mirror).strip("'"),
        "broken words": relation_in_words([w for w in before if w not in after], names),
        "words left": relation_in_words(after, names),
        "aliases left": [
            relation_in_words(chain, names) for chain in alias_chains(after, len(names))
        ],
    }


def _reasons(ask: Extension, core: Core, mirror: Mirror) -> tuple[str, ...]:
    names = _names(ask, core)
    k = len(names)
    before = alias_chains(found_words(core.signs), k)
    after = alias_chains(found_words(both_rounds(core.signs, mirror.flipped)), k)
    said = [
        f"The mirror image of the two-level runs so far: the signs of "
        f"{_named(ask, core, mirror)} are changed, and nothing else."
    ]
    broken = [chain for chain in before if chain not in after]
    if broken:
        told = "; ".join(" and ".join(relation_in_words(c, names)) for c in broken[:_TOLD])
        more = "; and more, in plan.json" if len(broken) > _TOLD else ""
        said.append(f"Told as one effect until now, and no longer wholly: {told}{more}.")
    else:
        said.append("Main effects are no longer mixed up in part with products of two factors.")
    if after:
        told = "; ".join(" and ".join(relation_in_words(c, names)) for c in after[:_TOLD])
        more = "; and more, in plan.json" if len(after) > _TOLD else ""
        said.append(f"Still told as one effect after both rounds: {told}{more}.")
    elif mirror.left[0] < _NOTHING and mirror.left[1] < _NOTHING:
        said.append("After both rounds no main effect or product of two factors is mixed up.")
    return tuple(said)


PURPOSE = Purpose(
    name="foldover",
    title="Mirror image (fold-over)",
    for_="Effects of a two-level fraction can't be told apart.",
    make=make,
)
