"""What a later step would refuse, told when the brief is checked."""

from __future__ import annotations

from doe.errors import PlanError
from doe.layouts.blocking import block_rule
from doe.layouts.drawn_samples import samples_finding
from doe.layouts.never import missing_levels, missing_pairs, tied_findings
from doe.layouts.request import Request
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.plan import Plan


def foreseen_findings(study: Study, region: Region, plan: Plan | None) -> tuple[Finding, ...]:
    """Say what no plan of this brief could do, and what no batch of its plan could."""
    return (
        *tied_findings(region),
        *_full_days(study),
        *(samples_finding(study, plan) if plan is not None else ()),
    )


def refuse_full_days(study: Study) -> None:
    """Refuse days that their controls fill.

    Raises:
        PlanError: The controls of a day leave no room in it.
    """
    rule = block_rule(study)
    if rule is not None and rule.size <= rule.n_controls:
        raise PlanError(
            f"a {rule.name} holds {rule.size} batches, and {rule.n_controls} of them are controls",
            where="study.toml, [plan] batches_per_day",
            allowed=f"{rule.n_controls + 1} or more",
            do='Or run a control once a round only (every = "round").',
        )


def _full_days(study: Study) -> tuple[Finding, ...]:
    try:
        refuse_full_days(study)
    except PlanError as error:
        fault = error.faults[0]
        return (
            Finding(
                level="stop",
                what=f"No batch of a plan fits: {fault.what}.",
                evidence={"batches a day": study.wishes.batches_per_day or 0},
                advice=f"Give batches_per_day in [plan] {fault.allowed}. {fault.do}",
            ),
        )
    return ()


def with_cause(error: PlanError, request: Request) -> PlanError:
    """Name what of the brief makes a plan impossible, where something of it does."""
    fault, region = error.faults[0], request.region
    if fault.where or fault.allowed:
        # It says itself which number must be another.
        return error
    causes = (*missing_levels(region), *tied_findings(region))
    if not causes and set(request.wanted_models) != {"linear"}:
        causes = missing_pairs(region)
    if not causes:
        return error
    said = " ".join(dict.fromkeys(cause.what for cause in causes))
    return PlanError(f"{fault.what}. {said}".rstrip("."), where="study.toml", do=causes[0].advice)
