"""Two-level fractions by resolution: the smallest one that keeps the wanted effects apart."""

from __future__ import annotations

from doe.appraisal.two_level import alias_chains, relation_in_words
from doe.errors import PlanError
from doe.layouts.completing import Points, complete, of_kind
from doe.layouts.generators import (
    defining_words,
    fractions_of,
    largest_fraction,
    resolution_of,
    smallest_fraction,
    two_level_runs,
)
from doe.layouts.parts import (
    assembled,
    factor_kinds,
    require_every_factor,
    require_factors_alone,
)
from doe.layouts.request import Layout, LayoutRuns, Request
from doe.layouts.two_level import block_plan, centre_rows, sensible_centre

NAME = "fractional factorial"

ROMAN = {3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII", 8: "VIII", 9: "IX", 10: "X"}
_CENTRE = 3
_MOST_FACTORS = 15
_LEAST_FACTORS = 3
_TOLD_CHAINS = 7


def make(request: Request) -> LayoutRuns:
    """Make the smallest fraction of the wanted resolution, or the largest within the runs.

    Without a wanted resolution: IV for a linear model (main effects clear of interactions), V
    for interactions (these clear of one another).

    Raises:
        PlanError: Too few or too many factors, or no fraction fits into the runs asked for.
    """
    require_factors_alone(request, NAME)
    kinds = factor_kinds(request.coding)
    columns = tuple(sorted(kinds.ranges + kinds.two_level))
    n_factors = len(columns)
    if not _LEAST_FACTORS <= n_factors <= _MOST_FACTORS:
        raise PlanError(
            f"{n_factors} factors can take two levels",
            where=f"layout '{NAME}'",
            allowed=f"{_LEAST_FACTORS} to {_MOST_FACTORS}",
            do="Take 'full factorial' for fewer, 'Plackett-Burman' for more.",
        )
    n_crossed = 1
    for i in kinds.choices:
        n_crossed *= len(request.coding.labels[request.coding.names[i]])
    n_runs = _size(request, n_factors, n_crossed)
    if n_runs < 2**n_factors:
        require_every_factor(request, NAME, columns)
    words = defining_words(n_factors, n_runs)
    names = tuple(request.coding.names[i] for i in columns)
    chains = [relation_in_words(chain, names) for chain in alias_chains(words, n_factors)]
    resolution = resolution_of(words)
    table = two_level_runs(n_factors, n_runs)
    centre = centre_rows(request.coding)
    n_centre = sensible_centre(centre, _CENTRE)
    blocked = block_plan(request, n_factors, n_runs, n_centre) if not kinds.choices else None
    return complete(
        request,
        Points(
            layout=NAME,
            coded=assembled(request.coding, table, columns, kinds.choices),
            kind=of_kind("design", n_runs * n_crossed),
            block=blocked.block if blocked else None,
            centre=centre,
            default_centre=n_centre,
            details={
                "factors": list(names),
                "runs of the fraction": n_runs,
                "resolution": resolution,
                "defining relation": relation_in_words(words, names),
                "aliases": chains,
            }
            | (blocked.details if blocked else {}),
            reasons=(_sentence(n_factors, n_runs, resolution), *_mixed_up(chains))
            + (blocked.reasons if blocked else ()),
        ),
    )


def _size(request: Request, n_factors: int, n_crossed: int) -> int:
    """Choose the runs of the fraction: by resolution, else the most that the runs allow."""
    interactions = any(model != "linear" for model in request.wanted_models)
    wanted = request.resolution or (5 if interactions else 4)
    smallest = smallest_fraction(n_factors, wanted)
    if request.runs is None:
        return smallest
    budget = (request.runs - (request.centre or 0) - request.n_replicates) // n_crossed
    fitting = largest_fraction(n_factors, budget)
    least = smallest if request.resolution else fractions_of(n_factors)[0]
    if fitting is None or fitting < least:
        named = f" at resolution {ROMAN.get(wanted, wanted)}" if request.resolution else ""
        raise PlanError(
            f"the fractions of {n_factors} factors{named} have at least {least * n_crossed} "
            f"runs, and {request.runs} are asked for",
            where="--runs",
            allowed=", ".join(str(n * n_crossed) for n in fractions_of(n_factors) if n >= least),
        )
    return fitting


def _sentence(n_factors: int, n_runs: int, resolution: int | None) -> str:
    if resolution is None:
        return (
            f"Every combination of {n_factors} factors at two levels: no fraction of the wanted "
            "resolution is smaller."
        )
    kept = {
        3: "main effects are mixed up with interactions of two factors",
        4: "main effects are clear of interactions of two factors; these are mixed up in sets",
    }.get(resolution, "main effects and interactions of two factors are clear of one another")
    return (
        f"A two-level fraction, {n_runs} of {2**n_factors} combinations, resolution "
        f"{ROMAN.get(resolution, resolution)}: {kept}."
    )


def _mixed_up(chains: list[list[str]]) -> tuple[str, ...]:
    """Name the effects that cannot be told apart, as far as a line or two will hold."""
    if not chains:
        return ()
    said = "; ".join(" = ".join(chain) for chain in chains[:_TOLD_CHAINS])
    more = "; all of them are in plan.json" if len(chains) > _TOLD_CHAINS else ""
    return (f"Each of these sets is told as one effect: {said}{more}.",)


LAYOUT = Layout(
    name=NAME,
    title="Two-level fractional factorial",
    for_="Several factors, and the question which of them matter, alone or in pairs.",
    make=make,
)
