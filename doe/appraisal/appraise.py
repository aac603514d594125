"""What a plan can and cannot tell about one model, before any laboratory work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doe.appraisal.aliases import alias_table, next_order
from doe.appraisal.contrasts import cox_contrast, effect_patterns
from doe.appraisal.power import f_power
from doe.appraisal.precision import (
    Information,
    information_of,
    pure_error_df,
    region_variance,
)
from doe.appraisal.two_level import found_words, relation_in_words
from doe.model.coding import ChoiceAxis, NumericAxis, code
from doe.model.column import Column, column_label, model_columns
from doe.model.information import condition_of, vif
from doe.model.matrix import model_matrix
from doe.model.region import Region
from doe.model.terms import INTERCEPT, Model, Term, is_blend, term_label
from doe.study.finding import Finding
from doe.study.plan import Plan
from doe.study.settings import FloatArray, IntArray

# Effect looked for where the brief names none, in standard deviations of a run.
DEFAULT_EFFECT = 2.0
# Fewer degrees of freedom leave the error itself badly known: t is 2.78 at 4, 3.18 at 3.
LEAST_DF = 4
# Power usually asked for (Cohen 1988, section 2.4).
WANTED_POWER = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """The effect that a plan should show.

    Attributes:
        effect: Change of the response between the ends of a range, on the fitted scale.
        sd: Standard deviation of a run, on the same scale.
        alpha: Chance of a false alarm.
    """

    effect: float = DEFAULT_EFFECT
    sd: float = 1.0
    alpha: float = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class TermAppraisal:
    """What a plan tells about one term.

    Attributes:
        term: Label of the term.
        std_error: Largest standard error among its coefficients; None where not estimable.
        power: Chance that the effect shows; None where it can't be tested.
    """

    term: str
    std_error: float | None
    power: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Appraisal:
    """A plan held against one model; the fields of the output contract and a few more.

    Attributes:
        runs: Runs of the plan, controls left out.
        batches: Mill batches of these runs.
        model: Name of the model.
        parameters: Its coefficients.
        d_efficiency: |X'X|^(1/p) / n; 0 where the model can't be estimated.
        average_prediction_variance: Over the region, in error variances; None if not estimable.
        max_prediction_variance: The largest in the region.
        residual_df: Degrees of freedom of the error by stratum.
        pure_error_df: Those from runs with equal settings.
        lack_of_fit_df: The rest of them.
        terms: One entry a term.
        aliases: Sentences: which terms are mixed up with which of the next order.
        resolution: Of a two-level fraction, None for other plans.
        defining_relation: Its words, with factor names.
        condition: Condition number of the model matrix.
        vif: Variance inflation by column; None for a column that has none.
        sought: The effect behind the powers.
        findings: What the reader ought to know.
    """

    runs: int
    batches: int
    model: str
    parameters: int
    d_efficiency: float
    average_prediction_variance: float | None
    max_prediction_variance: float | None
    residual_df: Mapping[str, int]
    pure_error_df: int
    lack_of_fit_df: int
    terms: tuple[TermAppraisal, ...]
    aliases: tuple[str, ...]
    resolution: int | None
    defining_relation: tuple[str, ...]
    condition: float
    vif: Mapping[str, float | None]
    sought: Sought
    findings: tuple[Finding, ...]


def appraise_plan(
    plan: Plan | FloatArray,
    region: Region,
    model: Model,
    *,
    sought: Sought | None = None,
    blocks: IntArray | None = None,
    rng: np.random.Generator | None = None,
) -> Appraisal:
    """Tell what a plan can and cannot tell about a model.

    Args:
        plan: A plan (its controls are left out), or settings of shape (n, k) in lab units.
        region: All settings of the brief.
        model: The model.
        sought: The effect that the plan should show; two standard deviations without it.
        blocks: Fixed block of each run that counts, shape (n,).
        rng: Source of the sample of the region; seed 0 without it.
    """
    values, batches = _runs_of(plan)
    wanted = sought or Sought()
    X = model_matrix(values, region.coding, model)
    columns = model_columns(model, region.coding)
    information = information_of(X, blocks)
    average: float | None = None
    largest: float | None = None
    if all(information.estimable):
        average, largest = region_variance(
            information.covariance, region, model, rng or np.random.default_rng(0)
        )
    beyond = next_order(model, region.coding)
    X_next = model_matrix(values, region.coding, beyond)
    words, relation = _two_level_words(values, region)
    pure = min(pure_error_df(values), information.residual_df)
    _, condition = condition_of(values, region.coding, model)
    terms = _terms(model, columns, information, region, wanted)
    return Appraisal(
        runs=len(values),
        batches=batches,
        model=model.name,
        parameters=X.shape[1],
        d_efficiency=information.d_efficiency,
        average_prediction_variance=average,
        max_prediction_variance=largest,
        residual_df={"residual": information.residual_df},
        pure_error_df=pure,
        lack_of_fit_df=information.residual_df - pure,
        terms=terms,
        aliases=tuple(
            alias.sentence()
            for alias in alias_table(X, columns, X_next, model_columns(beyond, region.coding))
        ),
        resolution=min((word.bit_count() for word in words), default=None),
        defining_relation=relation,
        condition=condition,
        vif=_inflation(values, region, model),
        sought=wanted,
        findings=_findings(information, pure, terms, columns),
    )


def _runs_of(plan: Plan | FloatArray) -> tuple[FloatArray, int]:
    if not isinstance(plan, Plan):
        return np.asarray(plan, dtype=np.float64), len(plan)
    kept = [i for i, kind in enumerate(plan.kind) if kind != "control"]
    batches = {plan.batch[i] if plan.batch[i] is not None else -1 - i for i in kept}
    return plan.settings.take(np.array(kept, dtype=np.int64)).values, len(batches)


def _terms(
    model: Model,
    columns: Sequence[Column],
    information: Information,
    region: Region,
    sought: Sought,
) -> tuple[TermAppraisal, ...]:
    entries = []
    for term in model.terms:
        own = [j for j, column in enumerate(columns) if column.term == term]
        known = all(information.estimable[j] for j in own)
        error = float(np.sqrt(np.diag(information.covariance)[own].max())) * sought.sd
        power = None
        if known and term != INTERCEPT and information.residual_df > 0:
            power = _power(term, columns, information, region, sought)
        entries.append(
            TermAppraisal(term=term_label(term), std_error=error if known else None, power=power)
        )
    return tuple(entries)


def _power(
    term: Term,
    columns: Sequence[Column],
    information: Information,
    region: Region,
    sought: Sought,
) -> float | None:
    """Give the power for the least favourable form of an effect of a term."""
    ratio = (sought.effect / sought.sd) ** 2
    df = information.residual_df
    if is_blend(region.coding) and _moves_along_cox(term, region):
        contrast = cox_contrast(term, columns, region)
        variance = float(contrast @ information.covariance @ contrast)
        return f_power(ratio / variance, 1, df, sought.alpha) if variance > 0 else None
    own = [j for j, column in enumerate(columns) if column.term == term]
    precision = np.linalg.inv(information.covariance[np.ix_(own, own)])
    worst = min(
        float(pattern @ precision @ pattern)
        for pattern in effect_patterns(term, columns, region)
        if np.any(pattern != 0)
    )
    return f_power(ratio * worst, len(own), df, sought.alpha)


def _moves_along_cox(term: Term, region: Region) -> bool:
    """Tell a linear blending term, alone or times factors, from products of shares."""
    shares = {axis.name for axis in region.coding.shares}
    return sum(1 for name, _ in term.powers if name in shares) == 1


def _two_level_words(values: FloatArray, region: Region) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Find the defining relation where all factors stand at two levels (and perhaps a centre)."""
    coding = region.coding
    if is_blend(coding) or np.isnan(values).any():
        return (), ()
    coded = code(values, coding)
    columns = []
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            if len(axis.levels) != 2:
                return (), ()
            columns.append(1.0 - 2.0 * coded[:, j])
        elif isinstance(axis, NumericAxis):
            columns.append(np.round(coded[:, j], 9))
    signs = np.column_stack(columns)
    numeric = [isinstance(axis, NumericAxis) for axis in coding.factors]
    at_ends = np.abs(signs[:, numeric]) == 1.0
    core = signs[at_ends.all(axis=1)]
    rest = signs[~at_ends.all(axis=1)][:, numeric]
    if not len(core) or np.any(rest != 0.0):
        return (), ()
    words = found_words(core)
    return words, tuple(relation_in_words(words, [axis.name for axis in coding.factors]))


