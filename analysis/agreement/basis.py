"""The models that a confirmation rests on: which responses can be judged by an interval, and how.

Ratings, counts and responses without any scatter to tell are held against their limits alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

from analysis.agreement.mean_prediction import MeanPrediction, predict_mean
from analysis.agreement.units import RoundUnits
from analysis.fits.fit import Fit
from analysis.risk.posterior import Posterior, Shared, make_posterior
from analysis.risk.response_part import make_part, why_refused
from analysis.surface.exact import Surface
from doe.model.coding import Coding
from doe.model.strata import RESIDUAL
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ConfirmBasis:
    """What the predictions of a round rest on.

    Attributes:
        coding: The settings.
        fits: Models of the responses that are judged by an interval, in the brief's order.
        posterior: The same, together.
        shared: What they have in common.
        by_limits: Models of those that are held against their limits alone.
        why_not: Why, by response.
    """

    coding: Coding
    fits: Mapping[str, Fit]
    posterior: Posterior
    shared: Shared
    by_limits: Mapping[str, Fit]
    why_not: Mapping[str, str]

    @property
    def is_covariance_known(self) -> bool:
        """Whether the runs tell how every two of the responses scatter together."""
        return all(_told(self.shared, a, b) for a, b in combinations(self.fits, 2))

    def predictions(self, row: FloatArray, units: RoundUnits) -> dict[str, MeanPrediction]:
        """Foretell the mean of a round, shape (k,) of settings, response by response."""
        return {
            name: predict_mean(fit, row, units.read_per(fit.per), self.shared.test_share.get(name))
            for name, fit in self.fits.items()
        }


def confirm_basis(coding: Coding, surfaces: Mapping[str, Surface], shared: Shared) -> ConfirmBasis:
    """Sort the responses of a study, in the brief's order, and put those with models together."""
    fits: dict[str, Fit] = {}
    others: dict[str, Fit] = {}
    why_not: dict[str, str] = {}
    for name, surface in surfaces.items():
        if not isinstance(surface, Fit):
            continue
        why = _why_not(surface)
        if why:
            others[name], why_not[name] = surface, why
        else:
            fits[name] = surface
    parts = [make_part(fit, shared.test_share.get(name)) for name, fit in fits.items()]
    return ConfirmBasis(
        coding=coding, fits=fits, posterior=make_posterior(coding, parts, shared), shared=shared,
        by_limits=others, why_not=why_not,
    )  # fmt: skip


def _why_not(fit: Fit) -> str:
    if fit.classes is not None:
        return "a rating: the mean of a few classes has no interval of use"
    if fit.counts is not None:
        return "a count: the mean of a few counts has no interval of use"
    return why_refused(fit)


def _told(shared: Shared, a: str, b: str) -> bool:
    known = shared.together.get(RESIDUAL)
    if known is None or not {a, b} <= set(known.responses):
        return False
    return bool(known.n[known.responses.index(a), known.responses.index(b)] > 0)
