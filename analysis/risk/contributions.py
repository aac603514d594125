"""Which source contributes most: to the scatter of each response, and to the risk.

By formula a source has its part of the transmitted variance. By draws it has the variance that it
explains alone (first order) and that in which it takes part (total), components held at their
estimates, as variances drawn on few degrees of freedom have no finite mean. What matters in the
end is the risk that would go if the source were not there: the same draws without it.

Source:
    Saltelli and others (2010), Computer Physics Communications 181, 259-270, estimators after
    Jansen (1999) of its table 2, from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.risk.draws import DrawPlan, Estimate, estimate_of, normal_blocks
from analysis.risk.model import Outcome, RiskModel, RiskSource
from analysis.risk.scatter import SCATTERS
from analysis.risk.transmitted import Transmitted
from doe.study.settings import FloatArray

# Variance shares settle with fewer draws than a small probability does.
DRAWS_OF_SHARES = 16_384
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceShare:
    """Part of a response's variance that comes from one source, 0..1.

    Attributes:
        by_formula: To first order.
        alone: Drawn: what the source explains by itself.
        in_all: Drawn: what it takes part in.
    """

    by_formula: float
    alone: float
    in_all: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One source.

    Attributes:
        source: Its name.
        kind: See `RiskSource`.
        shares: By response.
        probability_without: Joint probability of tested values if the source were not there.
        gain: That less the probability as it is.
        by_response: The gain of each response alone.
    """

    source: str
    kind: str
    shares: Mapping[str, VarianceShare]
    probability_without: float
    gain: Estimate
    by_response: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnVariance:
    """Variances by draws, components at their estimates.

    Attributes:
        variance: Shape (m,), of tested values, response units squared.
        alone: Shape (s, m), first-order parts.
        in_all: Shape (s, m), total parts.
    """

    variance: FloatArray
    alone: FloatArray
    in_all: FloatArray


def contributions(
    model: RiskModel,
    nominal: FloatArray,
    plan: DrawPlan,
    transmitted: Sequence[Transmitted],
    drawn: DrawnVariance,
) -> tuple[Contribution, ...]:
    """Rank the sources by the risk that would go without them.

    Args:
        model: Of the study.
        nominal: What is set, shape (k,), lab units.
        plan: The draws; those of the probability itself, so that the two can be compared.
        transmitted: By formula, in the model's order.
        drawn: By draws.
    """
    sources = model.sources
    gains = _gains(model, nominal, plan, sources)
    by_formula = [one.shares() for one in transmitted]
    found = []
    for i, source in enumerate(sources):
        joint = gains.joint[:, i] - gains.joint[:, -1]
        found.append(
            Contribution(
                source=source.name,
                kind=source.kind,
                shares={
                    name: VarianceShare(
                        by_formula=by_formula[j].get(source.name, 0.0),
                        alone=float(drawn.alone[i, j]),
                        in_all=float(drawn.in_all[i, j]),
                    )
                    for j, name in enumerate(model.names)
                },
                probability_without=float(gains.joint[:, i].mean()),
                gain=estimate_of(joint, plan.n),
                by_response={
                    name: float((gains.single[:, i, j] - gains.single[:, -1, j]).mean())
                    for j, name in enumerate(model.names)
                },
            )
        )
    return tuple(sorted(found, key=lambda one: -one.gain.value))


def drawn_variance(model: RiskModel, nominal: FloatArray, plan: DrawPlan) -> DrawnVariance:
    """Part the variance of tested values among the sources, by draws.

    Ratings enter by their probability, which the test does not move.
    """
    D, sources = model.columns, model.sources
    size, m = len(sources), len(model.names)
    total, alone, in_all = np.zeros(m), np.zeros((size, m)), np.zeros((size, m))
    for block in normal_blocks(plan.fewer(DRAWS_OF_SHARES), 2 * D):
        A, B = block[:, :D], block[:, D:]
        of_a, of_b = _certain(model, nominal, A), _certain(model, nominal, B)
        both = np.vstack([of_a, of_b])
        mean = mean_of_known(both)
        spread = mean_of_known((both - mean) ** 2)
        # What rounding leaves of nothing is nothing.
        total += np.where(spread > (_ROUNDING * mean) ** 2, spread, 0.0)
        for i, source in enumerate(sources):
            mixed = A.copy()
            mixed[:, list(source.columns)] = B[:, list(source.columns)]
            of_mixed = _certain(model, nominal, mixed)
            alone[i] += mean_of_known((of_b - of_mixed) ** 2) / 2.0
            in_all[i] += mean_of_known((of_a - of_mixed) ** 2) / 2.0
    safe = np.where(total > 0.0, total, 1.0)
    has_any = total > 0.0
    return DrawnVariance(
        variance=total / plan.scramblings,
        alone=np.where(has_any, np.clip(1.0 - alone / safe, 0.0, 1.0), 0.0),
        in_all=np.where(has_any, np.clip(in_all / safe, 0.0, 1.0), 0.0),
    )


def mean_of_known(values: FloatArray) -> FloatArray:
    """Average the finite ones of each column, (n, m) to (m,); 0 where there are none."""
    known = np.isfinite(values)
    total = np.where(known, values, 0.0).sum(axis=0)
    mean: FloatArray = total / np.maximum(known.sum(axis=0), 1)
    return mean


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Gains:
    """Probabilities by scrambling without each source, as they are last."""

    joint: FloatArray
    single: FloatArray


def _gains(
    model: RiskModel, nominal: FloatArray, plan: DrawPlan, sources: Sequence[RiskSource]
) -> _Gains:
    joint, single = [], []
    for z in normal_blocks(plan, model.columns):
        met = [model.met(one.tested) for one in _each_without(model, nominal, z, sources)]
        joint.append([float(one.all(axis=1).mean()) for one in met])
        single.append([one.mean(axis=0) for one in met])
    return _Gains(joint=np.array(joint), single=np.array(single))


def _each_without(
    model: RiskModel, nominal: FloatArray, z: FloatArray, sources: Sequence[RiskSource]
) -> list[Outcome]:
    """Give what batches are without each source, and with all of them last."""
    as_is = model.situation(nominal, z)
    found = []
    for source in sources:
        if source.kind in SCATTERS:
            less = z.copy()
            less[:, list(source.columns)] = 0.0
            found.append(model.outcome(model.situation(nominal, less), less))
        else:
            found.append(model.outcome(as_is, z, without=(source.kind,)))
    return [*found, model.outcome(as_is, z)]


def _certain(model: RiskModel, nominal: FloatArray, z: FloatArray) -> FloatArray:
    """Give tested values with all components at their estimates; probabilities of ratings."""
    found = model.outcome(model.situation(nominal, z), z, certain=True)
    if model.posterior is None:
        return found.tested
    rated = [part.name for part in model.posterior.parts if part.fit.classes is not None]
    is_rated = np.array([name in rated for name in model.names])
    return np.where(is_rated, found.true, found.tested)
