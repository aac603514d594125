"""Figures where each level of a choice has its own range of another factor, or lacks it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from analysis.figures.effects import draw_effects
from analysis.figures.room import draw_room
from analysis.fits.fit import Fit
from analysis.surface.effects import Effect, trace_effects
from analysis.surface.predict import predict_values
from analysis.surface.room import ChoiceRoom, Room, find_room
from doe.model.coding import coding_of
from doe.model.region import region_of
from doe.study.brief_file import parse_brief
from tests.analysis.chemistries import BRIEF, STUDY, chemistry_fit
from tests.analysis.choice.problems import fit_of
from tests.analysis.figures.test_album import lies_on_paper, words_on

# Electrosteric at the middle of its dose range in logs, pH 8.75, dispersant first.
BASE = np.array([2.0, 1.2, 8.75, 0.0])


@pytest.fixture(scope="module")
def fits() -> Mapping[str, Fit]:
    """Viscosity 403 to 992, all below its limit of 3000."""
    return {"viscosity": chemistry_fit(noise=0.05)}


def test_a_choice_is_shown_at_the_same_place_and_at_the_same_real_value(
    fits: Mapping[str, Fit],
) -> None:
    """Half of each range in logs by the circle; 1.2 % by the diamond, where a range holds it."""
    effect = _effect(fits, BASE, "chemistry")
    middles = [np.nan, np.sqrt(0.3 * 0.9), 1.2, np.sqrt(3.0)]
    there = np.array([[i, dose, 8.75, 0.0] for i, dose in enumerate(middles)])
    same = np.array([[i, 1.2, 8.75, 0.0] for i in (2, 3)])

    np.testing.assert_allclose(effect.value, predict_values(fits["viscosity"], there))
    np.testing.assert_allclose(effect.equal[2:], predict_values(fits["viscosity"], same))
    assert np.isnan(effect.equal[:2]).all()
    assert effect.ranged == ("dose",)


def test_the_caption_explains_both_marks(fits: Mapping[str, Fit]) -> None:
    """A reader must know what is held equal."""
    drawn = draw_effects([_effect(fits, BASE, "chemistry")], shares=(), held="as recommended")

    assert "same place" in drawn.caption
    assert "same real value" in drawn.caption
    assert lies_on_paper(drawn)


def test_a_factor_is_drawn_over_the_range_of_its_level_alone(fits: Mapping[str, Fit]) -> None:
    """Nothing is drawn where the chemistry may not go."""
    assert _effect(fits, BASE, "dose").at[[0, -1]] == pytest.approx([0.6, 2.4])


def test_levels_that_the_brief_forbids_are_crosses_without_a_band(
    fits: Mapping[str, Fit],
) -> None:
    """A forbidden point must not look like a choice one has."""
    forbid = '[[forbid]]\nsettings = { chemistry = "multi-anchor", pH = "> 8.5" }\n'
    region = region_of(parse_brief((BRIEF + forbid).encode()))
    effect = next(one for one in trace_effects(fits, region, BASE) if one.setting == "chemistry")
    axes = draw_effects([effect], shares=(), held="as recommended").figure.axes[0]
    shown = {line.get_marker(): line.get_xdata() for line in axes.lines}

    np.testing.assert_array_equal(shown["x"], [3.0])
    assert len(axes.collections[0].get_paths()) == 3


def test_the_room_of_a_ranged_factor_is_that_of_its_level(fits: Mapping[str, Fit]) -> None:
    """The strip is the chemistry's own range, not the widest of all chemistries."""
    chemistry, dose, *_ = find_room(STUDY, region_of(STUDY), fits, BASE)

    assert isinstance(dose, Room)
    assert dose.ends == (0.6, 2.4)
    assert (dose.lowest, dose.highest) == pytest.approx((0.6, 2.4))
    assert isinstance(chemistry, ChoiceRoom)


def test_another_level_says_what_its_range_leaves(fits: Mapping[str, Fit]) -> None:
    """Without the dose, beyond its dose range, or with the same dose."""
    chemistry = find_room(STUDY, region_of(STUDY), fits, BASE)[0]
    drawn = draw_room([chemistry], coding_of(STUDY))

    assert isinstance(chemistry, ChoiceRoom)
    assert chemistry.kept == ("none", "electrosteric", "multi-anchor")
    assert chemistry.without == {"none": ("dose",)}
    assert chemistry.broken["polyacrylate"][0].words == "its dose runs from 0.3 to 0.9 %"
    assert "without dose: every limit holds" in words_on(drawn.figure)


def test_a_recipe_that_lacks_the_dose_says_which_levels_need_one(fits: Mapping[str, Fit]) -> None:
    """No dose is no setting of a chemistry that has a range."""
    chemistry = find_room(STUDY, region_of(STUDY), fits, np.array([0.0, np.nan, 8.75, 0.0]))[0]

    assert isinstance(chemistry, ChoiceRoom)
    assert chemistry.kept == ("none",)
    assert chemistry.broken["electrosteric"][0].words == "it needs dose"


def test_numeric_levels_are_marks_on_their_strip() -> None:
    """Between two beads there is no third."""
    text = (
        'format = 1\n[study]\ntitle = "Invented"\n[[factor]]\nname = "beads"\n'
        'levels = [0.4, 0.8, 1.2]\n[[response]]\nname = "viscosity"\naccept = { at_most = 2450 }\n'
    )
    study = parse_brief(text.encode())
    fits = {"viscosity": fit_of(coding_of(study), "viscosity", [1900.0, 600.0], model="linear")}
    rooms = find_room(study, region_of(study), fits, np.array([0.8]))
    axes = draw_room(rooms, coding_of(study)).figure.axes[0]
    marks = [line for line in axes.lines if line.get_marker() == "o"]
    places = [float(np.asarray(line.get_xdata())[0]) for line in marks]

    assert places == pytest.approx([0.0, 0.5, 1.0])
    assert len({str(line.get_markerfacecolor()) for line in marks[:2]}) == 1
    assert marks[2].get_markerfacecolor() != marks[0].get_markerfacecolor()
    assert not axes.patches


def _effect(fits: Mapping[str, Fit], base: np.ndarray, setting: str) -> Effect:
    effects = trace_effects(fits, region_of(STUDY), base)
    return next(one for one in effects if one.setting == setting)
