"""What one future production batch gives, from draws to tested and true values."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from analysis.fits.fit import Fit
from analysis.fits.likelihood.parts import CountPart
from analysis.fits.scales import inverse
from analysis.risk.posterior import Noise, Placed, Posterior, Shared, make_posterior
from analysis.risk.response_part import BATCH, MODEL, TEST, make_part, why_refused
from analysis.risk.scatter import Scatter
from analysis.risk.stated import scatter_of
from analysis.surface.acceptance import AcceptLimit, accept_limits
from analysis.surface.exact import ExactResponse, Surface
from doe.errors import OptimumError
from doe.methods.kinds import kind_of
from doe.model.coding import Coding
from doe.study.brief import Study
from doe.study.settings import BoolArray, FloatArray

# Why a response that nobody can miss does not count.
NO_LIMIT = "it has no limit (`accept`), so it cannot be missed"


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskSource:
    """Something that makes production batches differ, or the models' own uncertainty.

    Attributes:
        name: In words.
        kind: weighing, setting, noise; day (or another block), batch, test; models.
        columns: Its columns of draws.
    """

    name: str
    kind: str
    columns: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """What n production batches give.

    Attributes:
        tested: Shape (n, m), response units: as they would be read.
        true: Shape (n, m): the batch's own, day and batch error in it, without that of the test.
    """

    tested: FloatArray
    true: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Situation:
    """Settings as drawn, and what the models and the recipe say of them.

    Attributes:
        settings: Shape (n, k), or (1, k) where nothing scatters.
        placed: The models there.
        exact: Shape (n, e) or (1, e), what the recipe gives.
    """

    settings: FloatArray
    placed: Placed | None
    exact: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskModel:
    """All that is needed to draw production batches at any settings.

    Attributes:
        names: The m responses with a limit, in the brief's order.
        limits: All limits on them.
        limit_words: The limits of each response as the brief has them.
        scatter: How production misses its settings.
        posterior: The modelled responses; None where the recipe gives them all.
        exact: Those that the recipe gives.
        left_out: Why each other response of the brief does not count, by response.
    """

    names: tuple[str, ...]
    limits: tuple[AcceptLimit, ...]
    limit_words: Mapping[str, tuple[str, ...]]
    scatter: Scatter
    posterior: Posterior | None
    exact: tuple[ExactResponse, ...]
    left_out: Mapping[str, str]

    @property
    def coding(self) -> Coding:
        """The axes of settings."""
        return self.scatter.coding

    @property
    def columns(self) -> int:
        """How many standard normal draws one batch takes."""
        return len(self.scatter.sources) + (self.posterior.columns if self.posterior else 0)

    @property
    def sources(self) -> tuple[RiskSource, ...]:
        """Everything that makes batches differ, and the models."""
        first = len(self.scatter.sources)
        found = [
            RiskSource(name=source.name, kind=source.kind, columns=(column,))
            for column, source in enumerate(self.scatter.sources)
        ]
        if self.posterior is None:
            return tuple(found)
        units = dict.fromkeys(unit.source for unit in self.posterior.units)
        order = [*(name for name in units if name not in (BATCH, TEST)), BATCH, TEST]
        for name in order:
            if name in units:
                own = tuple(first + c for c in self.posterior.unit_columns(name))
                found.append(RiskSource(name=name, kind=name, columns=own))
        own = tuple(first + c for c in self.posterior.model_columns)
        found.append(RiskSource(name=MODEL, kind=MODEL, columns=own))
        return tuple(found)

    def situation(self, nominal: FloatArray, z: FloatArray, *, exactly: bool = False) -> Situation:
        """Draw settings and place the models there.

        Args:
            nominal: What is set, shape (k,), lab units.
            z: Standard normal draws, shape (n, columns).
            exactly: Whether nothing scatters, so that one row stands for all.
        """
        d = len(self.scatter.sources)
        drawn = np.zeros((1, d)) if exactly or d == 0 else z[:, :d]
        settings = self.scatter.settings(nominal, drawn)
        exact = [one.values(settings) for one in self.exact]
        return Situation(
            settings=settings,
            placed=self.posterior.place(settings) if self.posterior else None,
            exact=np.stack(exact, axis=1) if exact else np.zeros((len(settings), 0)),
        )

    def outcome(
        self,
        at: Situation,
        z: FloatArray,
        *,
        without: Collection[str] = (),
        certain: bool = False,
    ) -> Outcome:
        """Draw what the batches give.

        Args:
            at: Their settings.
            z: Standard normal draws, shape (n, columns).
            without: Kinds of sources to leave out: day, batch, test, models.
            certain: Whether to hold variance components at their estimates.
        """
        n = len(z)
        tested, true = np.empty((n, len(self.names))), np.empty((n, len(self.names)))
        for j, one in enumerate(self.exact):
            place = self.names.index(one.response)
            tested[:, place] = true[:, place] = at.exact[:, j]
        if self.posterior is None or at.placed is None:
            return Outcome(tested=tested, true=true)
        own = z[:, len(self.scatter.sources) :]
        noise = self.posterior.noise(at.placed, own, certain=certain or MODEL in without)
        eta = _own_values(at.placed.centre, noise, n, without)
        test = noise.units.get(TEST, np.zeros(eta.shape))
        draws = self.posterior.test_draws(own)
        for i, part in enumerate(self.posterior.parts):
            place, fit = self.names.index(part.name), part.fit
            true[:, place] = tested[:, place] = inverse(fit.scale, eta[:, i])
            if TEST not in without:
                tested[:, place] = _tested(fit, eta[:, i], test[:, i], draws[:, i])
        return Outcome(tested=tested, true=true)

    def met(self, values: FloatArray) -> BoolArray:
        """Tell which of the m responses meet all their limits, (n, m) to (n, m)."""
        met = np.ones(values.shape, dtype=np.bool_)
        for limit in self.limits:
            place = self.names.index(limit.response)
            met[:, place] &= limit.met(values[:, place])
        return met


def make_risk_model(
    study: Study,
    coding: Coding,
    surfaces: Mapping[str, Surface],
    shared: Shared | None = None,
) -> RiskModel:
    """Make ready to draw production batches of a study.

    Args:
        study: The brief: limits, scatter, noise.
        coding: Its axes.
        surfaces: Models and computed responses by name.
        shared: What the responses have in common.

    Raises:
        OptimumError: No response with a limit can be drawn.
    """
    shared = shared or Shared()
    left_out = _left_out(study, surfaces)
    names = tuple(r.name for r in study.responses if r.name not in left_out)
    if not names:
        raise _nothing_to_miss(study, left_out)
    parts = [
        make_part(one, shared.test_share.get(name))
        for name in names
        if isinstance(one := surfaces[name], Fit)
    ]
    exact = [one for name in names if isinstance(one := surfaces[name], ExactResponse)]
    return RiskModel(
        names=names,
        limits=tuple(one for one in accept_limits(study.responses) if one.response in names),
        limit_words={name: _limit_words(study, name) for name in names},
        scatter=scatter_of(study, coding),
        posterior=make_posterior(coding, parts, shared) if parts else None,
        exact=tuple(exact),
        left_out=left_out,
    )


def refuse_without_limits(study: Study) -> None:
    """Refuse a brief in which nothing can be missed, before anything is fitted.

    Raises:
        OptimumError: No response has a limit.
    """
    if not accept_limits(study.responses):
        raise _nothing_to_miss(study, _left_out(study, {}))


def _limit_words(study: Study, name: str) -> tuple[str, ...]:
    """Say the limits of a response; those of a rating in its classes, not its probability."""
    response = study.response(name)
    accept = response.accept
    if accept is None or kind_of(response) != "rating":
        limits = accept_limits(study.responses)
        return tuple(one.bound() for one in limits if one.response == name)
    ends = (("at most", accept.at_most), ("at least", accept.at_least))
    return tuple(f"rated {word} {end:g}" for word, end in ends if end is not None)


def _left_out(study: Study, surfaces: Mapping[str, Surface]) -> dict[str, str]:
    limited = {limit.response for limit in accept_limits(study.responses)}
    found: dict[str, str] = {}
    for response in study.responses:
        name = response.name
        surface = surfaces.get(name)
        if name not in limited:
            found[name] = NO_LIMIT
        elif surface is None:
            found[name] = "it has a limit but no model"
        elif isinstance(surface, Fit) and (why := why_refused(surface)):
            found[name] = why
    return found


def _nothing_to_miss(study: Study, left_out: Mapping[str, str]) -> OptimumError:
    limited = any(response.accept is not None for response in study.responses)
    what = "; ".join(f"'{name}': {why}" for name, why in left_out.items())
    return OptimumError(
        f"there is no limit whose risk can be told ({what})",
        where="study.toml, [[response]]",
        allowed="at least one response with accept = { at_most = … } or { at_least = … } and a "
        "model that leaves something to tell its scatter by",
        do="Enter more readings or fit a smaller model."
        if limited
        else "State what the plant must meet: accept = { at_most = … } with each response.",
    )


def _own_values(centre: FloatArray, noise: Noise, n: int, without: Collection[str]) -> FloatArray:
    """Give the batches' own values, (n, m), fitted scales: all that is drawn but the test."""
    eta = np.repeat(centre, n // len(centre), axis=0)
    if MODEL not in without:
        eta = eta + noise.models
    for source, added in noise.units.items():
        if source != TEST and source not in without:
            eta = eta + added
    return eta


def _tested(fit: Fit, eta: FloatArray, test: FloatArray, z: FloatArray) -> FloatArray:
    """Give what is read of batches whose own value is eta, shape (n,), response unit."""
    if fit.classes is not None:
        # The class is an accepted one where a logistic deviate lies below the logit.
        return inverse(fit.scale, eta + special.log_ndtr(z) - special.log_ndtr(-z))
    if fit.counts is not None:
        return _counted(fit.counts, np.exp(eta), special.ndtr(z), max(fit.repeats, 1))
    return inverse(fit.scale, eta + test)


def _counted(part: CountPart, mean: FloatArray, u: FloatArray, times: int) -> FloatArray:
    """Draw the mean of some counts: Poisson, or negative binomial of variance μ + α μ²."""
    total = mean * times
    if part.overdispersion > 0.0:
        r = 1.0 / part.overdispersion
        counts = stats.nbinom.ppf(u, r, r / (r + total))
    else:
        counts = stats.poisson.ppf(u, total)
    drawn: FloatArray = np.asarray(counts, dtype=np.float64) / times
    return drawn
