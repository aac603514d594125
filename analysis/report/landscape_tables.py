"""The landscape of one response for the statistician: bends, paths, additives, flat ways."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.report.landscape_words import number_of
from analysis.report.rounding import error_text, fixed, interval_error, p_text, percent, with_error
from analysis.report.table import Cell, Table
from analysis.surface.cox import CoxTrace
from analysis.surface.directions import direction_words, levels_words
from analysis.surface.flat_ways import FlatWay
from analysis.surface.ridge_path import SurfacePath
from analysis.surface.survey import SurfaceLandscape, SurfaceShape
from doe.model.coding import Coding

# Every how many places of a ridge path are printed; the CSV of the figure's data is `fit --json`.
EVERY = 4


def landscape_tables(landscape: SurfaceLandscape) -> Iterator[Table]:
    """Make every table of one landscape; those without rows are left out."""
    for i, shape in enumerate(landscape.shapes):
        if not shape.form.is_plane:
            yield bend_table(shape)
        if i == 0:
            yield path_table(shape)
    if landscape.cox:
        yield cox_table(landscape)
    if landscape.flat:
        yield flat_table(landscape)


def bend_table(shape: SurfaceShape) -> Table:
    """List the principal directions with their bends and errors."""
    form, canonical = shape.form, shape.canonical
    where = levels_words(form)
    return Table(
        name=f"{form.fit.response} bends {where}".strip(),
        title=f"{form.fit.response}: how it bends{f' at {where}' if where else ''}.",
        head=("Direction", "Bend", "Standard error", "From", "to", "Told", "Slope", "Its error"),
        rows=tuple(
            (
                Cell(text=direction_words(form, axis)),
                Cell(text=with_error(axis.curvature, axis.std_error), value=axis.curvature),
                Cell(text=error_text(axis.std_error), value=axis.std_error),
                *(
                    Cell(text=with_error(end, axis.std_error), value=end)
                    for end in axis.interval
                ),
                Cell(text=axis.bend),
                Cell(text=with_error(axis.slope, axis.slope_error), value=axis.slope),
                Cell(text=error_text(axis.slope_error), value=axis.slope_error),
            )
            for axis in canonical.axes
        ),
        words=1,
        note=(
            "One half range along each direction, in real units. Bends are eigenvalues of the "
            "second-order part on the fitted scale, per squared coded unit; errors by the delta "
            "method, as a second regression on the turned axes gives them (Bisgaard and Ankenman "
            f"1996), with {percent(canonical.level)} intervals. Slopes are those in the middle of "
            "the ranges. Directions whose bends lie within their errors of each other may be "
            "turned into one another."
        ),
    )  # fmt: skip


def path_table(shape: SurfaceShape) -> Table:
    """List the ridge paths and the steepest ways inside the region."""
    fit = shape.form.fit
    heads = [f"{axis.name} ({axis.unit})" if axis.unit else axis.name for axis in shape.form.axes]
    unit = f" ({fit.unit})" if fit.unit else ""
    rows = [
        row
        for kind, paths, every in (
            ("ridge", shape.ridges, EVERY), ("steepest", shape.steepest, 1),
        )
        for path in paths
        for row in _path_rows(fit.coding, kind, path, every)
    ]  # fmt: skip
    where = levels_words(shape.form)
    return Table(
        name=f"{fit.response} paths",
        title=f"{fit.response}: ways up and down from the middle{f' at {where}' if where else ''}.",
        head=("Way", "Distance", *heads, f"{fit.response}{unit}", "From", "to", "Region"),
        rows=tuple(rows),
        words=1,
        note=(
            "Ridge: the highest and the lowest place at each distance from the middle, coded "
            "(Hoerl 1959, Draper 1963), region or not. Steepest: step by step along the slopes, "
            "along the limits where it meets them, on the bench's steps. The interval holds the "
            "true value, 95 %."
        ),
    )


def cox_table(landscape: SurfaceLandscape) -> Table:
    """List the effect of each additive along Cox's direction."""
    unit = f" ({landscape.fit.unit})" if landscape.fit.unit else ""
    return Table(
        name=f"{landscape.fit.response} additives",
        title=f"{landscape.fit.response}: what each additive does, the others in their ratios.",
        head=(
            "Additive", "Share here", "From", "to", f"Change over it{unit}", "Standard error",
            "From", "to", "p of the slope here",
        ),
        rows=tuple(_cox_row(trace) for trace in landscape.cox),
        words=1,
        note=(
            "Along Cox's direction (1971) over the share's own range (Piepel 1982), with the joint "
            "covariance of the coefficients; on a transformed scale the error of a change is to "
            "first order."
        ),
    )  # fmt: skip