def _inflation(values: FloatArray, region: Region, model: Model) -> dict[str, float | None]:
    columns = model_columns(model, region.coding)
    found = np.asarray(vif(values, region.coding, model), dtype=np.float64)
    return {
        column_label(column): None if np.isnan(value) else float(value)
        for column, value in zip(columns, found, strict=True)
    }


def _findings(
    information: Information,
    pure: int,
    terms: Sequence[TermAppraisal],
    columns: Sequence[Column],
) -> tuple[Finding, ...]:
    found = []
    lost = [
        column_label(column)
        for column, known in zip(columns, information.estimable, strict=True)
        if not known
    ]
    if lost:
        found.append(
            Finding(
                level="stop",
                what=f"The runs can't tell apart: {', '.join(lost)}.",
                evidence={"coefficients not told apart": len(lost)},
                advice="Take a smaller model or add runs.",
            )
        )
    if information.residual_df < LEAST_DF:
        found.append(
            Finding(
                level="caution",
                what=f"{information.residual_df} degrees of freedom are left for the error: "
                "standard errors will be badly known.",
                evidence={"residual df": information.residual_df},
                advice="Add runs, or plan for a smaller model.",
            )
        )
    if pure == 0:
        found.append(
            Finding(
                level="note",
                what="No settings are run twice: lack of fit can't be tested.",
                advice="Ask for centre runs or replicates.",
            )
        )
    weak = [entry.term for entry in terms if entry.power is not None and entry.power < WANTED_POWER]
    if weak:
        found.append(
            Finding(
                level="note",
                what=f"An effect of this size may be missed in {', '.join(weak)}.",
                evidence={"terms with power below": WANTED_POWER},
                source="Cohen (1988), Statistical Power Analysis, 2nd ed., section 2.4",
            )
        )
    return tuple(found)
