"""Figures: the data handed to the axes, the words on them, nothing outside the paper."""

from __future__ import annotations

import logging
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import chain, islice
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.text import Text

from analysis.figures.album import FIGURES, make_album
from analysis.figures.album_request import AlbumRequest
from analysis.figures.album_surfaces import leading_pair
from analysis.figures.coefficients import draw_coefficients
from analysis.figures.contours import draw_contours
from analysis.figures.drawn import Drawn, file_stem
from analysis.figures.effects import draw_effects
from analysis.figures.files import save_figures, svg_bytes
from analysis.figures.looks import house_look
from analysis.figures.package_contours import draw_package_contours
from analysis.figures.predicted_observed import draw_predicted_observed
from analysis.figures.residuals import draw_residuals
from analysis.figures.room import draw_room
from analysis.surface.contour import contour_slice, package_slice
from analysis.surface.effects import trace_effects
from analysis.surface.room import Room, find_room
from tests.analysis.report.masonry import HARD_NAMES, album_of, masonry, request_of

# Drawn from a risk, which these studies have none of; see test_probability_figures.py.
OF_PRODUCTION = {"joint probability", "probability triangle", "tolerance box", "risk sources"}


def words_on(figure: Figure) -> str:
    """Everything written on a figure, line breaks folded."""
    return " ".join(
        " ".join(text.get_text().split()) for text in figure.findobj(Text) if text.get_visible()
    )


def lies_on_paper(drawn: Drawn) -> bool:
    """Tell whether everything drawn lies on the figure."""
    figure = drawn.figure
    canvas: Any = FigureCanvasAgg(figure)
    with house_look():
        box = figure.get_tightbbox(canvas.get_renderer())
    width, height = figure.get_size_inches()
    inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height
    return bool(inside)


def of_viscosity() -> AlbumRequest:
    """Ask for figures of one response, which cost a third."""
    request = request_of(masonry())
    return replace(request, fitted={"viscosity": request.fitted["viscosity"]})


@pytest.fixture(scope="module")
def album() -> tuple[Drawn, ...]:
    """All figures of the invented study."""
    return album_of()


@pytest.fixture(scope="module")
def long_album() -> tuple[Drawn, ...]:
    """All figures of the same study with names of forty characters in several scripts."""
    return album_of(HARD_NAMES)


def test_every_kind_of_the_registry_is_drawn(album: tuple[Drawn, ...]) -> None:
    """One entry for all responses, or one a response; no batch has confirmed this study yet."""
    assert {drawn.kind for drawn in album} == set(FIGURES) - {"confirmation"} - OF_PRODUCTION


def test_names_are_unique_and_every_figure_has_its_words(album: tuple[Drawn, ...]) -> None:
    """A figure must read alone."""
    assert len({drawn.name for drawn in album}) == len(album)
    assert all(drawn.title and drawn.caption for drawn in album)
    assert all(drawn.title in words_on(drawn.figure) for drawn in album)


def test_everything_lies_on_the_paper(album: tuple[Drawn, ...]) -> None:
    """Nothing is cut at the edge."""
    assert [drawn.name for drawn in album if not lies_on_paper(drawn)] == []


def test_long_names_of_any_script_lie_on_the_paper(
    long_album: tuple[Drawn, ...], caplog: pytest.LogCaptureFixture
) -> None:
    """No missing glyph, no mathematics in a name, no face asked for that is not there."""
    with caplog.at_level(logging.WARNING, logger="matplotlib"):
        save_figures({drawn.name: drawn.figure for drawn in long_album[:5]})

    assert [drawn.name for drawn in long_album if not lies_on_paper(drawn)] == []
    assert caplog.records == []
    assert any("$dose_{x}$" in words_on(drawn.figure) for drawn in long_album)


def test_axis_labels_of_one_panel_do_not_overlap(long_album: tuple[Drawn, ...]) -> None:
    """Names under neighbouring panels keep apart."""
    drawn = next(drawn for drawn in long_album if drawn.kind == "effects")
    canvas: Any = FigureCanvasAgg(drawn.figure)
    with house_look():
        renderer = canvas.get_renderer()
        boxes = [
            axes.xaxis.label.get_window_extent(renderer)
            for axes in drawn.figure.axes
            if axes.get_xlabel()
        ]

    assert not any(one.overlaps(other) for i, one in enumerate(boxes) for other in boxes[i + 1 :])