def flat_table(landscape: SurfaceLandscape) -> Table:
    """List how far each setting may move from the recipe at no loss."""
    coding = landscape.fit.coding
    matters = landscape.flat[0].practical
    unit = f" {landscape.fit.unit}" if landscape.fit.unit else ""
    return Table(
        name=f"{landscape.fit.response} flat",
        title=f"{landscape.fit.response}: how far each setting may move at no loss.",
        head=(
            "Setting", "Here", "No difference from", "to", "Surely harmless from", "to",
            "Not excluded",
        ),
        rows=tuple(_flat_row(way, coding) for way in landscape.flat),
        words=1,
        note=(
            "No difference: the interval of the difference from the recipe holds 0 and the "
            f"difference is smaller than what matters, {error_text(matters)}{unit}. Surely "
            "harmless: the whole interval is smaller than that. Not excluded: the largest "
            f"difference that the {percent(landscape.flat[0].level)} intervals of the first "
            "stretch still allow. What matters is the standard deviation of one new run unless "
            "stated (common practice, no source). Of all factors together: the direction of least "
            "bend, in half ranges."
        ),
    )  # fmt: skip


def _path_rows(
    coding: Coding, kind: str, path: SurfacePath, every: int
) -> Iterator[tuple[Cell, ...]]:
    for i in range(0, len(path.distance), every):
        error = interval_error(float(path.low[i]), float(path.high[i]))
        yield (
            Cell(text=f"{kind}, {path.towards}"),
            Cell(text=fixed(float(path.distance[i]), 2), value=float(path.distance[i])),
            *(
                Cell(text=number_of(coding, name, float(x)), value=float(x))
                for name, x in zip(path.names, path.settings[i], strict=True)
            ),
            *(
                Cell(text=with_error(float(x[i]), error), value=float(x[i]))
                for x in (path.value, path.low, path.high)
            ),
            Cell(text="inside" if path.inside[i] else "outside"),
        )


def _cox_row(trace: CoxTrace) -> tuple[Cell, ...]:
    ends = (trace.reference, float(trace.share[0]), float(trace.share[-1]))
    return (
        Cell(text=trace.additive),
        *(Cell(text=fixed(end, 3), value=end) for end in ends),
        Cell(text=with_error(trace.change, trace.change_error), value=trace.change),
        Cell(text=error_text(trace.change_error), value=trace.change_error),
        *(
            Cell(text=with_error(end, trace.change_error), value=end)
            for end in trace.change_interval
        ),
        Cell(text=p_text(trace.p), value=trace.p),
    )


def _flat_row(way: FlatWay, coding: Coding) -> tuple[Cell, ...]:
    def told(value: float) -> Cell:
        text = fixed(value, 2) if way.joint else number_of(coding, way.setting, value)
        return Cell(text=text, value=value)

    unit = f" ({way.setting_unit})" if way.setting_unit else ""
    return (
        Cell(text=f"{way.setting}{unit}"),
        *(told(value) for value in (way.at, way.low, way.high, *way.sure)),
        Cell(text=error_text(way.unseen), value=way.unseen),
    )
