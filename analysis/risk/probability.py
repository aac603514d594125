"""The probability that one future production batch meets every limit, with its own error.

Valid if the form of the model is right.

Source:
    DESIGN.md, section 5, "Risk"; Peterson (2004), Journal of Quality Technology 36, 139-153, for
    the posterior predictive probability; see `analysis.risk.posterior`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.risk.contributions import Contribution, contributions, drawn_variance
from analysis.risk.draws import DrawPlan, Estimate, estimate_of, normal_blocks
from analysis.risk.model import Outcome, RiskModel
from analysis.risk.risk_findings import risk_findings
from analysis.risk.transmitted import Transmitted, transmitted_variance
from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray

_LARGEST = 1e300


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseRisk:
    """One response with a limit, response unit.

    Attributes:
        response: Name.
        unit: Its unit; `probability` for a rating.
        limits: Its limits in words.
        expected: The middle one of production batches, tested; of a rating its true probability.
        production_interval: Where tested values lie, at `level`.
        true_interval: Where the batches' own values lie.
        probability: That a tested value meets the limits.
        probability_true: That the batch's own does.
        room: From `expected` to the nearest limit; negative beyond it.
        production_sd: Half the width of the interval that holds 68 % of tested values.
        transmitted_sd: Standard deviation of a tested value by formula.
        drawn_sd: The same by draws, variance components at their estimates.
    """

    response: str
    unit: str
    limits: tuple[str, ...]
    expected: float
    production_interval: tuple[float, float]
    true_interval: tuple[float, float]
    probability: Estimate
    probability_true: Estimate
    room: float
    production_sd: float
    transmitted_sd: float
    drawn_sd: float

    @property
    def room_in_sd(self) -> float | None:
        """The room in standard deviations of production; None where nothing scatters."""
        return self.room / self.production_sd if self.production_sd > 0.0 else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Risk:
    """What the team should know of one recipe in production.

    Attributes:
        nominal: What is set, shape (k,), lab units; NaN for noise factors and what is lacking.
        probability: That one batch gives tested values within every limit.
        probability_true: That its own values, day and batch error in them, lie within.
        product: Product of the responses' own probabilities, as if they did not go together.
        per_response: Response by response.
        contributions: Sources, the one whose removal would help most first.
        transmitted: Variance by formula.
        outside: Part of the batches whose settings lie beyond the ranges that were tried.
        left_out: Why other responses do not count.
        plan: The draws.
        level: Of the intervals, 0..1.
        findings: What else to know.
    """

    nominal: FloatArray
    probability: Estimate
    probability_true: Estimate
    product: float
    per_response: tuple[ResponseRisk, ...]
    contributions: tuple[Contribution, ...]
    transmitted: tuple[Transmitted, ...]
    outside: float
    left_out: Mapping[str, str]
    plan: DrawPlan
    level: float
    findings: tuple[Finding, ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """All draws of one recipe.

    Attributes:
        tested: Shape (n, m), response units.
        true: Shape (n, m).
        outside: Part of the draws beyond the ranges.
        cut: Part that is cut at zero, by scatter source, shape (d,).
        scramblings: How many equal parts the rows fall into.
    """

    tested: FloatArray
    true: FloatArray
    outside: float
    cut: FloatArray
    scramblings: int

    def estimate(self, met: BoolArray) -> Estimate:
        """Average what was met, shape (n,)."""
        by_scrambling = met.reshape(self.scramblings, -1).mean(axis=1)
        return estimate_of(by_scrambling, len(met))


def assess_risk(
    model: RiskModel, nominal: FloatArray, plan: DrawPlan | None = None, *, level: float = 0.95
) -> Risk:
    """Find the risk of one recipe.

    Args:
        model: Of the study; see `make_risk_model`.
        nominal: What is set, shape (k,), lab units; entries of noise factors are not looked at.
        plan: How many draws and by which seed.
        level: Of the intervals, 0..1.

    Returns:
        Tested: as the laboratory will read it, repeats as planned. True: the batch's own value,
        with the error of its day (and other blocks) and of its batch, without what drawing a
        sample, drawing down and reading add.
    """
    plan = plan or DrawPlan()
    drawn = draw_batches(model, nominal, plan)
    tested, true = model.met(drawn.tested), model.met(drawn.true)
    transmitted = transmitted_variance(model, nominal)
    spread = drawn_variance(model, nominal, plan)
    per_response = tuple(
        _response_risk(model, drawn, j, level, transmitted[j].sd, float(spread.variance[j]) ** 0.5)
        for j in range(len(model.names))
    )
    ranked = contributions(model, nominal, plan, transmitted, spread)
    return Risk(
        nominal=nominal,
        probability=drawn.estimate(np.asarray(tested.all(axis=1))),
        probability_true=drawn.estimate(np.asarray(true.all(axis=1))),
        product=float(np.prod([one.probability.value for one in per_response])),
        per_response=per_response,
        contributions=ranked,
        transmitted=transmitted,
        outside=drawn.outside,
        left_out=model.left_out,
        plan=plan,
        level=level,
        findings=(*_middle_misses(per_response), *risk_findings(model, drawn.outside, drawn.cut)),
    )


def probability_at(model: RiskModel, nominal: FloatArray, z: FloatArray) -> tuple[float, float]:
    """Give the joint probability of tested and of true values at one recipe, by given draws.

    The quick way for searches: the same draws at every recipe make differences smooth.

    Args:
        model: Of the study.
        nominal: Shape (k,), lab units.
        z: Standard normal draws, shape (n, model.columns).
    """
    found = model.outcome(model.situation(nominal, z), z)
    tested, true = model.met(found.tested), model.met(found.true)
    return float(tested.all(axis=1).mean()), float(true.all(axis=1).mean())


def draw_batches(model: RiskModel, nominal: FloatArray, plan: DrawPlan) -> Drawn:
    """Draw production batches of one recipe, scrambling by scrambling."""
    d = len(model.scatter.sources)
    outcomes: list[Outcome] = []
    outside, cut = [], []
    for z in normal_blocks(plan, model.columns):
        at = model.situation(nominal, z)
        outcomes.append(model.outcome(at, z))
        outside.append(float(model.scatter.outside(at.settings).mean()))
        cut.append(model.scatter.cut(nominal, z[:, :d]))
    return Drawn(
        tested=np.vstack([one.tested for one in outcomes]),
        true=np.vstack([one.true for one in outcomes]),
        outside=float(np.mean(outside)),
        cut=np.mean(cut, axis=0),
        scramblings=plan.scramblings,
    )


def _middle_misses(per_response: Sequence[ResponseRisk]) -> Iterator[Finding]:
    for one in per_response:
        if one.room < 0.0:
            yield Finding(
                level="caution",
                what=f"Even the middle one of these batches misses a limit: {one.response} "
                f"{' and '.join(one.limits)}, expected {one.expected:.4g}.",
                evidence={"room": float(f"{one.room:.4g}")},
                advice="Move the settings: less scatter alone will not bring it within.",
            )


def _response_risk(
    model: RiskModel, drawn: Drawn, j: int, level: float, formula_sd: float, drawn_sd: float
) -> ResponseRisk:
    name = model.names[j]
    limits = [one for one in model.limits if one.response == name]
    parts = model.posterior.parts if model.posterior else ()
    fit = next((part.fit for part in parts if part.name == name), None)
    # A tested rating is in an accepted class or not: its probability says more.
    values = drawn.true if fit is not None and fit.classes is not None else drawn.tested
    expected = _quantiles(values[:, j], 0.0)[0]
    half = float(np.diff(_quantiles(values[:, j], 0.6827))[0]) / 2.0
    room = min(float(one.margin(np.array([expected]))[0]) for one in limits)
    met = [model.met(one)[:, j] for one in (drawn.tested, drawn.true)]
    return ResponseRisk(
        response=name,
        unit=limits[0].unit,
        limits=model.limit_words[name],
        expected=expected,
        production_interval=_quantiles(values[:, j], level),
        true_interval=_quantiles(drawn.true[:, j], level),
        probability=drawn.estimate(met[0]),
        probability_true=drawn.estimate(met[1]),
        room=room,
        production_sd=half,
        transmitted_sd=formula_sd,
        drawn_sd=drawn_sd,
    )


def _quantiles(values: FloatArray, level: float) -> tuple[float, float]:
    # Some recipes cannot be made at all; far out a logarithm has no number for what it stands for.
    known = np.clip(values[~np.isnan(values)], -_LARGEST, _LARGEST)
    if not len(known):
        return float("nan"), float("nan")
    low, high = np.quantile(known, [0.5 - level / 2.0, 0.5 + level / 2.0])
    return float(low), float(high)
