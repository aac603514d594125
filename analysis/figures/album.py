"""The album: every figure of a study, drawn in one order from one registry."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import count

import numpy as np

from analysis.agreement.judged_round import JudgedRound
from analysis.choice.compromise import Compromise
from analysis.choice.influential import InfluenceOnChoice
from analysis.choice.trade_offs import TradeOffs
from analysis.figures.bends import draw_bends
from analysis.figures.box_cox import draw_box_cox
from analysis.figures.coefficients import draw_coefficients
from analysis.figures.confirmation import draw_confirmation
from analysis.figures.contours import draw_contours
from analysis.figures.cox_traces import draw_cox_traces
from analysis.figures.drawn import Drawn
from analysis.figures.effects import draw_effects
from analysis.figures.form_curves import draw_form_curves
from analysis.figures.frontier import draw_frontier
from analysis.figures.half_normal import draw_half_normal, draw_units
from analysis.figures.influence import draw_influence
from analysis.figures.joint_probability import draw_joint_probability
from analysis.figures.near_runs import near_slice
from analysis.figures.package_contours import draw_package_contours
from analysis.figures.predicted_observed import draw_predicted_observed
from analysis.figures.probability_triangle import draw_probability_triangle
from analysis.figures.residuals import draw_residuals
from analysis.figures.ridge_paths import draw_ridge_paths
from analysis.figures.risk_sources import draw_risk_sources
from analysis.figures.room import draw_room
from analysis.figures.stationary_slice import draw_stationary_slice
from analysis.figures.tolerance_box import draw_tolerance_box
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.half_normal import half_normal
from analysis.fits.scales import inverse
from analysis.lab.response_data import ResponseData
from analysis.risk.probability import Risk
from analysis.risk.robust_window import RobustWindow
from analysis.surface.acceptance import accept_limits
from analysis.surface.contour import contour_slice, package_slice
from analysis.surface.directions import direction_words, levels_words
from analysis.surface.effects import Effect, trace_effects
from analysis.surface.exact import ExactResponse, Surface
from analysis.surface.form_lines import form_lines
from analysis.surface.noise import Production, full_row, production_of
from analysis.surface.room import find_room
from analysis.surface.stationary_slice import stationary_slice
from analysis.surface.survey import SurfaceLandscape, SurfaceShape, survey_all
from doe.model.coding import NumericAxis
from doe.model.region import Region
from doe.model.vertices import overall_centroid
from doe.study.brief import Study
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AlbumRequest:
    """What the figures are drawn from.

    Attributes:
        study: The brief.
        region: Its region.
        fitted: Models by response.
        computed: Responses that the recipe gives; they have no model to check.
        data: Readings by response, for the runs near a slice and their order as done.
        compromise: The recommended recipe; without one, slices go through the middle.
        influence: What it hangs on, where that was looked at.
        trade_offs: What stands against what round it; without it no frontier is drawn.
        landscapes: Surveys by response, where they are known already; not made twice.
        confirmations: Rounds of confirmation batches; those that are judged are drawn.
        risk: Of the compromise in production; without it nothing of it is drawn.
        robust: Robust choice, window and tolerance box beside it.
    """

    study: Study
    region: Region
    fitted: Mapping[str, FittedResponse]
    computed: Mapping[str, ExactResponse] = field(default_factory=dict)
    data: Mapping[str, ResponseData] = field(default_factory=dict)
    compromise: Compromise | None = None
    influence: InfluenceOnChoice | None = None
    trade_offs: TradeOffs | None = None
    landscapes: Mapping[str, SurfaceLandscape] = field(default_factory=dict)
    confirmations: tuple[JudgedRound, ...] = ()
    risk: Risk | None = None
    robust: RobustWindow | None = None

    @property
    def fits(self) -> dict[str, Surface]:
        """Whatever tells a response at settings: the fits alone, then what is computed."""
        return {**{name: fitted.fit for name, fitted in self.fitted.items()}, **self.computed}

    @property
    def production(self) -> Production:
        """Where the noise factors lie."""
        return production_of(self.study, self.region.coding)

    @property
    def base(self) -> FloatArray:
        """The recipe that slices go through, shape (k,), lab units."""
        if self.compromise is not None:
            return full_row(self.compromise.best.settings, self.region.coding, self.production)
        centre: FloatArray = overall_centroid(self.region)[0]
        return centre

    @property
    def held(self) -> str:
        """Where the settings stand that a figure does not vary, a phrase."""
        return "as recommended" if self.compromise is not None else "in the middle of the region"


# Responses whose landscape is drawn, most important first; `fit --json` has all.
MOST_LANDSCAPES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureKind:
    """One kind of figure.

    Attributes:
        name: What `Drawn.kind` says.
        for_: What to look at it for, a sentence.
        draw: Draws all figures of the kind; none where the study has nothing for it.
    """

    name: str
    for_: str
    draw: Callable[[AlbumRequest], Iterator[Drawn]]


def make_album(request: AlbumRequest) -> tuple[Drawn, ...]:
    """Draw every figure that the study has something for, in the order of the registry."""
    if not request.fits:
        return ()
    if not request.landscapes:
        fits = {name: fitted.fit for name, fitted in request.fitted.items()}
        found = survey_all(fits, request.region, request.base, production=request.production)
        request = replace(request, landscapes=found)
    album: dict[str, Drawn] = {}
    for kind in FIGURES.values():
        for drawn in kind.draw(request):
            named = drawn
            for n in count(2):
                if named.name not in album:
                    break
                # Two long names may be cut to the same stem.
                named = replace(drawn, name=f"{drawn.name}-{n}")
            album[named.name] = named
    return tuple(album.values())


def _room(request: AlbumRequest) -> Iterator[Drawn]:
    if request.compromise is None:
        return
    rooms = find_room(
        request.study, request.region, request.fits, request.base, production=request.production
    )
    if rooms:
        yield draw_room(rooms, request.region.coding)


def _frontier(request: AlbumRequest) -> Iterator[Drawn]:
    found = request.trade_offs.frontier if request.trade_offs is not None else None
    if found is None or len(found.responses) < 2:
        return
    controls: dict[str, dict[str, float]] = {}
    for name, fitted in request.fitted.items():
        both = fitted.fit.with_controls
        if both is not None:
            means = inverse(fitted.fit.scale, both.estimates[both.n_surface :])
            for control, mean in zip(both.names, means, strict=True):
                controls.setdefault(control, {})[name] = float(mean)
    responses = sorted(request.study.responses, key=lambda one: -one.importance)
    yield draw_frontier(
        found,
        aims={one.name: one.aim for one in responses if one.aim is not None},
        limits=[
            one for one in accept_limits(request.study.responses) if one.response in request.fits
        ],
        controls=controls,
        names=[one.name for one in responses if one.name in found.responses][:MOST_LANDSCAPES],
    )


def _confirmation(request: AlbumRequest) -> Iterator[Drawn]:
    for judged in request.confirmations:
        if any(one.batches and one.n for one in judged.outcome.responses):
            yield draw_confirmation(judged)


def _joint_probability(request: AlbumRequest) -> Iterator[Drawn]:
    found = request.robust.slice_ if request.robust is not None else None
    if request.robust is None or found is None or not found.slice_.inside.any():
        return
    columns = [request.region.coding.index(name) for name in (found.slice_.x, found.slice_.y)]
    base, robust = request.base[columns], request.robust.choice.most_probable.row[columns]
    yield draw_joint_probability(
        found,
        wanted=request.robust.choice.level,
        mark=(float(base[0]), float(base[1])) if request.compromise else None,
        robust=None if np.isnan(robust).any() else (float(robust[0]), float(robust[1])),
        box=request.robust.box_here,
        runs=_runs_near(request, columns),
    )


def _probability_triangle(request: AlbumRequest) -> Iterator[Drawn]:
    found = request.robust.triangle if request.robust is not None else None
    if request.robust is None or found is None:
        return
    columns = [request.region.coding.index(name) for name in found.slice_.names]
    yield draw_probability_triangle(
        found,
        wanted=request.robust.choice.level,
        mark=request.base[columns] if request.compromise else None,
        robust=request.robust.choice.most_probable.row[columns],
        box=request.robust.box_here,
        runs=_runs_near(request, columns),
    )


def _runs_near(request: AlbumRequest, columns: list[int]) -> FloatArray | None:
    """Give the runs near a slice that any response with a limit has been read on."""
    rows = [
        near_slice(request.data.get(name), request.region, request.base, columns)
        for name in request.fits
    ]
    known = [one for one in rows if one is not None and len(one)]
    return np.unique(np.vstack(known), axis=0) if known else None


def _risk_sources(request: AlbumRequest) -> Iterator[Drawn]:
    if request.risk is not None and request.risk.contributions:
        yield draw_risk_sources(request.risk)


def _tolerance_box(request: AlbumRequest) -> Iterator[Drawn]:
    found = request.robust
    if found is None or found.box.is_empty:
        return
    is_here = found.box_here is not None
    around = "the recommended recipe" if is_here else f"the {found.box_is_around} settings"
    yield draw_tolerance_box(found.box, request.region.coding, around=around)


def _influence(request: AlbumRequest) -> Iterator[Drawn]:
    if request.influence is not None and request.influence.units:
        yield draw_influence(request.influence)


def _contours(request: AlbumRequest) -> Iterator[Drawn]:
    pair = leading_pair(request)
    if pair is None:
        return
    coding, base = request.region.coding, request.base
    columns = [coding.index(name) for name in pair]
    slice_ = contour_slice(
        request.study, request.region, request.fits, base, *pair, production=request.production
    )
    mark = (float(base[columns[0]]), float(base[columns[1]])) if request.compromise else None
    for name in request.fits:
        runs = near_slice(request.data.get(name), request.region, base, columns)
        yield draw_contours(slice_, name, mark=mark, runs=runs)


def _triangles(request: AlbumRequest) -> Iterator[Drawn]:
    names = leading_shares(request)
    if names is None:
        return
    coding, base = request.region.coding, request.base
    columns = [coding.index(name) for name in names]
    slice_ = package_slice(
        request.study, request.region, request.fits, base, names, production=request.production
    )
    # A package that cannot move in two directions has no triangle to show.
    if len(slice_.outline) < 3 or not np.any(slice_.inside):
        return
    a, b, c = (float(share) for share in base[columns])
    for name in request.fits:
        runs = near_slice(request.data.get(name), request.region, base, columns)
        mark = (a, b, c) if request.compromise else None
        yield draw_package_contours(slice_, name, mark=mark, runs=runs)


def _effects(request: AlbumRequest) -> Iterator[Drawn]:
    shares = {axis.name for axis in request.region.coding.shares}
    traced = _traced(request)
    for name in request.fits:
        panels = [effect for effect in traced if effect.response == name]
        if panels:
            yield draw_effects(panels, shares=shares, held=request.held)


def _forms(request: AlbumRequest) -> Iterator[Drawn]:
    for name, fitted in request.fitted.items():
        data = request.data.get(name)
        if fitted.form is None or data is None:
            continue
        lines = form_lines(
            fitted.form, data, request.base, production=request.production,
            level=fitted.assessment.level,
        )  # fmt: skip
        if lines is not None:
            yield draw_form_curves(lines, held=request.held)


def _coefficients(request: AlbumRequest) -> Iterator[Drawn]:
    for fitted in request.fitted.values():
        yield draw_coefficients(fitted.fit, level=fitted.assessment.level)


def _half_normal(request: AlbumRequest) -> Iterator[Drawn]:
    for fitted in request.fitted.values():
        found = half_normal(fitted.fit, fitted.assessment)
        if found:
            yield draw_half_normal(fitted.fit, found)


def _units(request: AlbumRequest) -> Iterator[Drawn]:
    for fitted in request.fitted.values():
        found = [units for units in fitted.assessment.units if units.envelope]
        if found:
            yield draw_units(fitted.fit, found)


def _residuals(request: AlbumRequest) -> Iterator[Drawn]:
    for name, fitted in request.fitted.items():
        # As many terms as runs leave nothing over to look at.
        if all(row.studentised is None for row in fitted.assessment.runs):
            continue
        data = request.data.get(name)
        order = None if data is None else dict(zip(data.run, data.order, strict=True))
        yield draw_residuals(fitted.fit, fitted.assessment, order=order)


def _scales(request: AlbumRequest) -> Iterator[Drawn]:
    for fitted in request.fitted.values():
        found = fitted.assessment.box_cox
        if found is not None and found.powers:
            yield draw_box_cox(fitted.fit, found)


def _predicted_observed(request: AlbumRequest) -> Iterator[Drawn]:
    for fitted in request.fitted.values():
        yield draw_predicted_observed(fitted.fit, fitted.assessment)


def _additives(request: AlbumRequest) -> Iterator[Drawn]:
    for landscape in _drawn_landscapes(request):
        if landscape.cox:
            yield draw_cox_traces(landscape.cox, held=request.held)


def _stationary(request: AlbumRequest) -> Iterator[Drawn]:
    for shape in _drawn_shapes(request):
        slice_ = stationary_slice(shape, request.region, held=request.production.columns)
        if slice_ is not None and not shape.form.is_plane:
            yield draw_stationary_slice(slice_)


def _ridges(request: AlbumRequest) -> Iterator[Drawn]:
    for shape in _drawn_shapes(request):
        fit = shape.form.fit
        yield draw_ridge_paths(shape.ridges, fit.response, fit.unit, where=_at_levels(shape))


def _bends(request: AlbumRequest) -> Iterator[Drawn]:
    for shape in _drawn_shapes(request):
        if not shape.form.is_plane:
            words = [direction_words(shape.form, axis) for axis in shape.canonical.axes]
            yield draw_bends(shape.form, shape.canonical, words, where=_at_levels(shape))


def _drawn_landscapes(request: AlbumRequest) -> list[SurfaceLandscape]:
    """Give the landscapes of the responses that count most, in the brief's order."""
    importance = {response.name: response.importance for response in request.study.responses}
    known = [name for name in request.fitted if name in request.landscapes]
    kept = sorted(known, key=lambda name: -importance.get(name, 0.0))[:MOST_LANDSCAPES]
    return [request.landscapes[name] for name in known if name in kept]