def test_contours_carry_names_units_limits_and_the_recipe() -> None:
    """The axes are those of the slice, in lab units."""
    study = masonry()
    request = request_of(study)
    slice_ = contour_slice(
        study.study, study.region, request.fits, request.base, "dose", "grind time"
    )
    runs = np.array([[1.0, 20.0], [2.0, 30.0]])
    drawn = draw_contours(slice_, "viscosity", mark=(1.2, 40.0), runs=runs)
    axes, scale = drawn.figure.axes

    assert (axes.get_xlabel(), axes.get_ylabel()) == ("dose (% on pigment)", "grind time (min)")
    assert scale.get_ylabel() == "viscosity (mPa·s)"
    assert axes.get_xlim() == (0.8, 2.4)
    assert "colour strength at least 102 % of standard" in words_on(drawn.figure)
    marked = [line.get_xydata() for line in axes.lines]
    assert any(np.array_equal(points, runs) for points in marked)
    assert any(np.array_equal(points, [[1.2, 40.0]]) for points in marked)


def test_contours_without_a_window_say_so_and_are_not_hatched() -> None:
    """Hatching everything would hide the surface and show nothing."""
    study = masonry()
    request = request_of(study)
    slice_ = contour_slice(
        study.study, study.region, request.fits, request.base, "dose", "grind time"
    )
    impossible = replace(slice_, limits=(replace(slice_.limits[0], limit=1.0),))
    drawn = draw_contours(impossible, "viscosity")

    assert "No setting of this slice meets every limit." in drawn.caption
    assert "a limit is not met" not in words_on(drawn.figure)


def test_a_flat_surface_is_drawn() -> None:
    """A response that nothing moves is a finding, not a fault."""
    study = masonry()
    request = request_of(study)
    slice_ = contour_slice(
        study.study, study.region, request.fits, request.base, "dose", "grind time"
    )
    flat = replace(
        slice_, values={**slice_.values, "viscosity": np.full_like(slice_.values["viscosity"], 7.0)}
    )

    assert draw_contours(flat, "viscosity").figure.axes


def test_the_triangle_names_additives_and_outlines_the_region() -> None:
    """The outline drawn is the region, projected."""
    study = masonry()
    request = request_of(study)
    names = study.study.setting_names[:3]
    slice_ = package_slice(study.study, study.region, request.fits, request.base, names)
    drawn = draw_package_contours(slice_, "water uptake")
    corners = [len(patch.get_xy()) - 1 for patch in drawn.figure.axes[0].patches]

    assert len(slice_.outline) in corners
    assert all(name in words_on(drawn.figure) for name in names)


def test_effect_panels_show_value_and_band_of_each_setting() -> None:
    """Lines as they were traced, in lab and response units."""
    study = masonry()
    request = request_of(study)
    effects = trace_effects(
        {"viscosity": study.fitted["viscosity"].fit}, study.region, request.base
    )
    drawn = draw_effects(effects, shares=(), held="as recommended")
    dose = next(effect for effect in effects if effect.setting == "dose")
    axes = next(a for a in drawn.figure.axes if a.get_xlabel() == "dose (% on pigment)")

    assert any(np.array_equal(line.get_ydata(), dose.value) for line in axes.lines)
    assert any(np.array_equal(line.get_ydata(), dose.high) for line in axes.lines)
    assert "viscosity (mPa·s)" in words_on(drawn.figure)


def test_coefficients_stand_in_the_order_of_the_model() -> None:
    """Points from top to bottom are the coefficients, blending terms left out."""
    fit = masonry().fitted["viscosity"].fit
    axes = draw_coefficients(fit).figure.axes[0]
    points = np.vstack(
        [
            np.asarray(points.get_offsets())
            for points in axes.collections
            if isinstance(points, PathCollection)
        ]
    )
    from_the_top = points[np.argsort(-points[:, 1]), 0]

    np.testing.assert_array_equal(from_the_top, fit.coefficients[3:])


def test_residuals_are_the_external_ones_and_the_outlier_is_named() -> None:
    """Run 4 was spoilt on purpose."""
    fitted = masonry().fitted["viscosity"]
    drawn = draw_residuals(fitted.fit, fitted.assessment)
    points = np.asarray(drawn.figure.axes[0].collections[0].get_offsets())

    np.testing.assert_allclose(points[:, 1], [r.studentised for r in fitted.assessment.runs])
    assert "run 4" in words_on(drawn.figure)
    assert drawn.figure.axes[1].get_xlabel() == "run number"


