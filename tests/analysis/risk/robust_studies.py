"""Studies for the robust choice and the window: surfaces whose best places are known."""

from __future__ import annotations

import numpy as np

from analysis.fits.fit import Fit
from analysis.risk.box_frame import BoxGround
from analysis.risk.model import make_risk_model
from analysis.risk.robust import RobustQuestion
from analysis.risk.tolerance import box_ground
from doe.model.coding import coding_of
from doe.model.matrix import model_columns
from doe.model.region import region_of
from doe.model.terms import make_model
from doe.study.brief import Study
from tests.analysis.choice.problems import brief, fit_of


def two_way(**dose: object) -> Study:
    """Thin and strong pull apart: the desirable dose lies nearer to a limit than the safe one."""
    return brief(
        [
            {"name": "dose", "low": 1.0, "high": 3.0, "scatter_sd": 0.1, **dose},
            {"name": "time", "low": 10.0, "high": 30.0, "unit": "min", "scatter_sd": 1.0},
        ],
        [
            {
                "name": "thinness", "aim": "low", "best": 5.0, "worst": 11.0, "importance": 3.0,
                "accept": {"at_most": 10.0},
            },
            {
                "name": "strength", "aim": "high", "best": 60.0, "worst": 30.0,
                "accept": {"at_least": 38.0},
            },
        ],
    )  # fmt: skip


def two_way_fits(study: Study) -> dict[str, Fit]:
    """Second-order models in coded dose and time."""
    coding = coding_of(study)
    values = {
        "thinness": {"": 8.5, "d": -2.0, "t": -1.0, "dd": 0.6, "tt": 0.5, "dt": 0.3},
        "strength": {"": 46.0, "d": -7.0, "t": 1.5, "dd": -3.0, "tt": -2.5, "dt": 0.5},
    }
    columns = model_columns(make_model("quadratic", coding), coding)
    fits = {}
    for name, by_term in values.items():
        wanted = [
            by_term["".join(sorted(factor[0] * power for factor, power in one.term.powers))]
            for one in columns
        ]
        sd = 0.45 if name == "thinness" else 3.0
        fits[name] = fit_of(coding, name, wanted, sd=sd, covariance=0.05 * sd**2 * np.eye(6))
    return fits


def question(study: Study, fits: dict[str, Fit], level: float = 0.9) -> RobustQuestion:
    """Ask for the robust choice."""
    coding = coding_of(study)
    return RobustQuestion(
        study=study, region=region_of(study), surfaces=fits,
        model=make_risk_model(study, coding, fits), level=level,
    )  # fmt: skip


def ground(asked: RobustQuestion) -> BoxGround:
    """Lay boxes in the same study."""
    return box_ground(asked.model, asked.region, ())
