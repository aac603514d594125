"""Central composite: a two-level core, axial runs and the centre, for quadratic surfaces.

Source:
    Box and Wilson (1951), JRSS B 13, 1-45; Box and Hunter (1957), Annals of Mathematical
    Statistics 28, 195-241 (rotatability, orthogonal blocks).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.errors import PlanError
from doe.layouts.blocking import block_rule
from doe.layouts.completing import Points, centre_count, complete, of_kind
from doe.layouts.generators import (
    block_numbers,
    block_words,
    defining_words,
    resolution_of,
    smallest_fraction,
    two_level_runs,
)
from doe.layouts.parts import assembled, factor_kinds, require_factors_alone
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.two_level import centre_rows, sensible_centre
from doe.model.coding import ShareAxis
from doe.study.settings import FloatArray

NAME = "central composite"

_FACTORS = (2, 8)
# Centre runs: for the face-centred layout pure error only; else those of the tables.
_CENTRE_FACE = 3
_CENTRE_TABLE = {2: 5, 3: 6, 4: 6, 5: 6}
_CENTRE_MANY = 6
_CENTRE_PER_BLOCK = 2


def rotatable_distance(n_core: int, n_axial_replicates: int = 1) -> float:
    """Give the axial distance at which prediction variance depends on the radius only.

    Example:
        >>> round(rotatable_distance(8), 3)
        1.682
    """
    return float((n_core / n_axial_replicates) ** 0.25)


def orthogonal_distance(n_core: int, n_factors: int, n_centre: int) -> float:
    """Give the axial distance at which estimates of the squares are uncorrelated.

    Source:
        Myers, Montgomery and Anderson-Cook (2009), Response Surface Methodology, 3rd ed.,
        section 8.1: alpha² = (√(F N) − F) / 2.
    """
    n_runs = n_core + 2 * n_factors + n_centre
    return float(np.sqrt((np.sqrt(n_core * n_runs) - n_core) / 2.0))


def block_distance(n_core: int, n_core_centre: int, n_axial: int, n_axial_centre: int,
                   axial_replicates: int = 1) -> float:  # fmt: skip
    """Give the axial distance at which blocks of core and axial runs don't disturb the surface.

    Args:
        n_core: Core runs, all blocks together.
        n_core_centre: Centre runs among them.
        n_axial: Axial runs.
        n_axial_centre: Centre runs among them.
        axial_replicates: Times each axial run stands in its block.

    Source:
        Box and Hunter (1957), section 8; table in Lenth (2009), Journal of Statistical Software
        32(7), section 3.
    """
    ratio = n_core * (n_axial + n_axial_centre) / (n_core + n_core_centre)
    return float(np.sqrt(ratio / (2.0 * axial_replicates)))


def central_composite_runs(n_factors: int, distance: float) -> tuple[FloatArray, int]:
    """Make core and axial runs, coded so that the core lies at ±1.

    Returns:
        Coded settings, the core first, then the axial runs; and the number of core runs.
    """
    core = two_level_runs(n_factors, smallest_fraction(n_factors, 5))
    axial = np.zeros((2 * n_factors, n_factors))
    for j in range(n_factors):
        axial[2 * j, j], axial[2 * j + 1, j] = -distance, distance
    return np.vstack([core, axial]), len(core)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Blocks:
    """Core blocks and one axial block, with the centre runs of each."""

    block: tuple[int, ...]
    centre_blocks: tuple[int, ...]
    n_core_blocks: int
    n_core_centre: int
    n_axial_centre: int


def make(request: Request) -> LayoutRuns:
    """Make a central composite layout of the ranges, at every level of the choices.

    Raises:
        PlanError: Fewer than two ranges or more than eight.
    """
    require_factors_alone(request, NAME)
    kinds = factor_kinds(request.coding)
    n_factors = len(kinds.ranges)
    if not _FACTORS[0] <= n_factors <= _FACTORS[1]:
        raise PlanError(
            f"{n_factors} factor{' has' if n_factors == 1 else 's have'} three levels or more",
            where=f"layout '{NAME}'",
            allowed=f"{_FACTORS[0]} to {_FACTORS[1]}",
        )
    crossed = kinds.two_level + kinds.choices
    rule = request.axial or ("rotatable" if request.axial_beyond else "face-centred")
    n_core = smallest_fraction(n_factors, 5)
    blocks = None if crossed or rule == "face-centred" else _blocks(request, n_factors, n_core)
    default = _CENTRE_FACE if rule == "face-centred" else _CENTRE_TABLE.get(n_factors, _CENTRE_MANY)
    centre = centre_rows(request.coding)
    default = sensible_centre(centre, default)
    if blocks:
        default = _CENTRE_PER_BLOCK * (blocks.n_core_blocks + 1)
    times = _times(request, crossed)
    n_centre = centre_count(request, (n_core + 2 * n_factors) * times, default)
    distance = _distance(rule, n_core, n_factors, n_centre, blocks)
    table, _ = central_composite_runs(n_factors, distance)
    shrink = 1.0 if request.axial_beyond else max(distance, 1.0)
    coded = assembled(request.coding, table / shrink, kinds.ranges, crossed)
    kind = of_kind("design", n_core * times) + of_kind("axial", 2 * n_factors * times)
    words = defining_words(n_factors, n_core)
    return complete(
        request,
        Points(
            layout=NAME,
            coded=coded,
            kind=kind,
            block=blocks.block if blocks else None,
            centre=centre,
            centre_blocks=blocks.centre_blocks if blocks else (),
            default_centre=default,
            details={
                "core runs": n_core,
                "resolution of the core": resolution_of(words),
                "axial rule": "orthogonal blocks" if blocks else rule,
                "axial distance": distance,
                "core at": 1.0 / shrink,
                "axial at": distance / shrink,
            },
            reasons=_reasons(rule, n_factors, distance, shrink, blocks),
        ),
    )


def _times(request: Request, crossed: tuple[int, ...]) -> int:
    """Count the combinations of levels at which the whole layout is run."""
    times = 1
    for i in crossed:
        axis = request.coding.axes[i]
        times *= 1 if isinstance(axis, ShareAxis) else len(axis.levels)
    return times


def _distance(
    rule: str, n_core: int, n_factors: int, n_centre: int, blocks: _Blocks | None
) -> float:
    if blocks is not None:
        return block_distance(n_core, blocks.n_core_centre, 2 * n_factors, blocks.n_axial_centre)
    if rule == "face-centred":
        return 1.0
    if rule == "rotatable":
        return rotatable_distance(n_core)
    return orthogonal_distance(n_core, n_factors, n_centre)


def _blocks(request: Request, n_factors: int, n_core: int) -> _Blocks | None:
    """Lay core and axial runs into blocks of their own, where the brief's blocks can hold them."""
    rule = block_rule(request.study)
    n_axial = 2 * n_factors
    if rule is None or n_core + n_axial + 1 <= rule.room:
        return None
    for n_core_blocks in (1, 2, 4, 8):
        default = _CENTRE_PER_BLOCK * (n_core_blocks + 1)
        n_centre = centre_count(request, n_core + n_axial, default)
        counts = [
            sum(1 for i in range(n_centre) if i % (n_core_blocks + 1) == b)
            for b in range(n_core_blocks + 1)
        ]
        per_block = n_core // n_core_blocks
        words = block_words(n_factors, n_core, n_core_blocks, clear=2) if n_core_blocks > 1 else ()
        if words is None or n_axial + counts[-1] > rule.room:
            return None
        # Each core block must hold as many centre runs as the others.
        if per_block + counts[0] > rule.room or len(set(counts[:-1])) > 1:
            continue
        core = two_level_runs(n_factors, n_core)
        numbers = block_numbers(core, words) if words else [1] * n_core
        return _Blocks(
            block=(*numbers, *([n_core_blocks + 1] * n_axial)),
            centre_blocks=tuple(range(1, n_core_blocks + 2)),
            n_core_blocks=n_core_blocks,
            n_core_centre=sum(counts[:-1]),
            n_axial_centre=counts[-1],
        )
    return None


def _reasons(
    rule: str, n_factors: int, distance: float, shrink: float, blocks: _Blocks | None
) -> tuple[str, ...]:
    said = [
        f"A central composite layout of {n_factors} ranges: a quadratic surface from a two-level "
        f"core, {2 * n_factors} axial runs and the centre."
    ]
    if blocks is not None:
        said.append(
            f"{blocks.n_core_blocks} core block{'s' if blocks.n_core_blocks > 1 else ''} and one "
            f"axial block; at the axial distance {distance:.3f} differences between blocks don't "
            "disturb the surface."
        )
    elif rule == "face-centred":
        said.append("Face-centred: the axial runs lie on the ends of the ranges, three levels.")
    else:
        said.append(f"The axial distance {distance:.3f} makes it {rule}.")
    if shrink > 1.0:
        said.append(
            f"Shrunk inside the ranges: axial runs at the ends, the core at {1 / shrink:.3f} of "
            "the half range."
        )
    return tuple(said)


LAYOUT = Layout(
    name=NAME,
    title="Central composite",
    for_="A quadratic surface over ranges whose corners can be run.",
    make=make,
)