def test_predicted_against_observed_share_one_scale() -> None:
    """Equal ends make the line of agreement the diagonal."""
    fitted = masonry().fitted["viscosity"]
    axes = draw_predicted_observed(fitted.fit, fitted.assessment).figure.axes[0]

    assert axes.get_xlim() == axes.get_ylim()
    assert axes.get_xlabel() == "predicted ln viscosity (ln mPa·s)"


def test_room_strips_print_where_each_limit_is_met() -> None:
    """The recipe, both ends and both reasons of every setting."""
    study = masonry()
    request = request_of(study)
    rooms = find_room(study.study, study.region, request.fits, request.base)
    drawn = draw_room(rooms, study.coding)
    text = words_on(drawn.figure)
    stopped = [room for room in rooms if isinstance(room, Room)]
    reasons = [
        stop.words
        for room in stopped
        for stop in (room.stopped_low, room.stopped_high)
        if stop.kind == "accept"
    ]

    assert reasons
    assert all(words in text for words in reasons)
    assert all(room.setting in text for room in rooms)


def test_a_study_without_compromise_is_drawn_through_the_middle() -> None:
    """No aims, no mark, no room; the rest is there."""
    album = make_album(replace(of_viscosity(), compromise=None))

    assert {drawn.kind for drawn in album} == set(FIGURES) - {
        "room",
        "confirmation",
    } - OF_PRODUCTION
    assert not any("recommended recipe" in words_on(drawn.figure) for drawn in album)


def test_no_model_gives_no_figure() -> None:
    """A report must work before all is known."""
    assert make_album(replace(request_of(masonry()), fitted={})) == ()


def test_the_leading_pair_is_of_factors_with_a_range() -> None:
    """Of the three here, two; never a named choice."""
    pair = leading_pair(request_of(masonry()))

    assert pair is not None
    assert set(pair) <= {"dose", "pH", "grind time"}


def test_the_same_study_gives_the_same_bytes() -> None:
    """No date, no random id, whatever was saved before."""

    def few() -> dict[str, Figure]:
        every = chain.from_iterable(kind.draw(of_viscosity()) for kind in FIGURES.values())
        return {drawn.name: drawn.figure for drawn in islice(every, 4)}

    once, again = save_figures(few()), save_figures(few())

    assert len(once) == 8
    assert once == again


def test_svg_keeps_text_as_text_and_names_no_program(album: tuple[Drawn, ...]) -> None:
    """Text can be searched, read aloud and set in another face."""
    svg = svg_bytes(album[0].figure)
    root = ET.fromstring(svg)

    assert any("dispersant" in (element.text or "") for element in root.iter())
    assert b"atplotlib" not in svg
    assert svg.count(b"font-family") == 1


def test_png_and_svg_are_written_for_every_figure(album: tuple[Drawn, ...]) -> None:
    """Both by the stem given."""
    files = save_figures({"room": album[0].figure})

    assert set(files) == {"room.svg", "room.png"}
    assert files["room.png"].startswith(b"\x89PNG")


@pytest.mark.parametrize("name", ["粘" * 200, "../../etc/passwd", "CON\\con: *?", "", "✕"])
def test_file_stems_are_safe(name: str) -> None:
    """No separator, no more bytes than a system takes."""
    stem = file_stem("contours", name)

    assert not set(stem) & set('/\\:*?"<>| .')
    assert len(stem.encode()) <= 150


def test_as_many_terms_as_runs_leave_no_residual_figure() -> None:
    """Four empty panels would look like a clean bill."""
    request = of_viscosity()
    fitted = request.fitted["viscosity"]
    bare = replace(
        fitted.assessment,
        runs=tuple(replace(row, studentised=None) for row in fitted.assessment.runs),
    )
    saturated = replace(request, fitted={"viscosity": replace(fitted, assessment=bare)})
    residuals = FIGURES["residuals"]

    assert len(list(residuals.draw(request))) == 1
    assert list(residuals.draw(saturated)) == []


def test_numeric_levels_are_drawn_as_points() -> None:
    """Between the levels that the bench can set there is nothing to read."""
    study = masonry()
    request = request_of(study)
    effects = trace_effects(
        {"viscosity": study.fitted["viscosity"].fit}, study.region, request.base
    )
    dose = next(effect for effect in effects if effect.setting == "dose")
    few = replace(
        dose,
        at=dose.at[::20],
        value=dose.value[::20],
        low=dose.low[::20],
        high=dose.high[::20],
        inside=dose.inside[::20],
    )
    axes = draw_effects([few], shares=(), held="as recommended").figure.axes[0]

    assert [label.get_text() for label in axes.get_xticklabels()] == ["0.8", "1.6", "2.4"]
