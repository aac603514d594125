"""What a plan can and cannot tell about one model, before any laboratory work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from doe.appraisal.aliases import Alias, next_order
from doe.appraisal.effects import setting_effects
from doe.appraisal.freedom import Freedom, column_strata, freedom_of
from doe.appraisal.information import Ratio, information_of, leverages
from doe.appraisal.intervals import HalfWidth, half_widths
from doe.appraisal.losses import Loss, losses_of
from doe.appraisal.profile import Profile, Terrain, make_terrain, variance_profile
from doe.appraisal.ratios import AtRatio, at_ratios
from doe.appraisal.relations import aliases_of, column_labels, estimate_correlations
from doe.appraisal.runs import PlanRuns
from doe.appraisal.sought import DEFAULT_ALPHA, Sought
from doe.appraisal.told import Judge, Told
from doe.appraisal.two_level import two_level_words
from doe.model.column import column_label
from doe.model.expansion import compile_model
from doe.model.information import condition_of, vif
from doe.model.region import Region
from doe.model.terms import Model
from doe.study.settings import FloatArray, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a plan is held against.

    Attributes:
        sought: The effects it should show, by response.
        alpha: Chance of a false alarm.
        ratio: Variance of each random stratum over the residual variance.
    """

    sought: tuple[Sought, ...] = (Sought(),)
    alpha: float = DEFAULT_ALPHA
    ratio: Ratio = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Appraisal:
    """A plan held against one model.

    Attributes:
        runs: The runs, controls among them.
        model: The model.
        asked: What it was held against.
        labels: Labels of the p coefficients.
        d_efficiency: |X'PX|^(1/p) / n; 0 where the model can't be estimated.
        a_efficiency: p over n trace (X'PX)^-1; 0 likewise.
        profile: Prediction variance over the region; None where the model can't be estimated.
        freedom: Degrees of freedom of the error.
        terms: One entry a term.
        settings: One entry a setting that has an effect in the model.
        leverage: Of each run of the plan, by run number.
        correlations: Of the estimates, shape (p, p).
        aliases: What the estimates take up of terms of the next order.
        beyond: The terms of the next order that were looked at.
        resolution: Of a two-level fraction, None for other plans.
        defining_relation: Its words, with factor names.
        condition: Condition number of the model matrix.
        vif: Variance inflation by coefficient; None for one that has none.
        losses: What is lost with each unit; empty where the model can't be estimated.
        half_widths: How well means are predicted over shares of the region; none where a stratum
            leaves no degree of freedom.
        at_ratios: The plan at other variance ratios; empty without random strata.
        outside: Run numbers whose settings leave the region.
        untold: Labels of the coefficients that the runs can't tell.
    """

    runs: PlanRuns
    model: Model
    asked: Asked
    labels: tuple[str, ...]
    d_efficiency: float
    a_efficiency: float
    profile: Profile | None
    freedom: Freedom
    terms: tuple[Told, ...]
    settings: tuple[Told, ...]
    leverage: Mapping[int, float]
    correlations: FloatArray
    aliases: tuple[Alias, ...]
    beyond: Model
    resolution: int | None
    defining_relation: tuple[str, ...]
    condition: float
    vif: Mapping[str, float | None]
    losses: Mapping[str, tuple[Loss, ...]]
    half_widths: tuple[HalfWidth, ...]
    at_ratios: tuple[AtRatio, ...]
    outside: tuple[int, ...]
    untold: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "correlations", frozen_array(self.correlations))

    @property
    def n_runs(self) -> int:
        """Runs of the plan, controls left out."""
        return int(self.runs.is_design.sum())

    @property
    def parameters(self) -> int:
        """Coefficients of the model."""
        return len(self.labels)

    @property
    def is_estimable(self) -> bool:
        """Whether every coefficient can be told."""
        return not self.untold

    @property
    def g_efficiency(self) -> float:
        """P over n times the largest prediction variance in the region; 0 if not estimable."""
        if self.profile is None:
            return 0.0
        return self.parameters / (self.n_runs * self.profile.largest)


def terrain_of(region: Region, model: Model, seed: int = 0) -> Terrain:
    """Work out the region as a model sees it, once for several plans."""
    return make_terrain(region, compile_model(region.coding, model), seed)


def appraise_runs(
    runs: PlanRuns, model: Model, terrain: Terrain, asked: Asked | None = None
) -> Appraisal:
    """Tell what runs can and cannot tell about a model.

    Args:
        runs: The runs, controls among them.
        model: The model.
        terrain: The region as the model sees it, of `terrain_of`.
        asked: Effects, false alarms and variance ratio.
    """
    wishes = asked or Asked()
    region, values = terrain.region, runs.design_values
    columns = terrain.expansion.columns
    X = terrain.rows(values)
    information = information_of(X, runs, wishes.ratio)
    freedom = freedom_of(X, runs, region.coding)
    judge = Judge(
        information=information, columns=columns, strata=column_strata(X, runs),
        order=tuple(stratum.name for stratum in runs.strata.random), df=freedom.residual,
        region=region, sought=wishes.sought, alpha=wishes.alpha,
    )  # fmt: skip
    beyond = next_order(model, region.coding)
    resolution, relation = two_level_words(values, region)
    full = information.is_full
    profile = variance_profile(information, terrain) if full else None
    return Appraisal(
        runs=runs,
        model=model,
        asked=wishes,
        labels=column_labels(columns),
        d_efficiency=information.d_efficiency,
        a_efficiency=information.a_efficiency,
        profile=profile,
        freedom=freedom,
        terms=judge.terms(model),
        settings=judge.settings(setting_effects(region, terrain.expansion)),
        leverage=_leverage(X, runs, wishes.ratio),
        correlations=estimate_correlations(information, region, model, values),
        aliases=aliases_of(information, columns, beyond, region, values),
        beyond=beyond,
        resolution=resolution,
        defining_relation=relation,
        condition=condition_of(values, region.coding, model)[1],
        vif=_inflation(values, region, model, terrain),
        losses=losses_of(information, runs, terrain) if full else {},
        half_widths=(
            half_widths(information, runs, terrain, freedom, wishes.ratio, profile.worst)
            if profile is not None
            else ()
        ),
        at_ratios=at_ratios(X, runs, terrain, wishes.ratio) if full else (),
        outside=_outside(runs, region),
        untold=tuple(
            column_label(column)
            for column, known in zip(columns, information.estimable, strict=True)
            if not known
        ),
    )


def _leverage(X: FloatArray, runs: PlanRuns, ratio: Ratio) -> dict[int, float]:
    every = leverages(X, runs, ratio).tolist()
    own = zip(runs.run, runs.is_design, every, strict=True)
    return {run: pull for run, is_design, pull in own if is_design}


def _inflation(
    values: FloatArray, region: Region, model: Model, terrain: Terrain
) -> dict[str, float | None]:
    found = np.asarray(vif(values, region.coding, model), dtype=np.float64)
    return {
        column_label(column): None if np.isnan(value) else float(value)
        for column, value in zip(terrain.expansion.columns, found, strict=True)
    }


def _outside(runs: PlanRuns, region: Region) -> tuple[int, ...]:
    inside = np.asarray(region.contains(runs.design_values, 1e-6))
    numbers = [run for run, own in zip(runs.run, runs.is_design, strict=True) if own]
    return tuple(run for run, within in zip(numbers, inside, strict=True) if not within)
