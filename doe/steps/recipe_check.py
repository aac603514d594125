"""What responses computed from the recipe lack: told when the brief is checked, not at the end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from doe.errors import Fault, PlanError, StudyError
from doe.methods.registry import METHODS, is_computed
from doe.model.coding import settings_table
from doe.model.region import Region
from doe.model.vertices import region_vertices
from doe.recipe.composition import compose
from doe.recipe.quantities import quantity_of
from doe.study.brief import Response, Study
from doe.study.finding import Finding


def recipe_findings(study: Study, region: Region) -> tuple[Finding, ...]:
    """Try every computed response at the corners of the region, and name the data they lack."""
    computed = [one for one in study.responses if is_computed(one) and one.method in METHODS]
    if not computed or study.dose is None:
        return ()
    corners = settings_table(region_vertices(region), region.coding)
    rows = [corners.row(i) for i in range(len(corners))]
    return tuple(
        Finding(
            level="caution",
            what=f"'{one.name}' cannot be computed: {fault.what}"
            + (f" ({fault.where})." if fault.where else "."),
            advice=fault.do,
        )
        for one in computed
        for fault in _lacking(study, one, rows)
    )


def _lacking(
    study: Study, response: Response, rows: Sequence[Mapping[str, float | str | None]]
) -> tuple[Fault, ...]:
    return tuple(dict.fromkeys(fault for row in rows for fault in _faults(study, response, row)))


def _faults(
    study: Study, response: Response, row: Mapping[str, float | str | None]
) -> Iterator[Fault]:
    method = METHODS[response.method or ""]
    defaults = {one.name: one.default for one in method.options if one.default is not None}
    quantity = quantity_of(method.name, {**defaults, **response.options})
    for sum_ in (quantity.top, quantity.bottom):
        try:
            sum_(compose(study, row, quantity.part))
        except StudyError as error:
            yield from error.faults
        except PlanError:
            return  # a corner that cannot be weighed, which is told by itself
