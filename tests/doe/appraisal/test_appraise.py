"""The whole appraisal of a plan."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from doe.appraisal.appraise import Asked
from doe.appraisal.contrasts import cox_ends, term_span
from doe.appraisal.runs import runs_of_values
from doe.appraisal.sought import Sought
from doe.layouts.checking import make_layout
from doe.model.strata import Stratum
from doe.model.terms import Term
from tests.doe.appraisal.held_plans import appraised, judged
from tests.doe.layouts.briefs import CHEMISTRY, CUT_SIMPLEX, RANGES, a_request, a_study


def test_power_of_a_factorial_is_that_of_a_two_sample_test() -> None:
    """An effect between the ends of a range compares two halves of the runs."""
    found = appraised(a_study(RANGES[:3]), "full factorial", "linear", Sought(effect=1.5, sd=0.8),
                      centre=0)  # fmt: skip
    shift = 1.5 / (0.8 * np.sqrt(1 / 4 + 1 / 4))
    critical = stats.t.isf(0.025, 4)
    power = stats.nct.sf(critical, 4, shift) + stats.nct.cdf(-critical, 4, shift)

    dose = next(entry for entry in found.terms if entry.name == "dose")
    assert dose.power == pytest.approx(power, abs=1e-9)
    assert dose.std_error == pytest.approx(1 / np.sqrt(8))


def test_power_of_a_choice_is_that_of_its_largest_pair() -> None:
    """Three chemistries, 9 runs each in a 3 × 3 factorial: noncentrality n δ²/2."""
    found = appraised(a_study([*RANGES[:2], CHEMISTRY]), "full factorial", "linear",
                      levels={"dose": 3, "pH": 3}, centre=0)  # fmt: skip
    critical = stats.f.isf(0.05, 2, 27 - 5)
    power = stats.ncf.sf(critical, 2, 27 - 5, 9 * 2.0**2 / 2)

    for entry in (found.terms[-1], found.settings[-1]):
        assert entry.name == "chemistry"
        assert entry.power == pytest.approx(power, rel=1e-9)
    assert found.settings[-1].std_error == pytest.approx(np.sqrt(2 / 9))


def test_the_effect_of_a_setting_is_that_of_its_term_where_there_is_no_package() -> None:
    """Twice the coefficient, the same power."""
    found = appraised(a_study(RANGES[:3]), "central composite", "quadratic")
    terms = {entry.name: entry for entry in found.terms}

    for entry in found.settings:
        own = terms[entry.name]
        assert own.std_error is not None
        assert entry.std_error == pytest.approx(2 * own.std_error)
        assert entry.power == pytest.approx(own.power)


def test_a_package_gives_a_factor_an_effect_of_its_own() -> None:
    """In the quadratic model dose has no term, only shares × dose: the effect is at the middle."""
    found = appraised(a_study(RANGES[:1], CUT_SIMPLEX), "optimal", "quadratic", starts=3)

    assert "dose" not in {entry.name for entry in found.terms}
    dose = next(entry for entry in found.settings if entry.name == "dose")
    assert dose.power is not None
    assert 0.05 < dose.power < 1


def test_degrees_of_freedom_are_split() -> None:
    """Face-centred, two ranges: 11 runs, 6 coefficients, 3 centre runs."""
    found = appraised(a_study(RANGES[:2]), "central composite", "quadratic")

    assert (found.parameters, found.freedom.residual["residual"]) == (6, 5)
    assert (found.freedom.pure_error["residual"], found.freedom.lack_of_fit["residual"]) == (2, 3)


def test_degrees_of_freedom_of_a_split_plot_are_those_of_the_book() -> None:
    """A 2² of batches made twice, three samples each, batch × sample terms in the model.

    Between batches 8 − 4, within 16 − 2 − 4: means, two for the samples' factor, products.
    """
    study = a_study([*RANGES[:2], {**RANGES[2], "set_per": "sample"}])
    a, b = np.tile([0.8, 2.4], 4), np.tile([8.0, 8.0, 9.5, 9.5], 2)
    values = np.array([[x, y, z] for x, y in zip(a, b, strict=True) for z in (15.0, 30.0, 45.0)])
    batch = Stratum(name="batch", unit=np.repeat(np.arange(8), 3))

    found = judged(study, runs_of_values(values, batch), "interactions")

    # intercept, dose, pH, dose × pH between; time, time × dose, time × pH within.
    assert found.freedom.residual == {"batch": 4, "residual": 16 - 3}
    assert found.freedom.pure_error == {"batch": 4, "residual": 24 - 12 - 4}
    strata = {entry.name: (entry.stratum, entry.df) for entry in found.terms}
    assert strata["dose"] == ("batch", 4)
    assert strata["dose × pH"] == ("batch", 4)
    assert strata["grind time"] == ("residual", 13)
    assert strata["dose × grind time"] == ("residual", 13)


def test_power_of_a_split_plot_uses_the_error_of_its_stratum() -> None:
    """Batch factor: variance of a half difference of 4 batch means of 3, on 4 df."""
    study = a_study([*RANGES[:2], {**RANGES[2], "set_per": "sample"}])
    a, b = np.tile([0.8, 2.4], 4), np.tile([8.0, 8.0, 9.5, 9.5], 2)
    values = np.array([[x, y, z] for x, y in zip(a, b, strict=True) for z in (15.0, 30.0, 45.0)])
    batch = Stratum(name="batch", unit=np.repeat(np.arange(8), 3))
    asked = Asked(sought=(Sought(effect=3.0, sd=1.0),), ratio=2.0)

    found = judged(study, runs_of_values(values, batch), "interactions", asked)

    noncentrality = 9.0 / (2 * (2.0 + 1 / 3) / 4)
    critical = stats.f.isf(0.05, 1, 4)
    dose = next(entry for entry in found.settings if entry.name == "dose")
    assert dose.power == pytest.approx(stats.ncf.sf(critical, 1, 4, noncentrality), abs=1e-9)
    noncentrality = 9.0 / (2 / 8)
    time = next(entry for entry in found.settings if entry.name == "grind time")
    expected = stats.ncf.sf(stats.f.isf(0.05, 1, 13), 1, 13, noncentrality)
    assert time.power == pytest.approx(expected, abs=1e-9)


def test_a_fraction_is_recognised_from_its_runs() -> None:
    """Resolution and defining relation, centre runs or not."""
    found = appraised(a_study(RANGES[:5]), "fractional factorial", "linear", resolution=3)

    assert found.resolution == 3
    assert len(found.defining_relation) == 3
    assert any(" is mixed up with " in alias.sentence() for alias in found.aliases)


def test_controls_add_nothing_to_the_surface_but_their_degrees_of_freedom() -> None:
    """Two runs of a control, each a batch of its own: one further degree of freedom."""
    control = {"name": "present formula", "settings": {"dose": 1.5, "pH": 8.8}}
    plain = appraised(a_study(RANGES[:2]), "central composite", "quadratic")
    controlled = appraised(a_study(RANGES[:2], control=[control]), "central composite",
                           "quadratic")  # fmt: skip

    assert (controlled.n_runs, controlled.d_efficiency) == (plain.n_runs, plain.d_efficiency)
    assert controlled.profile is not None
    assert plain.profile is not None
    assert controlled.profile.average == pytest.approx(plain.profile.average)
    n_controls = len(controlled.runs) - controlled.n_runs
    assert controlled.freedom.total == plain.freedom.total + n_controls - 1


def test_a_model_that_cannot_be_estimated_has_no_variance() -> None:
    """Squares from two levels."""
    study = a_study(RANGES[:2])
    request = a_request(study, models=("linear",), centre=0)
    runs = make_layout("full factorial", request)

    found = judged(study, runs_of_values(np.asarray(runs.values)), "quadratic")

    assert found.d_efficiency == 0.0
    assert found.profile is None
    assert found.losses == {}
    assert set(found.untold) == {"intercept", "dose²", "pH²"}
    assert next(e for e in found.terms if e.name == "dose²").power is None


def test_a_package_is_judged_along_cox_directions() -> None:
    """Every linear blending term and product of shares has a power."""
    found = appraised(a_study((), CUT_SIMPLEX), "extreme vertices", "quadratic")

    assert all(entry.power is not None and 0.05 < entry.power < 1 for entry in found.terms)
    assert found.vif.keys() >= {"dispersant", "wetting agent × dispersant"}
    assert [entry.name for entry in found.settings] == [
        "wetting agent", "dispersant", "co-additive",
    ]  # fmt: skip


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


def test_settings_outside_the_region_are_named() -> None:
    """They count all the same."""
    study = a_study(RANGES[:2])
    values = np.array([[0.8, 8.0], [2.4, 8.0], [0.8, 9.5], [2.4, 9.9], [1.6, 8.75]])

    found = judged(study, runs_of_values(values), "linear")

    assert found.outside == (4,)
    assert found.n_runs == 5
