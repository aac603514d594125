"""The joint probability of a recipe as a smooth function of its settings, for searches.

Given settings as made and variance components, the responses are jointly normal: the chance that
all meet their limits is the product of m conditional ones, each drawn on from the truncated normal
before it. So nothing is counted, every draw gives a share of a chance, and with the same draws at
every recipe the probability has slopes. It is the same probability that `draw_batches` counts.

Source:
    Genz (1992), Journal of Computational and Graphical Statistics 1, 141-149: separation of
    variables for the multivariate normal. From memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from analysis.fits.fit import Fit, Scale
from analysis.fits.likelihood.parts import CountPart
from analysis.fits.scales import forward, inverse
from analysis.risk.draws import DrawPlan, Estimate, estimate_of, normal_blocks
from analysis.risk.model import RiskModel
from analysis.risk.posterior import Placed, Posterior, factor_of
from analysis.surface.acceptance import TOUCH, AcceptLimit
from doe.study.settings import FloatArray

# Rows that are worked on at once: what the caches of a laptop hold.
_ROWS = 8_192
# A limit that the recipe itself breaks leaves a chance of e^-50: nothing, but not flat.
_BROKEN = -50.0
_FAR = 1e9
_LEAST = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SmoothChance:
    """A risk model with its draws.

    Attributes:
        model: Of the study.
        z: Standard normal draws, shape (n, columns), the same at every recipe.
        scramblings: How many equal parts the rows of z fall into.
        variances: Components of each modelled response by draw, shape (n, r) each.
    """

    model: RiskModel
    z: FloatArray
    scramblings: int
    variances: tuple[FloatArray, ...]

    def probability(self, nominal: FloatArray, *, tested: bool = True) -> FloatArray:
        """Give the joint probability of recipes, shape (s, k), lab units, to shape (s,), 0..1."""
        found: FloatArray = np.exp(self.log_probability(nominal, tested=tested))
        return found

    def log_probability(self, nominal: FloatArray, *, tested: bool = True) -> FloatArray:
        """Give its logarithm, which keeps its digits where the probability is tiny, shape (s,)."""
        return _mean_by_log(self._log_weights(nominal, tested=tested))

    def deviate(self, nominal: FloatArray, *, tested: bool = True) -> FloatArray:
        """Give it as a normal deviate, shape (s,): nowhere flat, near and far from 0 and 1."""
        log_p = np.minimum(self.log_probability(nominal, tested=tested), -1e-16)
        found: FloatArray = special.ndtri_exp(log_p)
        return found

    def estimate(self, nominal: FloatArray, *, tested: bool = True) -> Estimate:
        """Give the probability of one recipe, shape (k,), with its own error."""
        weights = np.exp(self._log_weights(nominal[None, :], tested=tested)[0])
        by_scrambling = weights.reshape(self.scramblings, -1).mean(axis=1)
        return estimate_of(by_scrambling, len(weights))

    def _log_weights(self, nominal: FloatArray, *, tested: bool) -> FloatArray:
        """Give the logarithm of every draw's chance, shape (s, n)."""
        n = len(self.z)
        size = max(1, _ROWS // n)
        parts = [
            self._chunk(nominal[first : first + size], tested=tested)
            for first in range(0, len(nominal), size)
        ]
        return np.vstack([np.zeros((0, n)), *parts])

    def _chunk(self, nominal: FloatArray, *, tested: bool) -> FloatArray:
        s, n = len(nominal), len(self.z)
        scatter, posterior = self.model.scatter, self.model.posterior
        d = len(scatter.sources)
        # Where nothing scatters one row of settings stands for all draws.
        own = self.z[:, :d] if d else np.zeros((1, 0))
        settings = scatter.settings(np.repeat(nominal, len(own), axis=0), np.tile(own, (s, 1)))
        each = np.repeat(np.arange(len(settings)), (s * n) // len(settings))
        log_w = np.zeros(s * n)
        for one in self.model.exact:
            limits = [limit for limit in self.model.limits if limit.response == one.response]
            log_w += _kept(limits, one.values(settings))[each]
        if posterior is not None:
            placed = _repeated(posterior.place(settings), each)
            log_w += self._modelled(posterior, placed, s, tested=tested)
        return log_w.reshape(s, n)

    def _modelled(
        self, posterior: Posterior, placed: Placed, s: int, *, tested: bool
    ) -> FloatArray:
        """Give the logarithm of the chance that all modelled responses meet their limits."""
        first = len(self.model.scatter.sources)
        variances = [np.tile(one, (s, 1)) for one in self.variances]
        L = factor_of(posterior.covariance(placed, variances, tested=tested))
        own = self.z[:, first : first + len(posterior.parts)]
        z, u, v = (np.tile(one, (s, 1)) for one in (own, special.ndtr(own), special.ndtr(-own)))
        log_w = np.zeros(len(z))
        y: list[FloatArray] = []
        for i, part in enumerate(posterior.parts):
            limits = [limit for limit in self.model.limits if limit.response == part.name]
            fit = part.fit
            mean = placed.centre[:, i] + sum(L[i][k] * y[k] for k in range(i))
            if tested and part.is_told_by_class:
                y.append(z[:, i])
                log_w += _told_by_class(fit, limits, mean + L[i][i] * z[:, i])
                continue
            low, high = _ends(fit.scale, limits)
            is_last = i == len(posterior.parts) - 1
            sides = None if is_last else (u[:, i], v[:, i])
            chance, drawn = _between(mean, L[i][i], (low, high), sides)
            log_w += chance
            y.append(drawn)
        return log_w


def make_chance(model: RiskModel, plan: DrawPlan) -> SmoothChance:
    """Lay the draws once, for every recipe that will be asked for."""
    z = np.vstack(list(normal_blocks(plan, model.columns)))
    posterior = model.posterior
    variances: tuple[FloatArray, ...] = ()
    if posterior is not None:
        variances = posterior.drawn_variances(z[:, len(model.scatter.sources) :])
    return SmoothChance(model=model, z=z, scramblings=plan.scramblings, variances=variances)


def _mean_by_log(log_w: FloatArray) -> FloatArray:
    """Average exp(log_w), shape (s, n), over draws, as a logarithm, shape (s,)."""
    found: FloatArray = special.logsumexp(log_w, axis=1) - np.log(log_w.shape[1])
    return np.nan_to_num(found, nan=-np.inf, neginf=-1e6)


def _repeated(placed: Placed, each: np.ndarray) -> Placed:
    """Give every draw its place."""
    if len(each) == len(placed.centre):
        return placed
    return Placed(
        centre=placed.centre[each],
        own=tuple(one[each] for one in placed.own),
        cross={
            pair: tuple((stratum, product[each]) for stratum, product in found)
            for pair, found in placed.cross.items()
        },
    )


def _kept(limits: Sequence[AcceptLimit], values: FloatArray) -> FloatArray:
    """Give 0 where what the recipe gives keeps its limits, shape (n,), and e^-50 or less beyond."""
    found = np.zeros(len(values))
    for limit in limits:
        beyond = np.maximum(-limit.margin(values), 0.0) / max(abs(limit.limit), TOUCH)
        far = np.nan_to_num(_BROKEN - beyond, nan=-_FAR)
        found += np.where(limit.met(values), 0.0, far)
    return found


def _ends(scale: Scale, limits: Sequence[AcceptLimit]) -> tuple[float, float]:
    """Give the limits of a response on its fitted scale; infinite where there is none."""
    low, high = -np.inf, np.inf
    for limit in limits:
        touch = limit.side * TOUCH * max(1.0, abs(limit.limit))
        lowest, highest = inverse(scale, np.array([-_FAR, _FAR]))
        at = np.array([limit.limit + touch])
        # A limit beyond the end of a scale is always kept, or never.
        if limit.side > 0 and not limit.met(np.array([highest]))[0]:
            kept = bool(limit.met(np.array([lowest]))[0])
            high = min(high, float(forward(scale, at)[0]) if kept else -np.inf)
        if limit.side < 0 and not limit.met(np.array([lowest]))[0]:
            kept = bool(limit.met(np.array([highest]))[0])
            low = max(low, float(forward(scale, at)[0]) if kept else np.inf)
    return low, high


def _between(
    mean: FloatArray,
    sd: FloatArray,
    ends: tuple[float, float],
    sides: tuple[FloatArray, FloatArray] | None,
) -> tuple[FloatArray, FloatArray]:
    """Give ln P(low ≤ mean + sd y ≤ high) by draw, and y drawn between.

    Args:
        mean: Shape (n,).
        sd: Shape (n,), 0 for what cannot scatter.
        ends: Low and high; infinite where there is no limit.
        sides: Even draws, and 1 less each, shape (n,) each; None for no y.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = ((end - mean) / sd for end in ends)
    # What cannot scatter keeps a limit or does not.
    a = np.where(np.isnan(a), -np.inf, a)
    b = np.where(np.isnan(b), np.inf, b)
    if np.isinf(ends[0]) and ends[0] < 0.0:
        return _below(b, None if sides is None else sides[0])
    if np.isinf(ends[1]) and ends[1] > 0.0:
        chance, y = _below(-a, None if sides is None else sides[1])
        return chance, -y
    # In the upper tail the mirror image keeps its digits.
    flip = a > 0.0
    a, b = np.where(flip, -b, a), np.where(flip, -a, b)
    low, high = special.log_ndtr(a), special.log_ndtr(b)
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = high + np.log1p(-np.exp(np.minimum(low - high, 0.0)))
    chance = np.nan_to_num(chance, nan=-_FAR, neginf=-_FAR)
    if sides is None:
        return chance, np.zeros(0)
    u = np.where(flip, sides[1], sides[0])
    below, above = np.exp(low), np.exp(high)
    y = special.ndtri(np.maximum(below + u * (above - below), _LEAST))
    return chance, np.where(flip, -y, y)


def _below(b: FloatArray, u: FloatArray | None) -> tuple[FloatArray, FloatArray]:
    """Give ln P(y ≤ b) by draw, and y drawn below b by even draws u."""
    high = special.log_ndtr(b)
    chance = np.maximum(high, -_FAR)
    if u is None:
        return chance, np.zeros(0)
    return chance, special.ndtri(np.maximum(u * np.exp(high), _LEAST))


def _told_by_class(fit: Fit, limits: Sequence[AcceptLimit], eta: FloatArray) -> FloatArray:
    """Give ln P of an accepted class or count, given the batch's own value, shape (n,)."""
    if fit.counts is None:
        found: FloatArray = special.log_expit(eta)
        return found
    chance = np.ones(len(eta))
    for part in _counted(fit.counts, limits, np.exp(eta), max(fit.repeats, 1)):
        chance += part
    return np.log(np.maximum(chance, _LEAST))


def _counted(
    part: CountPart, limits: Sequence[AcceptLimit], mean: FloatArray, times: int
) -> Iterator[FloatArray]:
    """Take from 1 what lies beyond each limit of a mean of counts."""
    total = mean * times
    for limit in limits:
        touch = limit.side * TOUCH * max(1.0, abs(limit.limit))
        end = (limit.limit + touch) * times
        # At least c: what lies at or below the whole number before c is beyond.
        last = np.floor(end) if limit.side > 0 else np.ceil(end) - 1.0
        if part.overdispersion > 0.0:
            r = 1.0 / part.overdispersion
            below = stats.nbinom.cdf(last, r, r / (r + total))
        else:
            below = stats.poisson.cdf(last, total)
        yield np.asarray(below - 1.0 if limit.side > 0 else -below, dtype=np.float64)
