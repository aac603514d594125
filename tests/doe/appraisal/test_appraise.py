"""The whole appraisal of a plan."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats

from doe.appraisal.appraise import Appraisal, Sought, appraise_plan
from doe.appraisal.contrasts import cox_ends, term_span
from doe.layouts.checking import make_layout
from doe.layouts.order import arrange
from doe.model.terms import Term, make_model
from doe.study.brief import Study
from tests.doe.layouts.briefs import CHEMISTRY, CUT_SIMPLEX, RANGES, a_request, a_study


def _appraised(
    study: Study, layout: str, model: str, sought: Sought | None = None, **wishes: Any
) -> Appraisal:
    request = a_request(study, models=(model,), **wishes)
    plan = arrange(make_layout(layout, request), study, request.rng())
    return appraise_plan(plan, request.region, make_model(model, request.coding), sought=sought)


def test_power_of_a_factorial_is_that_of_a_two_sample_test() -> None:
    """An effect between the ends of a range compares two halves of the runs."""
    found = _appraised(a_study(RANGES[:3]), "full factorial", "linear", Sought(effect=1.5, sd=0.8),
                       centre=0)  # fmt: skip
    shift = 1.5 / (0.8 * np.sqrt(1 / 4 + 1 / 4))
    critical = stats.t.isf(0.025, 4)
    power = stats.nct.sf(critical, 4, shift) + stats.nct.cdf(-critical, 4, shift)

    dose = next(entry for entry in found.terms if entry.term == "dose")
    assert dose.power == pytest.approx(power, abs=1e-9)
    assert dose.std_error == pytest.approx(0.8 / np.sqrt(8))


def test_power_of_a_choice_is_that_of_its_largest_pair() -> None:
    """Three chemistries, 9 runs each in a 3 × 3 factorial: noncentrality n δ²/2."""
    found = _appraised(a_study([*RANGES[:2], CHEMISTRY]), "full factorial", "linear",
                       levels={"dose": 3, "pH": 3}, centre=0)  # fmt: skip
    critical = stats.f.isf(0.05, 2, 27 - 5)
    power = stats.ncf.sf(critical, 2, 27 - 5, 9 * 2.0**2 / 2)

    entry = next(entry for entry in found.terms if entry.term == "chemistry")
    assert entry.power == pytest.approx(power, rel=1e-9)


def test_degrees_of_freedom_are_split() -> None:
    """Face-centred, two ranges: 11 runs, 6 coefficients, 3 centre runs."""
    found = _appraised(a_study(RANGES[:2]), "central composite", "quadratic")

    assert (found.parameters, found.residual_df["residual"]) == (6, 5)
    assert (found.pure_error_df, found.lack_of_fit_df) == (2, 3)


def test_a_fraction_is_recognised_from_its_runs() -> None:
    """Resolution and defining relation, centre runs or not."""
    found = _appraised(a_study(RANGES[:5]), "fractional factorial", "linear", resolution=3)

    assert found.resolution == 3
    assert len(found.defining_relation) == 3
    assert any(" is mixed up with " in sentence for sentence in found.aliases)


def test_controls_do_not_count() -> None:
    """A control adds a batch of its own and nothing to the surface."""
    control = {"name": "present formula", "settings": {"dose": 1.5, "pH": 8.8}}
    plain = _appraised(a_study(RANGES[:2]), "central composite", "quadratic")
    controlled = _appraised(a_study(RANGES[:2], control=[control]), "central composite",
                            "quadratic")  # fmt: skip

    assert (controlled.runs, controlled.d_efficiency) == (plain.runs, plain.d_efficiency)


def test_a_model_that_cannot_be_estimated_is_stopped() -> None:
    """Squares from two levels."""
    request = a_request(a_study(RANGES[:2]), models=("linear",), centre=0)
    runs = make_layout("full factorial", request)

    found = appraise_plan(runs.values, request.region, make_model("quadratic", request.coding))

    assert found.d_efficiency == 0.0
    assert found.average_prediction_variance is None
    assert found.findings[0].level == "stop"
    assert next(e for e in found.terms if e.term == "dose²").power is None


def test_a_package_is_judged_along_cox_directions() -> None:
    """Every linear blending term and product of shares has a power."""
    found = _appraised(a_study((), CUT_SIMPLEX), "extreme vertices", "quadratic")

    assert all(entry.power is not None and 0.05 < entry.power < 1 for entry in found.terms)
    assert found.vif.keys() >= {"dispersant", "wetting agent × dispersant"}


def test_cox_ends_keep_the_proportions_of_the_others() -> None:
    """And both lie on a limit of the package."""
    region = a_request(a_study((), CUT_SIMPLEX)).region
    low, high = cox_ends("dispersant", region)

    assert low.sum() == pytest.approx(1.0)
    assert high.sum() == pytest.approx(1.0)
    assert low[0] / low[2] == pytest.approx(high[0] / high[2])
    assert region.contains(np.array([low, high]), 1e-7).all()


@pytest.mark.parametrize(
    ("powers", "span"),
    [
        ((("dose", 1),), 2.0),
        ((("dose", 2),), 1.0),
        ((("dose", 1), ("pH", 1)), 2.0),
        ((("wetting agent", 1), ("co-additive", 1)), 0.3**2 / 4),
    ],
)
def test_the_span_of_a_term_is_its_change_between_the_ends(
    powers: tuple[tuple[str, int], ...], span: float
) -> None:
    """DESIGN.md, section 5, "Power"; a product of shares against the line between them."""
    region = a_request(a_study(RANGES[:2], CUT_SIMPLEX)).region

    assert term_span(Term(powers=powers), region) == pytest.approx(span)


def test_adding_runs_never_raises_the_variance() -> None:
    """Unscaled prediction variance falls with every run."""
    request = a_request(a_study(RANGES[:2]), models=("quadratic",))
    values = np.asarray(make_layout("central composite", request).values)
    model = make_model("quadratic", request.coding)
    more = np.vstack([values, values[:3]])
    found = [appraise_plan(v, request.region, model) for v in (values, more)]

    assert found[1].max_prediction_variance is not None
    assert found[0].max_prediction_variance is not None
    assert found[1].max_prediction_variance <= found[0].max_prediction_variance + 1e-12
