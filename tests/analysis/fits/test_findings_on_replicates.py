"""What is said where replicates cannot show the scatter."""

from __future__ import annotations

import numpy as np

from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.lab.responses import gather
from doe.model.coding import coding_of
from doe.study.brief import Study
from doe.study.plan import Plan, Round
from doe.study.readings import Reading, Readings
from doe.study.settings import Settings

STUDY = Study.model_validate(
    {
        "study": {"title": "t"},
        "factor": [{"name": "dose", "low": 1.0, "high": 3.0}],
        "response": [{"name": "viscosity", "per": "batch"}],
    }
)


def _fitted(doses: list[float], blocks: list[str]) -> FittedResponse:
    n = len(doses)
    plan = Plan(
        settings=Settings(names=("dose",), values=np.array(doses)[:, None]),
        run=tuple(range(1, n + 1)), round=(1,) * n, day=(None,) * n, batch=(None,) * n,
        sample=(None,) * n, panel=(None,) * n, kind=("design",) * n,
        rounds=(Round(number=1, layout="adopted", models=("linear",),
                      details={"blocks": dict(enumerate(blocks, start=1))}),),
    )  # fmt: skip
    values = [10.0, 12.1, 13.8, 9.7, 11.2, 13.1][:n]
    rows = [
        Reading(id=i, run=i, response="viscosity", value=value)
        for i, value in enumerate(values, start=1)
    ]
    data = gather(STUDY, plan, Readings(rows=tuple(rows)))["viscosity"]
    return fit_response(data, coding_of(STUDY), model="linear")


def test_replicates_that_only_tell_blocks_apart_are_not_called_missing() -> None:
    """One pair over two blocks gives the block difference and no pure error."""
    said = " ".join(f.what for f in _fitted([1, 2, 3, 1, 1.5], ["a", "a", "a", "b", "b"]).findings)

    assert "replicates tell the blocks apart" in said
    assert "No settings were run twice" not in said


def test_without_replicates_their_want_is_said() -> None:
    """Nothing was repeated at all."""
    said = " ".join(f.what for f in _fitted([1, 2, 3, 1.2, 1.5], ["a"] * 5).findings)

    assert "No settings were run twice" in said
