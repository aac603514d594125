"""What one row adds to the log-likelihood, family by family, with first and second derivatives.

Every form takes predictors of shape (m, …, n); differences of distribution functions are taken on
the logarithmic scale, so that rows far out in a tail keep their digits.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy import special

from analysis.fits.likelihood.marginal import RowForm
from doe.study.settings import BoolArray, FloatArray

# ln(F(high) − F(low)), then density and its slope at both ends, each over that difference.
Distribution = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray, FloatArray]]

_LOG_ROOT_2PI = 0.5 * float(np.log(2.0 * np.pi))


def gaussian_form(has_low: BoolArray, has_high: BoolArray, is_exact: BoolArray) -> RowForm:
    """Make the form of readings on and off the scale; predictors z_low, z_high and γ = 1/σ.

    Args:
        has_low: Rows whose value is known to lie above z_low, shape (n,).
        has_high: Rows whose value is known to lie below z_high.
        is_exact: Rows read exactly: z_low counts, and γ.

    Source:
        Parameters γ and γβ: Olsen (1978), Econometrica 46, 1211-1215; concave for intervals, too:
        Burridge (1981), J. R. Stat. Soc. B 43, 41-45.
    """

    def form(a: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        low, high, gamma = a
        first, second = np.zeros(a.shape), np.zeros((3, *a.shape))
        # Exact: ln γ − z²/2 − ln √2π.
        exact = np.log(gamma) - low**2 / 2.0 - _LOG_ROOT_2PI
        log_p, g, h = _between(
            np.where(has_low, low, -np.inf), np.where(has_high, high, np.inf), _normal
        )
        domain = np.where(gamma > 0.0, 0.0, -np.inf)
        value = np.where(is_exact, exact, log_p) + domain
        first[0] = np.where(is_exact, -low, g[0])
        first[1] = np.where(is_exact, 0.0, g[1])
        first[2] = np.where(is_exact, 1.0 / gamma, 0.0)
        second[:2, :2] = np.where(is_exact, 0.0, h)
        second[0, 0] = np.where(is_exact, -1.0, second[0, 0])
        second[2, 2] = np.where(is_exact, -1.0 / gamma**2, 0.0)
        return value, first, second

    return form


def ordinal_form(has_low: BoolArray, has_high: BoolArray) -> RowForm:
    """Make the form of ratings with proportional odds; predictors of the class's two ends.

    Source:
        McCullagh (1980), J. R. Stat. Soc. B 42, 109-142.
    """

    def form(a: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        low = np.where(has_low, a[0], -np.inf)
        high = np.where(has_high, a[1], np.inf)
        return _between(low, high, _logistic)

    return form


def poisson_form(y: FloatArray) -> RowForm:
    """Make the form of counts; predictor ln mean."""
    constant = special.gammaln(y + 1.0)

    def form(a: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        mean = np.exp(a[0])
        return y * a[0] - mean - constant, (y - mean)[None], -mean[None, None]

    return form


# Least ln α that a negative binomial is fitted with: a variance μ + μ²/3 300 000.
LEAST_MORE = -15.0


def negative_binomial_form(y: FloatArray) -> RowForm:
    """Make the form of counts that scatter more; predictors ln mean and ln α, variance μ + αμ².

    Source:
        The form called NB2: Cameron and Trivedi (1986), J. Appl. Econometrics 1, 29-53.
    """
    constant = special.gammaln(y + 1.0)
    some = np.maximum(y, 1.0)
    rising = special.gammaln(some)

    def form(a: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        eta = a[0]
        mu, r = np.exp(eta), np.exp(-a[1])
        s = r + mu
        # ln Γ(y + r)/Γ(r), which loses all digits as a difference where counts are near Poisson's.
        value = np.where(y > 0.0, rising - special.betaln(r, some), 0.0) - constant
        value = value - r * np.log1p(mu / r) + y * (eta - np.log(s))
        # So little more scatter is none, and digits run out where it is looked for: no domain.
        value = np.where(a[1] < LEAST_MORE, np.nan, value)
        by_r = special.digamma(y + r) - special.digamma(r) + np.log(r / s) + (mu - y) / s
        twice = special.polygamma(1, y + r) - special.polygamma(1, r)
        twice = twice + 1.0 / r - 2.0 / s + (y + r) / s**2
        first = np.stack([y - (y + r) * mu / s, -r * by_r])
        second = np.empty((2, *a.shape))
        second[0, 0] = -(y + r) * mu * r / s**2
        second[0, 1] = second[1, 0] = -r * mu * (y - mu) / s**2
        second[1, 1] = r**2 * twice + r * by_r
        return value, first, second

    return form


def log_normal_between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Give ln(Φ(high) − Φ(low)), exact in both tails.

    Example:
        >>> log_normal_between(np.array([9.0]), np.array([10.0])).round(6)
        array([-43.628217])
    """
    # Φ(b) − Φ(a) = Φ(−a) − Φ(−b): taken on the side where both are small.
    turn = low + high > 0.0
    a, b = np.where(turn, -high, low), np.where(turn, -low, high)
    log_b = special.log_ndtr(b)
    with np.errstate(invalid="ignore", divide="ignore"):
        rest = np.where(np.isneginf(a), 0.0, np.log(-np.expm1(special.log_ndtr(a) - log_b)))
    gap: FloatArray = log_b + rest
    return gap


def _normal(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    log_p = log_normal_between(low, high)
    density_low = np.exp(-(low**2) / 2.0 - _LOG_ROOT_2PI - log_p)
    density_high = np.exp(-(high**2) / 2.0 - _LOG_ROOT_2PI - log_p)
    bend = np.stack([_times(-low, density_low), _times(-high, density_high)])
    return log_p, np.stack([density_low, density_high]), bend


def _logistic(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    # F(b) − F(a) = F(b) F(−a) (1 − e^{a−b}).
    with np.errstate(invalid="ignore", divide="ignore"):
        log_p = special.log_expit(high) + special.log_expit(-low) + np.log(-np.expm1(low - high))
    densities = np.stack(
        [np.exp(special.log_expit(z) + special.log_expit(-z) - log_p) for z in (low, high)]
    )
    # f' = f (1 − 2F) = −f tanh(z/2).
    bend = -densities * np.tanh(np.stack([low, high]) / 2.0)
    return log_p, densities, bend


def _between(
    low: FloatArray, high: FloatArray, distribution: Distribution
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Differentiate ln(F(high) − F(low)) by both ends."""
    log_p, density, bend = distribution(low, high)
    first = np.stack([-density[0], density[1]])
    second = np.empty((2, *first.shape))
    second[0, 0] = -bend[0] - first[0] ** 2
    second[1, 1] = bend[1] - first[1] ** 2
    second[0, 1] = second[1, 0] = -first[0] * first[1]
    return np.where(low < high, log_p, -np.inf), first, second


def _times(z: FloatArray, density: FloatArray) -> FloatArray:
    # At an infinite end the density is zero before z grows.
    with np.errstate(invalid="ignore"):
        product: FloatArray = np.where(np.isfinite(z), z * density, 0.0)
    return product