def _drawn_shapes(request: AlbumRequest) -> Iterator[SurfaceShape]:
    """Give the shape at the recipe's own levels, one a response."""
    for landscape in _drawn_landscapes(request):
        yield from landscape.shapes[:1]


def _at_levels(shape: SurfaceShape) -> str:
    words = levels_words(shape.form)
    return f" at {words}" if words else ""


def _traced(request: AlbumRequest) -> tuple[Effect, ...]:
    return trace_effects(request.fits, request.region, request.base, production=request.production)


def leading_pair(request: AlbumRequest) -> tuple[str, str] | None:
    """Find the two settings whose effects are the largest over all responses.

    Effects of each response are taken as parts of its largest one. Of the shares one may lead,
    where the study has fewer than two factors with a range. None where there is no pair.
    """
    coding = request.region.coding
    pull: dict[str, float] = {}
    traced = _traced(request)
    for name in request.fits:
        effects = [effect for effect in traced if effect.response == name]
        sizes = {effect.setting: float(np.ptp(effect.value)) for effect in effects}
        largest = max(sizes.values(), default=0.0)
        for setting, size in sizes.items():
            pull[setting] = pull.get(setting, 0.0) + (size / largest if largest > 0 else 0.0)
    # Between the only levels a bench can set there is no surface to draw.
    ranged = [a.name for a in coding.factors if isinstance(a, NumericAxis) and not a.levels]
    factors = sorted((n for n in ranged if n in pull), key=lambda n: -pull[n])
    shares = sorted((a.name for a in coding.shares if a.name in pull), key=lambda n: -pull[n])
    chosen = (factors + shares[:1])[:2]
    if len(chosen) < 2:
        return None
    first, second = sorted(chosen, key=coding.index)
    return first, second


