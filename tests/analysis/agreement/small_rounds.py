"""Small studies with a known truth, and rounds of new batches drawn from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analysis.agreement.basis import ConfirmBasis, confirm_basis
from analysis.agreement.confirmation import RoundOutcome, judge
from analysis.agreement.confirmation_size import SizeAsked
from analysis.agreement.observed import Observed, ObservedUnits
from analysis.agreement.planning import RoundAsked, foretell
from analysis.agreement.units import RoundUnits, even_units
from analysis.fits.fitted_response import FittedResponse, fit_response
from analysis.fits.together import coefficients_together, responses_together
from analysis.lab.response_data import ResponseData
from analysis.risk.posterior import Shared
from analysis.surface.acceptance import AcceptLimit
from doe.study.brief import Response
from doe.study.confirmation import Confirmation
from doe.study.settings import FloatArray
from tests.analysis.fits.adopted_table import adopt, range_factor, study_of

NAMES = ("viscosity", "gloss")
TRUTH = {"viscosity": (7.0, -0.3, 0.01), "gloss": (40.0, 5.0, 0.1)}
SD = np.array([0.1, 2.0])
ROW = np.array([1.8, 30.0])


def basis_of(
    data: Mapping[str, ResponseData], fitted: Mapping[str, FittedResponse]
) -> ConfirmBasis:
    """Put fitted responses together as the command does."""
    fits = {name: one.fit for name, one in fitted.items()}
    shared = Shared(
        together=responses_together(data, fitted),
        coefficients=coefficients_together(data, fitted),
    )
    return confirm_basis(next(iter(fits.values())).coding, fits, shared)


def invented(
    rng: np.random.Generator, *, batches: int = 8, per: int = 2, ratio: float = 0.0
) -> tuple[dict[str, ResponseData], dict[str, FittedResponse]]:
    """Invent runs of a true plane, two responses that scatter together by 0.7.

    Args:
        rng: Source of the scatter.
        batches: Mill batches.
        per: Samples of each, told as runs of their own batch where `ratio` is 0.
        ratio: Variance of batches over that of runs.
    """
    dose = np.repeat(np.resize([0.8, 1.6, 2.4, 1.2], batches), per)
    time = np.resize([15.0, 45.0, 30.0], batches * per)
    errors = scatter(rng, batches, per, ratio)
    data, fitted = {}, {}
    for j, name in enumerate(NAMES):
        a, b, c = TRUTH[name]
        y = a + b * dose + c * time + errors[:, j]
        study = study_of(
            factors=[
                range_factor("dose", 0.8, 2.4),
                range_factor("time", 15, 45, unit="min", set_per="sample"),
            ],
            response={"name": name},
        )
        rows = [
            {"dose": float(d), "time": float(t), name: float(v)}
            for d, t, v in zip(dose, time, y, strict=True)
        ]
        one, coding = adopt(study, rows, name)
        if ratio > 0.0:
            one = replace(one, batch=tuple(i // per + 1 for i in range(len(y))))
        data[name], fitted[name] = one, fit_response(one, coding, model="linear")
    return data, fitted


def scatter(rng: np.random.Generator, batches: int, per: int, ratio: float) -> FloatArray:
    """Draw what batches and runs add, shape (batches × per, 2)."""
    R = np.array([[1.0, 0.7], [0.7, 1.0]])
    own = rng.multivariate_normal([0, 0], R, size=batches * per)
    shared = np.repeat(rng.multivariate_normal([0, 0], R, size=batches), per, axis=0)
    drawn: FloatArray = SD * (own + ratio**0.5 * shared)
    return drawn


def entry_of(
    basis: ConfirmBasis,
    fitted: Mapping[str, FittedResponse],
    units: RoundUnits,
    limits: tuple[AcceptLimit, ...] = (),
    responses: tuple[Response, ...] = (),
) -> Confirmation:
    """Freeze a round of the recipe that the tests use."""
    asked = RoundAsked(row=ROW, units=units, size=SizeAsked(seed=1))
    told = foretell(
        basis, asked, responses or tuple(Response(name=name) for name in NAMES), limits, fitted
    )
    return Confirmation(
        number=1, round=2, where="laboratory", runs=(1, 2), settings={"dose": 1.8, "time": 30.0},
        settings_are="given settings", responses=told.responses, rule=told.rule,
        pass_right=told.size.passes_if_right if told.size else None, seed=1, version="0",
    )  # fmt: skip


def seen(entry: Confirmation, values: Mapping[str, FloatArray]) -> dict[str, Observed]:
    """Write what came in, one value a batch, fitted scale."""
    return {
        name: Observed(
            formula=ObservedUnits(
                run=tuple(range(1, len(z) + 1)),
                z=np.asarray(z, dtype=np.float64),
                units=even_units(len(z), 1),
            )
        )
        for name, z in values.items()
    }


def a_round(
    rng: np.random.Generator, *, ratio: float = 0.0, n: int = 2, off: float = 0.0
) -> RoundOutcome:
    """Invent a study, freeze a round, make its batches and judge them.

    Args:
        rng: Source of all scatter.
        ratio: Variance of batches over that of runs.
        n: Confirmation batches.
        off: How far the first response is off in truth, standard deviations of a run.
    """
    data, fitted = invented(rng, ratio=ratio)
    entry = entry_of(basis_of(data, fitted), fitted, even_units(n, 1))
    errors = scatter(rng, n, 1, ratio)
    errors[:, 0] += off * SD[0]
    values = {
        name: a + b * ROW[0] + c * ROW[1] + errors[:, j]
        for j, (name, (a, b, c)) in enumerate(TRUTH.items())
    }
    return judge(entry, seen(entry, values))
