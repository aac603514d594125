"""The landscape on surfaces whose answer is known: levels, noise, packages, flat ways, words."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.report.landscape_words import common_flat_sentences, flat_sentence, shape_sentences
from analysis.surface.directions import direction_words
from analysis.surface.flat_ways import flat_ways
from analysis.surface.noise import production_of
from analysis.surface.second_order import level_rows, second_order
from analysis.surface.steepest_path import steepest_path
from analysis.surface.survey import survey, survey_all
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.region import region_of
from doe.model.terms import make_model
from tests.analysis.choice.problems import brief, fit_of

DOSE = {"name": "dose", "low": 1.0, "high": 3.0, "unit": "%"}
PH = {"name": "pH", "low": 8.0, "high": 10.0, "step": 0.1}
BASE = {"name": "base", "levels": ["ammonia", "soda"]}
DRIFT = {
    "name": "temperature", "low": 15.0, "high": 25.0, "noise": True,
    "production": {"mean": 22.5, "sd": 1.0},
}  # fmt: skip
VISCOSITY = {"name": "viscosity", "unit": "mPa·s"}
PACKAGE = (
    {"name": "wetting", "low": 0.1, "high": 0.4},
    {"name": "dispersant", "low": 0.4, "high": 0.8},
    {"name": "hydrophobic", "low": 0.0, "high": 0.3},
)


def test_a_choice_that_bends_the_surface_has_a_shape_for_each_level() -> None:
    """Of dose: slope 3, at ammonia +2, so 5 and 1; a choice that only lifts has one shape."""
    study = brief([DOSE, BASE], [VISCOSITY])
    coding = coding_of(study)
    names = [
        "".join(column.term.names) for column in fit_of(coding, "viscosity", np.zeros(5)).columns
    ]
    values = {"": 10.0, "dose": 3.0, "base": 1.0, "dosebase": 2.0}
    fit = fit_of(
        coding, "viscosity",
        [0.5 if i == 4 else values[name] for i, name in enumerate(names)],
    )  # fmt: skip
    shapes = survey(fit, region_of(study), np.array([2.0, 1.0])).shapes

    assert [dict(shape.form.levels) for shape in shapes] == [{"base": "soda"}, {"base": "ammonia"}]
    np.testing.assert_allclose([float(s.form.middle_slopes[0]) for s in shapes], [1.0, 5.0])


def test_a_noise_factor_stands_at_its_production_mean() -> None:
    """Of dose × temperature 4, at a coded temperature of 0.5: slope 1 + 4 × 0.5."""
    study = brief([DOSE, DRIFT], [VISCOSITY])
    coding = coding_of(study)
    fit = fit_of(coding, "viscosity", [10.0, 1.0, 0.0, 4.0], model="interactions")
    base = np.array([2.0, 22.5])
    form = second_order(fit, base, production_of(study, coding))

    assert form.names == ("dose",)
    assert form.middle_slopes[0] == pytest.approx(3.0)


def test_a_ranged_factor_moves_inside_the_range_of_its_level() -> None:
    """−1 and +1 are the ends of the range that each level has of its own."""
    amine = {"name": "amine", "unit": "%", "range": [
        {"when": {"base": "ammonia"}, "low": 0.2, "high": 0.6},
        {"when": {"base": "soda"}, "low": 1.0, "high": 2.0},
    ]}  # fmt: skip
    study = brief([BASE, amine, DOSE], [VISCOSITY])
    coding = coding_of(study)
    p = len(model_columns(make_model("linear", coding), coding))
    fit = fit_of(coding, "viscosity", np.arange(1.0, p + 1.0), model="linear")
    rows = level_rows(fit, np.array([0.0, 0.4, 2.0]))
    ends = []
    for row in rows:
        form = second_order(fit, row)
        j = form.names.index("amine")
        u = np.zeros((2, 2))
        u[:, j] = [-1.0, 1.0]
        ends.append(form.settings(u)[:, coding.index("amine")])

    np.testing.assert_allclose(ends, [[0.2, 0.6], [1.0, 2.0]])


def test_the_steepest_way_follows_a_limit() -> None:
    """On the plane dose + pH coded, dose + pH at most 12: it ends where the limit does."""
    study = brief(
        [DOSE, {"name": "pH", "low": 8.0, "high": 10.0}],
        [VISCOSITY],
        limit=[{"sum": {"dose": 1.0, "pH": 1.0}, "at_most": 12.0}],
    )
    fit = fit_of(coding_of(study), "viscosity", [0.0, 2.0, 1.0], model="linear")
    start = np.array([2.0, 9.0])
    path = steepest_path(second_order(fit, start), region_of(study), start, "highest")
    assert path is not None

    np.testing.assert_allclose(path.settings[-1], [3.0, 9.0], atol=1e-3)
    assert np.all(path.settings.sum(axis=1) <= 12.0 + 1e-8)


def test_flat_ends_where_a_difference_is_seen() -> None:
    """On −3 x² only what the errors hide or what is smaller than one run's sd is flat.

    Covariance holds only the square: |Δ| = 3 t² against t(0.975, 10) × 0.1 t²: seen from the first
    step. With an error of 2 the interval 3 ± 4.46 holds 0, and what ends the way is |Δ| = 1, where
    t² = 1/3.
    """
    study = brief([{"name": "pH", "low": 8.0, "high": 10.0}], [VISCOSITY])
    region, coding = region_of(study), coding_of(study)
    at = np.array([9.0])
    ways = {}
    for error in (0.1, 2.0):
        V = np.zeros((3, 3))
        V[2, 2] = error**2
        fit = fit_of(coding, "viscosity", [5.0, 0.0, -3.0], covariance=V)
        ways[error] = flat_ways(fit, region, at)[0]

    np.testing.assert_allclose([ways[0.1].low, ways[0.1].high], 9.0)
    assert ways[2.0].high == pytest.approx(9.0 + 3.0**-0.5, abs=1e-6)
    assert ways[2.0].low == pytest.approx(9.0 - 3.0**-0.5, abs=1e-6)
    # Sure: (3 + 2.228 × 0.1) t² < 1.
    assert ways[0.1].sure[1] == pytest.approx(9.0 + (3.0 + 0.2228139) ** -0.5, abs=1e-5)


def test_a_stated_practical_amount_binds() -> None:
    """Of 0.27: 3 t² = 0.27 at t = 0.3."""
    study = brief([PH], [VISCOSITY])
    V = np.zeros((3, 3))
    V[2, 2] = 4.0
    fit = fit_of(coding_of(study), "viscosity", [5.0, 0.0, -3.0], covariance=V, unit="mPa·s")
    way = flat_ways(fit, region_of(study), np.array([9.0]), practical=0.27)[0]

    assert way.high == pytest.approx(9.3, abs=1e-6)
    assert way.practical == pytest.approx(0.27)
    assert flat_sentence(way, fit.coding).startswith("pH may lie anywhere from 8.70 to 9.30: ")
    assert "the model sees no difference in viscosity" in flat_sentence(way, fit.coding)


def test_a_setting_is_called_flat_only_where_every_response_is() -> None:
    """One response that sees pH keeps the sentence away."""
    study = brief([PH, DOSE], [VISCOSITY, {"name": "gloss"}])
    coding, region = coding_of(study), region_of(study)
    deaf = fit_of(coding, "viscosity", [5.0, 0.0, 9.0], model="linear")
    keen = fit_of(coding, "gloss", [5.0, 50.0, 0.0], model="linear")
    at = np.array([9.0, 2.0])
    both = survey_all({"viscosity": deaf, "gloss": keen}, region, at)
    one = survey_all({"viscosity": deaf}, region, at)

    assert common_flat_sentences(both) == []
    assert [line.split(" may")[0] for line in common_flat_sentences(one)] == ["pH"]


def test_words_name_the_flat_direction_in_real_units() -> None:
    """A ridge along dose: pH bends, dose neither bends nor slopes."""
    study = brief([DOSE, PH], [VISCOSITY])
    coding = coding_of(study)
    columns = model_columns(make_model("quadratic", coding), coding)
    values = [-30.0 if column.term.powers == (("pH", 2),) else 0.0 for column in columns]
    fit = fit_of(coding, "viscosity", values, covariance=np.eye(6) * 0.01)
    shape = survey(fit, region_of(study), np.array([2.0, 9.0])).shapes[0]
    flat = shape.canonical.axes[0]

    assert shape.canonical.nature == "ridge"
    assert direction_words(shape.form, flat) == "dose up 1 %"
    assert "Flat along a step of dose up 1 %" in " ".join(shape_sentences(shape))


def test_words_say_what_a_step_without_a_bend_changes() -> None:
    """A number of the response for a step of the setting; a factor on the log scale."""
    study = brief([DOSE, PH], [VISCOSITY])
    coding = coding_of(study)
    values = {(("pH", 2),): -30.0, (("dose", 1),): 5.0}
    columns = model_columns(make_model("quadratic", coding), coding)
    own = [values.get(column.term.powers, 0.0) for column in columns]
    fit = fit_of(coding, "viscosity", own, covariance=np.eye(6) * 0.01)
    told = survey(fit, region_of(study), np.array([2.0, 9.0])).shapes[0]
    said = " ".join(shape_sentences(told))

    assert "It rises without a bend, by 5.0" in said
    assert "for a step of dose up 1 %." in said


def test_a_package_has_a_trace_for_each_additive_and_no_shape() -> None:
    """No factor moves; the change of wetting over its range is told with its error."""
    study = brief([], [VISCOSITY], PACKAGE)
    fit = fit_of(coding_of(study), "viscosity", [1.0, 2.0, 4.0], model="linear")
    landscape = survey(fit, region_of(study), np.array([0.2, 0.6, 0.2]))
    wetting = landscape.cox[0]

    assert landscape.shapes == ()
    assert landscape.why_no_shape
    assert [trace.additive for trace in landscape.cox] == ["wetting", "dispersant", "hydrophobic"]
    assert wetting.change_interval[0] < wetting.change < wetting.change_interval[1]


def test_a_response_of_equal_values_has_no_landscape_to_tell() -> None:
    """Without slope and bend 'no bend that stands out of the scatter' would say too much."""
    study = brief([DOSE, PH], [VISCOSITY])
    fit = fit_of(coding_of(study), "viscosity", [10.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    sloping = fit_of(coding_of(study), "viscosity", [10.0, 1.0, 0.0, 0.0, 0.0, 0.0])
    at = np.array([2.0, 9.0])

    (told,) = (shape_sentences(one) for one in survey(fit, region_of(study), at).shapes)
    assert told[0].startswith("nothing to tell")
    for shape in survey(sloping, region_of(study), at).shapes:
        assert "nothing to tell" not in " ".join(shape_sentences(shape))
