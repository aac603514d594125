"""How much of the scatter of single runs is the test."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.lab.response_data import ResponseData
from analysis.risk.batch_and_test import shares_of_test
from analysis.risk.response_part import BATCH, TEST, make_part
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of
from tests.analysis.risk.small_studies import two_in_batches

DOSES = [1.0, 1.5, 2.0, 2.5, 3.0, 1.0, 2.0, 3.0]


def _fitted(
    repeats: int, **response: float
) -> tuple[dict[str, ResponseData], dict[str, FittedResponse]]:
    """Make batches that scatter by 1, read with a scatter of 0.5, each once or several times."""
    rng = np.random.default_rng(5)
    study = study_of(factors=[range_factor("dose", 1, 3)], response={"name": "y", **response})
    rows = []
    for dose in DOSES:
        own = 10 + dose + rng.normal(0, 1.0)
        rows.append({"dose": dose, "y": [own + rng.normal(0, 0.5) for _ in range(repeats)]})
    data, coding = adopt(study, rows, "y")
    return {"y": data}, {"y": fit_response(data, coding, model="linear")}


def test_repeats_tell_the_test() -> None:
    """Pooled variance of the pairs over two, of the residual of their means: by hand."""
    data, fitted = _fitted(2)
    y = np.array(data["y"].repeats)
    within = ((y[:, 0] - y[:, 1]) ** 2 / 2).mean()
    wanted = within / 2 / fitted["y"].fit.components["residual"]

    assert 0.0 < wanted < 0.5
    assert shares_of_test(data, fitted)["y"] == pytest.approx(wanted, rel=1e-12)
    units = make_part(fitted["y"].fit, wanted).units
    assert {one.source: one.weight for one in units} == pytest.approx(
        {BATCH: 1 - wanted, TEST: wanted}
    )


def test_the_brief_tells_it_where_nothing_was_read_twice() -> None:
    """`repeatability_sd`, on the fitted scale; no more than all there is; without it nothing."""
    data, fitted = _fitted(1, repeatability_sd=0.5)
    residual = fitted["y"].fit.components["residual"]
    assert shares_of_test(data, fitted)["y"] == pytest.approx(0.25 / residual)
    assert shares_of_test(*_fitted(1, repeatability_sd=50.0)) == {"y": 1.0}
    assert shares_of_test(*_fitted(1)) == {}


def test_strata_tell_it_where_batches_hold_several_samples() -> None:
    """What is below the batch is test, whatever the brief says."""
    data, fitted = two_in_batches()
    assert shares_of_test(data, fitted) == {}
    units = make_part(fitted["gloss"].fit).units
    assert [(one.stratum, one.source) for one in units] == [("batch", BATCH), ("residual", TEST)]
