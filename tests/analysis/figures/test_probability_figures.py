"""Figures of the joint probability, the tolerance box and the sources of risk, and their words."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from analysis.figures.joint_probability import draw_joint_probability
from analysis.figures.paper_ink import paper_pictures
from analysis.figures.probability_triangle import draw_probability_triangle
from analysis.figures.risk_sources import draw_risk_sources
from analysis.figures.tolerance_box import draw_tolerance_box
from analysis.figures.triangle import TriangleFrame
from analysis.report.risk_part import batches_words, box_table, risk_sentence, risk_table
from analysis.risk.draws import DrawPlan
from analysis.risk.probability import Risk, assess_risk
from analysis.risk.robust import RobustQuestion
from analysis.risk.tolerance import ToleranceBox, tolerance_box
from analysis.risk.window import WindowBasis, probability_slice, probability_triangle
from doe.model.coding import coding_of
from tests.analysis.choice.problems import brief, fit_of
from tests.analysis.risk.robust_studies import ground, question, two_way, two_way_fits

AT = np.array([2.0, 20.0])


@pytest.fixture(scope="module")
def asked() -> RobustQuestion:
    """Two responses that pull apart."""
    study = two_way()
    return question(study, two_way_fits(study), level=0.8)


@pytest.fixture(scope="module")
def box(asked: RobustQuestion) -> ToleranceBox:
    """Its tolerance box."""
    return tolerance_box(ground(asked), AT, 0.8)


@pytest.fixture(scope="module")
def risk(asked: RobustQuestion) -> Risk:
    """Its risk."""
    return assess_risk(asked.model, AT, DrawPlan(draws=1024, seed=1))


def _basis(asked: RobustQuestion) -> WindowBasis:
    return WindowBasis(
        study=asked.study, region=asked.region, surfaces=asked.surfaces, model=asked.model
    )


def _keys(figure: Figure) -> list[str]:
    return [text.get_text() for legend in figure.legends for text in legend.get_texts()]


def test_the_window_names_all_that_it_shows(asked: RobustQuestion, box: ToleranceBox) -> None:
    """Choice, robust choice, box, wanted line, limits: each has a key; paper can take it."""
    found = probability_slice(_basis(asked), AT, "dose", "time", points=15)
    drawn = draw_joint_probability(
        found, wanted=0.8, mark=(2.0, 20.0), robust=(1.8, 24.0), box=box,
        runs=np.array([[1.0, 10.0], [3.0, 30.0]]),
    )  # fmt: skip
    keys = _keys(drawn.figure)
    wanted = ("recommended recipe", "most probable", "80 of 100", "tolerance box", "runs near")
    for words in (*wanted, "predicted thinness at most 10", "predicted strength at least 38"):
        assert any(words in key.replace("\n", " ") for key in keys), words
    assert len(list(paper_pictures([drawn.figure]))) == 1


def test_the_triangle_draws_the_box_as_shares() -> None:
    """Three additives; what is drawn keeps to the limits that the strips show."""
    study = brief(
        [],
        [{"name": "y", "accept": {"at_most": 12.0}}],
        [{"name": n, "low": 0.1, "high": 0.7, "step": 0.01} for n in "abc"],
    )
    fit = fit_of(coding_of(study), "y", [10.0, 13.5, 11.0], model="linear", sd=0.3)
    own = question(study, {"y": fit})
    at = np.array([0.4, 0.3, 0.3])
    found = probability_triangle(_basis(own), at, ("a", "b", "c"), points=13)
    box = tolerance_box(ground(own), at, 0.9)
    drawn = draw_probability_triangle(found, wanted=0.9, mark=at, robust=at, box=box)
    frame = TriangleFrame.around(("a", "b", "c"), found.slice_.outline)
    (polygon,) = (
        one for one in drawn.figure.axes[0].patches
        if isinstance(one, Polygon) and one.get_zorder() == 8
    )  # fmt: skip
    edge = np.vstack([frame.project(np.eye(3)).T, np.ones(3)])
    ends = np.vstack([polygon.get_xy().T, np.ones(len(polygon.get_xy()))])
    shares = np.linalg.solve(edge, ends)
    for share, side in zip(shares, box.sides, strict=True):
        assert side.low - 1e-6 <= share.min()
        assert share.max() <= side.high + 1e-6
    assert "tolerance box" in _keys(drawn.figure)
    assert len(list(paper_pictures([drawn.figure]))) == 1


def test_strips_and_bars_can_be_read_alone(
    asked: RobustQuestion, box: ToleranceBox, risk: Risk
) -> None:
    """The ends of the box stand on its strips; every source has its name beside its bar."""
    strips = draw_tolerance_box(box, asked.region.coding, around="the recommended recipe")
    said = " ".join(text.get_text() for text in strips.figure.axes[0].texts)
    for side in box.sides:
        assert side.setting in said
    assert "80 of 100" in strips.title
    bars = draw_risk_sources(risk)
    names = [label.get_text() for label in bars.figure.axes[0].get_yticklabels()]
    assert len(names) == len(risk.contributions)
    assert len(list(paper_pictures([strips.figure, bars.figure]))) == 2


def test_the_report_speaks_of_batches(risk: Risk, box: ToleranceBox) -> None:
    """Whole batches of ten, and the tables beside it."""
    assert risk_sentence(risk).startswith("Made like this, nearly all production batches meet")
    assert batches_words(0.91) == "about 9 production batches in 10"
    assert [row[0].text for row in risk_table(risk).rows] == ["thinness", "strength"]
    assert [row[0].text for row in box_table(box).rows] == ["dose", "time (min)"]
