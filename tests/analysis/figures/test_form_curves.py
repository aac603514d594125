"""The figure of a form beside its polynomial: the numbers of the models, and the runs."""

from __future__ import annotations

from functools import cache

import numpy as np

from analysis.figures.form_curves import draw_form_curves
from analysis.fits.fitted_response import fit_response
from analysis.fits.forms.bendable import WantedForm
from analysis.fits.forms.fitting import fit_with_form
from analysis.surface.form_lines import FormLines, form_lines
from analysis.surface.predict import predict_response
from tests.analysis.fits.forms.kinetics import kinetics

BASE = np.array([1.5, 20.0])


@cache
def _lines() -> tuple[FormLines, np.ndarray, np.ndarray]:
    """Give the lines, and what predict says at their places of the form and of the polynomial."""
    data, coding = kinetics(batches=False)
    plain = fit_response(data, coding, model="quadratic")
    bent = fit_with_form(
        data, coding, plain, WantedForm(factor="grind time", forms=("first order",))
    )
    assert bent.form is not None
    lines = form_lines(bent.form, data, BASE)
    assert lines is not None
    rows = np.column_stack([np.full(len(lines.at), BASE[0]), lines.at])
    return lines, predict_response(bent.fit, rows).value, predict_response(plain.fit, rows).value


def test_the_curves_are_what_predict_says() -> None:
    """One function for all: the figure draws no numbers of its own."""
    lines, form, plain = _lines()

    np.testing.assert_allclose(lines.form_value, form, rtol=1e-12)
    np.testing.assert_allclose(lines.polynomial_value, plain, rtol=1e-12)


def test_every_run_stands_at_its_own_setting() -> None:
    """Off the curve by its own residual, whatever its dose was."""
    lines, _, _ = _lines()
    data, _ = kinetics(batches=False)
    gap = lines.runs_value - np.interp(lines.runs_at, lines.at, lines.form_value)

    np.testing.assert_allclose(lines.runs_at, data.actual.values[:, 1])
    assert float(np.std(gap)) < 1.0


def test_the_figure_names_both_curves_and_says_which_is_in_use() -> None:
    """Axes carry names with units, the caption the formula."""
    lines, _, _ = _lines()
    drawn = draw_form_curves(lines, held="in the middle of the region")
    (axes,) = drawn.figure.axes

    assert axes.get_xlabel() == "grind time (min)"
    assert axes.get_ylabel() == "strength (%)"
    assert drawn.kind == "form"
    assert "the form is the model in use" in drawn.caption
    assert "exp(−k·t)" in drawn.caption
    words = [text.get_text() for text in drawn.figure.legends[0].get_texts()]
    assert words == ["form: first order", "polynomial: quadratic model", "runs"]
