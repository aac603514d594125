"""Freeze what is foretold of a round of confirmation batches, and the rule it is judged by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.agreement.basis import ConfirmBasis
from analysis.agreement.confirmation_size import ConfirmSize, SizeAsked, size_of
from analysis.agreement.mean_prediction import mean_interval, predict_mean, t_times
from analysis.agreement.round_draws import bonferroni, draw_rounds
from analysis.agreement.units import RoundUnits
from analysis.fits.fit import Fit, Scale
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.scales import inverse
from analysis.surface.acceptance import AcceptLimit
from doe.model.matrix import model_matrix
from doe.model.strata import RESIDUAL
from doe.study.brief import Response
from doe.study.confirmation import (
    FrozenControl,
    FrozenResponse,
    FrozenRule,
    FrozenScale,
    SharedBy,
)
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Foretold:
    """What a round is held against.

    Attributes:
        responses: What is foretold, response by response.
        rule: When it passes.
        size: What the round tells; None where no response is judged by an interval.
    """

    responses: tuple[FrozenResponse, ...]
    rule: FrozenRule
    size: ConfirmSize | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundAsked:
    """The round that is planned.

    Attributes:
        row: Settings, shape (k,), lab units.
        units: Its values.
        size: Level, seed, effects that must be found out.
        plant: Whether it is made in the plant: then limits alone decide, and the intervals are
            those of the laboratory's models, to tell the offset by.
    """

    row: FloatArray
    units: RoundUnits
    size: SizeAsked
    plant: bool = False


def foretell(
    basis: ConfirmBasis,
    asked: RoundAsked,
    responses: Sequence[Response],
    limits: Sequence[AcceptLimit],
    fitted: Mapping[str, FittedResponse],
) -> Foretold:
    """Foretell a round and set its rule.

    Args:
        basis: The models.
        asked: The round.
        responses: Of the brief, in its order.
        limits: Their acceptance limits.
        fitted: Models with their assessments.
    """
    size = None
    if basis.fits:
        drawn = draw_rounds(basis.posterior, asked.row, asked.units, asked.size.seed)
        size = size_of(basis, asked.row, drawn, limits, asked.size)
    each = size.each_level if size is not None else asked.size.level
    frozen = [
        _frozen(basis, asked, response, fitted[response.name], each)
        for response in responses
        if response.name in fitted
    ]
    return Foretold(
        responses=tuple(frozen), rule=_rule(basis, asked, each, frozen), size=size
    )  # fmt: skip


def scale_of(frozen: FrozenScale) -> Scale:
    """Give the scale as the fits know it."""
    return Scale(name=frozen.name, power=frozen.power, bounds=frozen.bounds)


def _frozen(
    basis: ConfirmBasis,
    asked: RoundAsked,
    response: Response,
    fitted: FittedResponse,
    each: float,
) -> FrozenResponse:
    fit, name = fitted.fit, response.name
    if fit.classes is not None or fit.counts is not None:
        return _as_read(basis, asked, response, fit)
    share = basis.shared.test_share.get(name)
    told = predict_mean(fit, asked.row, asked.units.read_per(fit.per), share)
    judged = name in basis.fits
    accept = response.accept
    tests = [test.p for test in fitted.assessment.lack_of_fit if test.p is not None]
    centre = np.array([told.centre])
    return FrozenResponse(
        response=name, unit=fit.unit,
        scale=FrozenScale(name=fit.scale.name, power=fit.scale.power, bounds=fit.scale.bounds),
        centre=told.centre, model_variance=told.model_variance, components=told.components,
        test_share=share, model_df=told.model_df if np.isfinite(told.model_df) else None,
        df=told.df if judged and np.isfinite(told.df) else None,
        times=t_times(each, told.df) if judged else None,
        interval=mean_interval(fit, told, each) if judged else None,
        value=float(inverse(fit.scale, centre)[0]), value_is=fit.value_is,
        limits=(accept.at_least, accept.at_most) if accept is not None else (None, None),
        is_judged=judged and not asked.plant, why_not=basis.why_not.get(name, ""),
        effect=asked.size.effects.get(name), lack_of_fit=min(tests) if tests else None,
        controls=_controls(fit),
    )  # fmt: skip


def _as_read(
    basis: ConfirmBasis, asked: RoundAsked, response: Response, fit: Fit
) -> FrozenResponse:
    """Freeze a rating or a count: its batches are held against its limits, class by class."""
    X = model_matrix(asked.row[None, :], fit.coding, fit.model)
    mean = fit.classes.expected(X) if fit.classes else inverse(fit.scale, X @ fit.coefficients)
    value = float(mean[0])
    accept = response.accept
    return FrozenResponse(
        response=response.name, unit=response.unit, scale=FrozenScale(name="identity"),
        centre=value, model_variance=0.0, components={RESIDUAL: 0.0}, df=None, times=None,
        interval=None,
        value=value, value_is="mean",
        limits=(accept.at_least, accept.at_most) if accept is not None else (None, None),
        is_judged=False, why_not=basis.why_not.get(response.name, ""),
    )  # fmt: skip


def _controls(fit: Fit) -> tuple[FrozenControl, ...]:
    return tuple(
        FrozenControl(control=name, mean=mean, std_error=error)
        for name, (mean, error) in fit.control_means.items()
        if np.isfinite(mean) and np.isfinite(error)
    )


def _rule(
    basis: ConfirmBasis, asked: RoundAsked, each: float, frozen: Sequence[FrozenResponse]
) -> FrozenRule:
    level, m = asked.size.level, len(basis.fits)
    shared: SharedBy
    if m == 0:
        shared, words = "none", "No response has an interval: the limits alone decide."
    elif m == 1:
        shared, words = "single", f"The mean lies inside its interval ({level:.0%})."
    else:
        # Draws with uncertain variances may ask for more than Bonferroni's share, which bounds it.
        is_joint = basis.is_covariance_known and each < bonferroni(level, m)
        shared = "joint" if is_joint else "bonferroni"
        how = (
            "as they scatter together" if is_joint
            else "shared alike (Bonferroni), the most that can be needed, as their variances are "
            "uncertain" if basis.is_covariance_known
            else "shared alike (Bonferroni), since the runs do not tell how all of them scatter "
            "together"
        )  # fmt: skip
        words = (
            f"The mean of every response lies inside its interval: {level:.0%} for all of them "
            f"together, {each:.2%} for each, {how}."
        )
    limited = [one.response for one in frozen if one.limits != (None, None)]
    on_limits = (
        f"The tested value of every batch lies within the limits of {', '.join(limited)}."
        if limited
        else "The brief states no limits (`accept`), so none is held against."
    )
    if asked.plant:
        words = "Where the plant's mean lies off what was foretold is told and not judged."
    return FrozenRule(
        level=level, each_level=each, words=(words, on_limits), shared_by=shared
    )  # fmt: skip
