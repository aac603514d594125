"""Fitting of flow curves: one model, or the best of several by the corrected Akaike criterion."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from analysis.lab.flow_curves import FLOW_MODELS, Errors, FlowFit, FlowModel, flow_stress
from analysis.lab.nonlinear_fit import Optimum, minimise_squares
from doe.errors import ResultsError
from doe.study.settings import FloatArray

# Fewest shear rates that a model is fitted to; common practice, no source.
FEWEST_RATES = 5
# Indices from which a search starts, and the widest that it may go: no liquid lies beyond.
_STARTS = np.linspace(0.1, 1.6, 16)
_INDEX_ENDS = (1e-3, 5.0)
# A yield stress below this part of the least stress is 0: it cannot be told from rounding.
_NOTHING = 1e-9
# Residuals below this part of the stress count as no scatter when models are compared: no
# instrument reads closer, and without a floor rounding would choose among perfect fits.
_FLOOR = 1e-6
# Two criteria closer than this are equal: the model with fewer parameters is taken.
_SAME_AICC = 1e-6
_TINY = float(np.finfo(np.float64).tiny)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Form:
    """A model as a search sees it.

    Attributes:
        free: Which of yield stress (0), consistency (1) and index (2) are sought.
        power: τ to this power is linear in yield stress and consistency to the same.
    """

    free: tuple[int, ...]
    power: float = 1.0

    def full(self, x: FloatArray) -> tuple[float, float, float]:
        """Give all three parameters, from those that are free."""
        filled = [0.0, 1.0, 1.0]
        for place, value in zip(self.free, x, strict=True):
            filled[place] = float(value)
        return (filled[0], filled[1], filled[2])

    def searched(self, x: FloatArray, unit: float) -> FloatArray:
        """Give what is searched: (τ0 / unit)^power, where slopes stay finite at 0, ln K, n."""
        tau0, consistency, index = self.full(x)
        every = ((tau0 / unit) ** self.power, math.log(consistency), index)
        return np.array([every[i] for i in self.free])

    def lab(self, z: FloatArray, unit: float) -> FloatArray:
        """Turn what is searched back into τ0 (Pa), K and n."""
        first, second, third = self.full(z)
        every = (unit * first ** (1.0 / self.power), math.exp(second), third)
        return np.array([every[i] for i in self.free])

    def lab_slopes(self, x: FloatArray, unit: float) -> FloatArray:
        """Give d(lab) / d(searched) by parameter, at lab parameters."""
        p = self.power
        tau0, consistency, _ = self.full(x)
        every = (max(tau0, _TINY) ** (1.0 - p) * unit**p / p, consistency, 1.0)
        return np.array([every[i] for i in self.free])


_FORMS: dict[FlowModel, _Form] = {
    "power law": _Form(free=(1, 2)),
    "Bingham": _Form(free=(0, 1)),
    "Casson": _Form(free=(0, 1), power=0.5),
    "Herschel-Bulkley": _Form(free=(0, 1, 2)),
}


def fit_flow_curve(
    rate: FloatArray, stress: FloatArray, model: FlowModel, *, errors: Errors = "relative"
) -> FlowFit:
    """Fit one model to a flow curve.

    Args:
        rate: Shear rate, 1/s, shape (n,), above 0.
        stress: Shear stress, Pa, shape (n,), above 0.
        model: The model.
        errors: `relative` fits ln τ, `even` fits τ.

    Returns:
        The least-squares fit. A yield stress that would be negative is 0, and that is said.

    Raises:
        ResultsError: Fewer than five different shear rates, or rates or stresses that are not
            above 0.

    Source:
        Models as `flow_stress`; at least five rates: common practice, no source.
    """
    _check(rate, stress)
    form = _FORMS[model]
    best = _search(model, form, (rate, stress), errors)
    negative = False
    if 0 in form.free:
        bare = _Form(free=form.free[1:], power=form.power)
        reduced = _search(model, bare, (rate, stress), errors)
        # At a yield stress of 0 the bounded search has nothing left to gain.
        nothing = best.parameters[0] <= _NOTHING * float(stress.min())
        if nothing or reduced.sum_of_squares <= best.sum_of_squares * (1.0 + 1e-12):
            form, best, negative = bare, reduced, True
    return _told(model, form, best, (rate, stress), errors, negative)


def best_flow_fit(
    rate: FloatArray,
    stress: FloatArray,
    models: Sequence[FlowModel] = FLOW_MODELS,
    *,
    errors: Errors = "relative",
) -> FlowFit:
    """Fit several models and keep the best.

    Args:
        rate: Shear rate, 1/s, shape (n,).
        stress: Shear stress, Pa, shape (n,).
        models: The models to choose from.
        errors: As in `fit_flow_curve`.

    Returns:
        The fit of least AICc; of two as good, the one with fewer parameters.

    Raises:
        ResultsError: As `fit_flow_curve`.

    Source:
        Hurvich & Tsai (1989), Biometrika 76, 297-307; from memory.
    """
    fits = [fit_flow_curve(rate, stress, model, errors=errors) for model in models]
    least = min(fit.aicc for fit in fits)
    close = [fit for fit in fits if fit.aicc <= least + _SAME_AICC]
    return min(close, key=lambda fit: len(_FORMS[fit.model].free))


def _check(rate: FloatArray, stress: FloatArray) -> None:
    if np.any(rate <= 0.0) or np.any(stress <= 0.0) or not np.all(np.isfinite(rate * stress)):
        raise ResultsError(
            "a flow curve holds a shear rate or stress that is not above 0",
            do="Leave such points out of the file: they are below what the instrument can tell.",
        )
    if len(np.unique(rate)) < FEWEST_RATES:
        raise ResultsError(
            f"the flow curve has {len(np.unique(rate))} shear rates",
            allowed=f"at least {FEWEST_RATES}",
            do="Measure it at more shear rates, spread evenly on a log scale.",
        )


def _search(
    model: FlowModel, form: _Form, curve: tuple[FloatArray, FloatArray], errors: Errors
) -> Optimum:
    """Search from the best start; consistency is sought in logs, as it spans decades."""
    rate, stress = curve
    unit = float(stress.min())
    residuals, slopes = _problem(model, form, curve, errors)
    least, most = _consistency_ends(form, rate, stress)
    lowest, highest = (0.0, least, _INDEX_ENDS[0]), (np.inf, most, _INDEX_ENDS[1])
    start = form.searched(_start(form, rate, stress, errors), unit)
    if 0 in form.free:
        start[0] = max(start[0], 1e-3)  # strictly inside, where the search can move
    at = form.free.index(1)
    start[at] = min(max(start[at], least + 1.0), most - 1.0)
    found = minimise_squares(
        lambda z: residuals(form.lab(z, unit)),
        lambda z: slopes(form.lab(z, unit)) * form.lab_slopes(form.lab(z, unit), unit),
        start,
        lower=np.array([lowest[i] for i in form.free]),
        upper=np.array([highest[i] for i in form.free]),
    )
    x = form.lab(found.parameters, unit)
    turn = np.diag(form.lab_slopes(x, unit))
    return Optimum(
        parameters=x,
        covariance=turn @ found.covariance @ turn,
        sum_of_squares=found.sum_of_squares,
        df=found.df,
    )


def _consistency_ends(form: _Form, rate: FloatArray, stress: FloatArray) -> tuple[float, float]:
    """Give the ends of ln K: beyond them K γ̇^n is nothing, or all too much, at every rate."""
    n = _INDEX_ENDS[1] if 2 in form.free else 1.0
    least = math.log(_NOTHING * stress.min()) - n * max(0.0, math.log(rate.max()))
    most = math.log(stress.max() / _NOTHING) + n * max(0.0, -math.log(rate.min()))
    return least, most


def _start(form: _Form, rate: FloatArray, stress: FloatArray, errors: Errors) -> FloatArray:
    """Start from the best of a grid of indices: for each, τ^p = a + b γ̇^(np) is linear."""
    p = form.power
    weight = stress**-p if errors == "relative" else np.ones_like(stress)
    tried: list[tuple[float, tuple[float, float, float]]] = []
    for n in _STARTS if 2 in form.free else (1.0,):
        columns = [rate ** (n * p)] if 0 not in form.free else [np.ones_like(rate), rate ** (n * p)]
        X = np.column_stack(columns) * weight[:, None]
        size = np.linalg.norm(X, axis=0)
        found, distance = nnls(X / size, stress**p * weight)
        found = found / size
        a = float(found[0]) if 0 in form.free else 0.0
        b = max(float(found[-1]), 1e-12 * float((stress**p / rate ** (n * p)).min()))
        tried.append((float(distance), (a ** (1 / p), b ** (1 / p), float(n))))
    best = min(tried, key=lambda one: one[0])[1]
    return np.array([best[i] for i in form.free])


def _problem(
    model: FlowModel, form: _Form, curve: tuple[FloatArray, FloatArray], errors: Errors
) -> tuple[Callable[[FloatArray], FloatArray], Callable[[FloatArray], FloatArray]]:
    rate, stress = curve

    def residuals(x: FloatArray) -> FloatArray:
        fitted = flow_stress(model, rate, form.full(x))
        gap: FloatArray = np.log(fitted / stress) if errors == "relative" else fitted - stress
        return gap

    def slopes(x: FloatArray) -> FloatArray:
        full = form.full(x)
        J = _stress_slopes(model, rate, full)[:, list(form.free)]
        divided: FloatArray = J / flow_stress(model, rate, full)[:, None]
        return divided if errors == "relative" else J

    return residuals, slopes


def _stress_slopes(
    model: FlowModel, rate: FloatArray, parameters: tuple[float, float, float]
) -> FloatArray:
    """Give the derivatives of stress by yield stress, consistency and index, shape (n, 3)."""
    yield_stress, consistency, index = parameters
    if model == "Casson":
        # τ = τ0 + 2 √(τ0 η γ̇) + η γ̇; at τ0 = 0 the slope by it has no end, and it is not free.
        root = np.sqrt(consistency * rate)
        s = math.sqrt(max(yield_stress, _TINY))
        by_yield = 1.0 + root / s
        by_consistency = rate + s * np.sqrt(rate / consistency)
        return np.column_stack([by_yield, by_consistency, np.zeros_like(rate)])
    powered = rate**index
    by_index = consistency * powered * np.log(rate)
    return np.column_stack([np.ones_like(rate), powered, by_index])


def _told(
    model: FlowModel,
    form: _Form,
    best: Optimum,
    curve: tuple[FloatArray, FloatArray],
    errors: Errors,
    negative: bool,
) -> FlowFit:
    rate, stress = curve
    tau0, consistency, index = form.full(best.parameters)
    error = dict(zip(form.free, best.standard_errors, strict=True))
    n = len(rate)
    return FlowFit(
        model=model,
        yield_stress=tau0,
        consistency=consistency,
        index=index,
        yield_error=float(error.get(0, math.nan)),
        consistency_error=float(error.get(1, math.nan)),
        index_error=float(error.get(2, math.nan)),
        yield_was_negative=negative,
        errors=errors,
        residual_sd=math.sqrt(best.sum_of_squares / best.df),
        df=best.df,
        aicc=_aicc(best, n, 1.0 if errors == "relative" else float(np.mean(stress))),
        n_rates=n,
        lowest_rate=float(rate.min()),
        highest_rate=float(rate.max()),
    )


def _aicc(best: Optimum, n: int, scale: float) -> float:
    # AICc = n ln(SS/n) + 2k + 2k(k + 1)/(n − k − 1), with the scatter counted in k.
    k = len(best.parameters) + 1
    if n - k - 1 < 1:
        return math.inf
    spread = max(best.sum_of_squares / n, (_FLOOR * scale) ** 2)
    return n * math.log(spread) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