def leading_shares(request: AlbumRequest) -> tuple[str, str, str] | None:
    """Find the three additives with the widest ranges; None for a package of fewer."""
    shares = request.region.coding.shares
    if len(shares) < 3:
        return None
    widest = sorted(shares, key=lambda axis: axis.low - axis.high)[:3]
    first, second, third = (axis.name for axis in shares if axis in widest)
    return first, second, third


FIGURES: Mapping[str, FigureKind] = {
    kind.name: kind
    for kind in (
        FigureKind(
            name="room",
            for_="How far a setting may move before which limit is met.",
            draw=_room,
        ),
        FigureKind(
            name="frontier",
            for_="What one response costs in another, among recipes that nothing beats.",
            draw=_frontier,
        ),
        FigureKind(
            name="confirmation",
            for_="Whether new batches came out as foretold and within the limits.",
            draw=_confirmation,
        ),
        FigureKind(
            name="joint probability",
            for_="Where over two settings most production batches meet every limit.",
            draw=_joint_probability,
        ),
        FigureKind(
            name="probability triangle",
            for_="Which blends of three additives most production batches meet every limit with.",
            draw=_probability_triangle,
        ),
        FigureKind(
            name="tolerance box",
            for_="How far every setting may be set off the choice, all at once.",
            draw=_tolerance_box,
        ),
        FigureKind(
            name="risk sources",
            for_="Which scatter costs most production batches.",
            draw=_risk_sources,
        ),
        FigureKind(
            name="influence",
            for_="Which single runs, batches and days the compromise hangs on.",
            draw=_influence,
        ),
        FigureKind(
            name="contours",
            for_="Where over two settings a response is good and every limit is met.",
            draw=_contours,
        ),
        FigureKind(
            name="triangle",
            for_="What the blend of three additives does to a response.",
            draw=_triangles,
        ),
        FigureKind(
            name="effects",
            for_="What each setting does to a response, and how surely.",
            draw=_effects,
        ),
        FigureKind(
            name="additives",
            for_="What more of each additive does to a response, at the cost of the others.",
            draw=_additives,
        ),
        FigureKind(
            name="stationary point",
            for_="Where a response has no slope, and how surely that place is known.",
            draw=_stationary,
        ),
        FigureKind(
            name="ridge",
            for_="How high and how low a response gets at each distance from the middle.",
            draw=_ridges,
        ),
        FigureKind(
            name="bends",
            for_="Along which settings together a response bends, and along which it is flat.",
            draw=_bends,
        ),
        FigureKind(
            name="form",
            for_="Whether a response follows kinetics or a demand curve rather than a polynomial.",
            draw=_forms,
        ),
        FigureKind(
            name="coefficients",
            for_="Which terms of a model stand out of the scatter.",
            draw=_coefficients,
        ),
        FigureKind(
            name="half-normal",
            for_="Which effects are larger than chance would make the largest of so many.",
            draw=_half_normal,
        ),
        FigureKind(
            name="units",
            for_="Whether batches or days differ by more than chance, and which.",
            draw=_units,
        ),
        FigureKind(
            name="residuals",
            for_="Whether the model may be believed: pattern, drift, outliers, influence.",
            draw=_residuals,
        ),
        FigureKind(
            name="scale",
            for_="Which power of the response the readings ask for.",
            draw=_scales,
        ),
        FigureKind(
            name="predicted against observed",
            for_="How well the model gives back what was measured.",
            draw=_predicted_observed,
        ),
    )
}
