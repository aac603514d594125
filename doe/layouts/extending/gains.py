"""What a round buys: prediction variance, degrees of freedom and terms, before and after.

Both are judged as an appraisal judges a plan: fixed blocks sum to zero, so that the prediction is
that of their mean, and controls, which add nothing to the surface, give degrees of freedom.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from doe.appraisal.freedom import freedom_of
from doe.appraisal.information import Information, information_of
from doe.appraisal.losses import GONE_IN_EFFECT
from doe.appraisal.runs import PlanRuns
from doe.layouts.extending.measure import Yardstick, n_links
from doe.model.coding import Coding
from doe.model.column import column_label, model_columns
from doe.model.matrix import model_matrix
from doe.study.settings import FloatArray

_NAMED = 8
_WHERE = {"residual": "in the residual", "batch": "between batches"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Gains:
    """What a round buys.

    Attributes:
        model: Name of the model.
        variance: Average prediction variance before and after, in residual variances; None where
            the model cannot be estimated.
        differences: The same of what tells settings apart: the prediction less its mean over the
            region. A round with a shift of its own can widen the former, and never this.
        df: Error degrees of freedom by stratum, before and after.
        pure_error: Those from equal settings, before and after.
        new_terms: Coefficients that only the new round makes estimable.
        untold: Coefficients that stay untold.
        links: Runs of the new round whose settings stand in an earlier one.
    """

    model: str
    variance: tuple[float | None, float | None]
    differences: tuple[float | None, float | None]
    df: dict[str, tuple[int, int]] = field(default_factory=dict)
    pure_error: tuple[int, int]
    new_terms: tuple[str, ...] = ()
    untold: tuple[str, ...] = ()
    links: int = 0

    def sentences(self) -> tuple[str, ...]:
        """Say in plain words what the round buys."""
        before, after = self.variance
        if after is None:
            said = f"The {self.model} model still can't be estimated as a whole."
        elif before is None:
            said = (
                f"What it buys: the {self.model} model, which could not be estimated before, with "
                f"an average prediction variance of {after:.3g} (in error variances)."
            )
        elif before > (1 + GONE_IN_EFFECT) * after:
            said = (
                f"What it buys: the {self.model} model, which could in effect not be estimated "
                "before (standard errors of prediction more than ten times as large), with an "
                f"average prediction variance of {after:.3g} (in error variances)."
            )
        else:
            said = (
                f"What it buys: the average prediction variance of the {self.model} model goes "
                f"from {before:.3g} to {after:.3g}, that of differences between settings from "
                f"{self.differences[0]:.3g} to {self.differences[1]:.3g} (in error variances)."
            )
        moves = [f"{a} to {b} {_WHERE.get(name, 'between ' + name + 's')}"
                 for name, (a, b) in self.df.items()]  # fmt: skip
        freedom = (
            f"Error degrees of freedom: {', '.join(moves)}; those of equal settings "
            f"{self.pure_error[0]} to {self.pure_error[1]}."
        )
        if not self.new_terms:
            return said, freedom
        named = ", ".join(self.new_terms[:_NAMED])
        more = f" and {len(self.new_terms) - _NAMED} more" if len(self.new_terms) > _NAMED else ""
        return said, f"Newly told: {named}{more}.", freedom


def gains_of(before: PlanRuns, after: PlanRuns, stick: Yardstick, coding: Coding) -> Gains:
    """Compare what is known without and with a round.

    Args:
        before: The runs that count, controls among them.
        after: The same with the new round.
        stick: The model, and the moments of the region or area that it is judged over.
        coding: The settings.
    """
    labels = [column_label(column) for column in model_columns(stick.model, coding)]
    X = [model_matrix(runs.design_values, coding, stick.model) for runs in (before, after)]
    known, told = (
        information_of(rows, runs, stick.ratio)
        for rows, runs in zip(X, (before, after), strict=True)
    )
    old, new = (
        freedom_of(rows, runs, coding) for rows, runs in zip(X, (before, after), strict=True)
    )
    names = dict.fromkeys([*new.residual, *old.residual])
    earlier = set(before.run)
    is_new = np.array([run not in earlier for run in after.run]) & after.is_design
    return Gains(
        model=stick.model.name,
        variance=(_average(known, stick.moments), _average(told, stick.moments)),
        differences=(_average(known, stick.spread), _average(told, stick.spread)),
        df={name: (old.residual.get(name, 0), new.residual.get(name, 0)) for name in names},
        pure_error=(sum(old.pure_error.values()), sum(new.pure_error.values())),
        new_terms=tuple(
            label
            for label, was, now in zip(labels, known.estimable, told.estimable, strict=True)
            if now and not was
        ),
        untold=tuple(label for label, now in zip(labels, told.estimable, strict=True) if not now),
        links=n_links(before.design_values, after.values[is_new]),
    )


def _average(information: Information, moments: FloatArray) -> float | None:
    if not information.is_full:
        return None
    return float(np.sum(information.covariance * moments))
