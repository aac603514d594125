"""What is foretold of the mean of a round, and the level that several responses share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from analysis.agreement.confirmation_size import (
    SizeAsked,
    compare_sizes,
    recommended,
    size_words,
)
from analysis.agreement.mean_prediction import predict_mean
from analysis.agreement.round_draws import bonferroni, draw_rounds, level_of_each
from analysis.agreement.units import RoundUnits, even_units, kept_parts
from analysis.surface.acceptance import AcceptLimit
from tests.analysis.agreement.small_rounds import NAMES, ROW, basis_of, invented


def test_the_mean_of_a_few_new_runs_has_the_interval_of_the_textbook() -> None:
    """Plain least squares: s²(1/q + x'(X'X)⁻¹x) on n − p degrees of freedom.

    Draper and Smith (1998), Applied Regression Analysis, 3rd ed., section 3.1; calculated by hand.
    """
    _, fitted = invented(np.random.default_rng(3))
    fit = fitted["gloss"].fit
    told = predict_mean(fit, ROW, even_units(3, 1))
    s2 = fit.components["residual"]
    assert told.new_variance == pytest.approx(s2 / 3)
    x = np.array([1.0, (1.8 - 1.6) / 0.8, 0.0])
    assert told.model_variance == pytest.approx(x @ fit.covariance @ x)
    assert told.df == 16 - 3
    half = stats.t.ppf(0.975, 13) * (s2 / 3 + x @ fit.covariance @ x) ** 0.5
    assert told.half_width(0.95) == pytest.approx(half)


def test_a_mean_keeps_what_its_units_share() -> None:
    """Four samples of two batches on one day: the whole day, half a batch, a quarter of a run."""
    units = RoundUnits(day=(1,) * 4, batch=(1, 1, 2, 2), unit=(1, 2, 3, 4))
    kept = kept_parts(("day", "batch", "residual"), units, None)
    assert kept == {"day": 1.0, "batch": 0.5, "residual": 0.25}
    mixed = kept_parts(("residual",), units, 0.4)
    assert mixed["residual"] == pytest.approx(0.6 * 0.5 + 0.4 * 0.25)


def test_satterthwaite_follows_the_stratum_that_the_mean_hangs_on() -> None:
    """With more samples of the same batches the batches' few degrees of freedom decide."""
    data, fitted = invented(np.random.default_rng(5), ratio=2.0)
    fit = fitted["viscosity"].fit
    assert fit.adjustment is not None
    one, many = (predict_mean(fit, ROW, even_units(2, 1, per)) for per in (1, 20))
    assert many.sd < one.sd
    assert many.df < one.df
    drawn = draw_rounds(basis_of(data, fitted).posterior, ROW, even_units(2, 1), seed=2)
    assert drawn.means[:, 0].std() == pytest.approx(one.new_variance**0.5, rel=0.25)


@pytest.mark.parametrize(("m", "printed"), [(2, 2.57), (3, 2.76)])
def test_the_shared_level_gives_the_quantile_of_the_largest_t(m: int, printed: float) -> None:
    """Dunnett (1964), two-sided 5 %, 10 df, correlation one half: 2.57 and 2.76 (from memory).

    And a box of that half width holds 95 % by scipy's multivariate t.
    """
    R = np.full((m, m), 0.5) + 0.5 * np.eye(m)
    t = stats.multivariate_t(np.zeros(m), R, df=10, seed=4)
    level = level_of_each(t.rvs(200_000), [10.0] * m, 0.95)
    c = float(stats.t.ppf(0.5 + level / 2.0, 10))
    assert c == pytest.approx(printed, abs=0.02)
    held = t.cdf(np.full(m, c), lower_limit=np.full(m, -c))
    assert held == pytest.approx(0.95, abs=0.003)
    assert 0.95 < level < bonferroni(0.95, m)


def test_draws_of_one_stratum_are_students_t() -> None:
    """The mean of a round about what is foretold, over its own sd, has the quantiles of t."""
    data, fitted = invented(np.random.default_rng(3))
    basis = basis_of(data, fitted)
    units = even_units(2, 1)
    told = list(basis.predictions(ROW, units).values())
    drawn = draw_rounds(basis.posterior, ROW, units, seed=7)
    t = (drawn.models + drawn.means) / np.array([one.sd for one in told])
    for own in t.T:
        found = np.quantile(own, [0.025, 0.5, 0.975])
        assert found == pytest.approx(stats.t.ppf([0.025, 0.5, 0.975], 13), abs=0.08)
    assert np.corrcoef(t.T)[0, 1] == pytest.approx(
        basis.shared.correlation("residual", NAMES)[0, 1], abs=0.08
    )


def test_more_batches_tell_more_and_the_words_say_so() -> None:
    """Intervals narrow, a formula that is off is found out more often, the level stays."""
    data, fitted = invented(np.random.default_rng(3), batches=12)
    basis = basis_of(data, fitted)
    limits = (AcceptLimit(response="gloss", unit="", limit=45.0, side=-1),)
    asked = SizeAsked(effects={"viscosity": 0.3}, most=5)
    sizes = compare_sizes(basis, ROW, limits, asked)
    assert [one.batches for one in sizes] == [1, 2, 3, 4, 5]
    widths = np.array([[own.half_width for own in one.responses] for one in sizes])
    assert np.all(np.diff(widths, axis=0) < 0)
    found = np.array([[own.fails_if_off for own in one.responses] for one in sizes])
    assert np.all(np.diff(found, axis=0) > -0.02)
    assert np.all(found[-1] > found[0])
    for one in sizes:
        assert one.inside_if_right == pytest.approx(0.95, abs=0.012)
        assert one.passes_if_right <= one.inside_if_right
    gloss = sizes[1].responses[1]
    assert gloss.told_from_limit == pytest.approx(
        stats.t.ppf(0.95, 24 - 3) * fitted["gloss"].fit.residual_sd / 2**0.5
    )
    best = recommended(sizes)
    words = " ".join(size_words(sizes))
    assert f"Recommended: {best.batches} batches" in words
    assert "A right formula passes" in words


def test_what_is_read_once_a_batch_gains_nothing_from_more_samples() -> None:
    """Three samples of each of two batches are two values of a response of the batch."""
    units = even_units(2, 1, 3)
    assert units.read_per("sample") == units
    assert len(units.read_per("batch")) == 2
    data, fitted = invented(np.random.default_rng(3))
    basis = basis_of(data, fitted)
    drawn = draw_rounds(basis.posterior, ROW, units, seed=7)
    once = replace(fitted["gloss"], fit=replace(fitted["gloss"].fit, per="batch"))
    again = draw_rounds(basis_of(data, {**fitted, "gloss": once}).posterior, ROW, units, seed=7)
    ratio = again.means.var(axis=0) / drawn.means.var(axis=0)
    # Where no stratum tells batch and test apart, the whole counts as the batch's own.
    assert ratio == pytest.approx([1.0, 1.0], abs=0.01)
    assert np.ptp(again.units[:, :3, 1], axis=1) == pytest.approx(0.0)
