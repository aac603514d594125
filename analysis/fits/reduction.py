"""What a reduced model stands beside: the full one, and those that are nearly as good."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from analysis.fits.assessment import Assessment
from analysis.fits.fit import Fit
from analysis.fits.near_models import NearModel
from doe.model.terms import term_label

# Who left the terms out: one of the ways of `selection`, or somebody by name.
Way = Literal["best", "backward", "p", "choice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelFacts:
    """One model in few numbers; None where a number does not exist.

    Attributes:
        terms: Its terms, as tables show them.
        aicc: Corrected Akaike criterion.
        r2_predicted: Share predicted with each run left out.
        r2_predicted_by_unit: The same with each unit of the coarsest stratum left out whole.
        residual_sd: On the fitted scale.
        residual_df: Its degrees of freedom.
    """

    terms: tuple[str, ...]
    aicc: float | None
    r2_predicted: float | None
    r2_predicted_by_unit: float | None
    residual_sd: float | None
    residual_df: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reduction:
    """A full model and the smaller one that is in use.

    Attributes:
        way: Who left the terms out.
        full_fit: The full model, to choose with as well.
        full: What is known of it.
        reduced: What is known of the one in use.
        dropped: Terms of the full model that the one in use has not.
        near: Models within reach of the lowest AICc, best first; empty where none were looked for.
        seen: How many models were looked at; 0 where none were.
        complete: Whether these were all that hierarchy allows.
    """

    way: Way
    full_fit: Fit
    full: ModelFacts
    reduced: ModelFacts
    dropped: tuple[str, ...]
    near: tuple[NearModel, ...] = ()
    seen: int = 0
    complete: bool = False


def facts_of(fit: Fit, assessment: Assessment) -> ModelFacts:
    """Take from a model what is set beside another one."""
    return ModelFacts(
        terms=tuple(term_label(term) for term in fit.model.terms),
        aicc=assessment.aicc,
        r2_predicted=assessment.r2_predicted,
        r2_predicted_by_unit=assessment.r2_predicted_by_unit,
        residual_sd=assessment.residual_sd,
        residual_df=assessment.residual_df,
    )


def beside(
    full: tuple[Fit, Assessment],
    reduced: tuple[Fit, Assessment],
    *,
    way: Way,
    near: tuple[NearModel, ...] = (),
    seen: int = 0,
    complete: bool = False,
) -> Reduction:
    """Set a reduced model beside its full one."""
    before, after = facts_of(*full), facts_of(*reduced)
    return Reduction(
        way=way,
        full_fit=full[0],
        full=before,
        reduced=after,
        dropped=tuple(term for term in before.terms if term not in after.terms),
        near=near,
        seen=seen,
        complete=complete,
    )


def behind(whole: Reduction, reduced: Reduction) -> Reduction:
    """Set a model, reduced twice, beside the first of the three."""
    kept = reduced.reduced.terms
    return replace(
        reduced,
        full_fit=whole.full_fit,
        full=whole.full,
        dropped=tuple(term for term in whole.full.terms if term not in kept),
    )
