"""The step `plan`: choose the runs of a study and say why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

import doe
from doe.appraisal.freedom import freedom_of
from doe.appraisal.freedom_findings import freedom_findings
from doe.appraisal.runs import runs_of_plan
from doe.errors import PlanError
from doe.layouts.asked import refuse_numbers
from doe.layouts.blocking import block_rule
from doe.layouts.checking import make_layout
from doe.layouts.choose import make_chosen
from doe.layouts.drawn_samples import repeats_finding
from doe.layouts.optimal.chains import CHAINS
from doe.layouts.optimal.wanted import criterion_weights, union_model
from doe.layouts.order import RoundStart, arrange, costs
from doe.layouts.registry import OPTIMAL, find_layout
from doe.layouts.request import LayoutRuns, Purpose, Request
from doe.layouts.sampling_batches import has_samples
from doe.model.coding import coding_of
from doe.model.matrix import model_matrix
from doe.model.region import region_of
from doe.steps.contract import envelope
from doe.steps.foreseen import refuse_full_days, with_cause
from doe.steps.given_table import plan_of_table
from doe.steps.model_choice import known_model
from doe.steps.session import Session, open_study, refuse_ratios
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.hashes import goals_hash, region_hash
from doe.study.numbering import next_numbers
from doe.study.plan import Plan, Round
from doe.study.settings import FloatArray

# A quarter of the bench for controls is the most that drift is worth (common practice, no source).
DEAR_CONTROLS = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanOptions:
    """What `plan` may be asked for; None leaves it to the layout."""

    layout: str | None = None
    criterion: str | None = None
    runs: int | None = None
    batches: int | None = None
    days: int | None = None
    purpose: Purpose = "optimising"
    model: str | None = None
    replicates: int | None = None
    lack_of_fit: int | None = None
    include: Path | None = None
    centre: int | None = None
    axial_beyond: bool = False
    from_batch: bool = False
    variance_ratio: tuple[float, ...] | None = None
    starts: int | None = None
    seed: int | None = None
    replace: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanOutcome:
    """The runs, how they came about and what they cost."""

    session: Session
    plan: Plan
    costs: dict[str, int]
    findings: tuple[Finding, ...]
    files: tuple[Path, ...] = ()
    is_no: bool = False

    @property
    def round(self) -> Round:
        """How the runs were made."""
        return self.plan.rounds[-1]

    def contract(self) -> dict[str, Any]:
        """Give the object that `plan --json` prints: the round's entry and its runs."""
        entry = asdict(self.round)
        entry["controls"] = {str(run): name for run, name in self.round.controls.items()}
        body = {**entry, "costs": self.costs, "runs": run_rows(self.plan)}
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


def run_rows(plan: Plan) -> list[dict[str, Any]]:
    """Give each run as the contract has it; stages that the plan lacks are left out."""
    rows = []
    for i in range(len(plan)):
        stages = {
            "day": plan.day[i],
            "batch": plan.batch[i],
            "sample": plan.sample[i],
            "panel": plan.panel[i],
        }
        rows.append(
            {
                "run": plan.run[i],
                "round": plan.round[i],
                **{name: number for name, number in stages.items() if number is not None},
                "kind": plan.kind[i],
                "control": plan.control_names.get(plan.run[i]),
                "settings": plan.settings.row(i),
            }
        )
    return rows


def plan_study(
    path: Path,
    options: PlanOptions | None = None,
    progress: Callable[[float], None] | None = None,
) -> PlanOutcome:
    """Plan the first round of a study.

    Args:
        path: The study folder.
        options: What is asked for.
        progress: Told now and then what part of a search is done.

    Raises:
        PlanError: The runs asked for cannot be planned, or runs stand already.
        StudyError: The brief has faults.
    """
    asked = options or PlanOptions()
    session = open_study(path)
    _refuse_replacing(session, asked)
    _refuse_numbers(session.study, asked)
    request = replace(_request(session, asked), progress=progress)
    _refuse_a_point(request)
    criterion_weights(request)
    refuse_ratios(request.ratios)
    try:
        runs, why = _laid_out(request, asked)
    except PlanError as error:
        raise with_cause(error, request) from error
    plan = _arranged(session, request, runs, why)
    _refuse_more_days(plan, asked)
    files = session.folder.write(
        session.folder.plan_files(plan), replace=asked.replace, command="plan"
    )
    return PlanOutcome(
        session=replace(session, plan=plan), plan=plan, costs=costs(plan), files=files,
        findings=(
            *request.region.findings, *runs.findings, *_on_freedom(plan, request),
            *_dear_controls(plan), *repeats_finding(plan), *_few_starts(plan, asked),
        ),
    )  # fmt: skip


def _refuse_numbers(study: Study, asked: PlanOptions) -> None:
    refuse_numbers(
        study,
        {
            "runs": asked.runs, "batches": asked.batches, "days": asked.days,
            "replicates": asked.replicates, "lack-of-fit": asked.lack_of_fit,
            "centre": asked.centre, "starts": asked.starts,
        },
        optimal=_layout_named(asked) == OPTIMAL,
    )  # fmt: skip


def _layout_named(asked: PlanOptions) -> str | None:
    """Give the layout that is asked for: a criterion is one of a search."""
    if asked.layout is None:
        return OPTIMAL if asked.criterion else None
    return find_layout(asked.layout).name


def _on_freedom(plan: Plan, request: Request) -> tuple[Finding, ...]:
    """Tell where the plan leaves too little to judge its model by, as an appraisal would."""
    runs = runs_of_plan(plan, request.study)
    entry = plan.rounds[-1]
    # A Bayesian D may tell less than it was asked for.
    names = entry.models if entry.layout == OPTIMAL else request.wanted_models
    model = union_model(names, request.coding)
    X = model_matrix(runs.design_values, request.coding, model)
    return freedom_findings(freedom_of(X, runs, request.coding))


def _refuse_a_point(request: Request) -> None:
    """Refuse a brief that allows one setting only: there is nothing to plan."""
    pieces = request.region.pieces
    if len(request.region.combinations) == 1 and all(piece.dimension == 0 for piece in pieces):
        raise PlanError(
            "the brief allows one setting only, so there is nothing to plan",
            where="study.toml",
            do="Widen a range, a share or a limit, or give a factor levels.",
        )


def _refuse_more_days(plan: Plan, asked: PlanOptions) -> None:
    """Hold the days asked for: a plan that takes more of them is not the one that was wanted."""
    days = len({day for day in plan.day if day is not None})
    if asked.days is not None and days > asked.days:
        raise PlanError(
            f"these runs and their controls take {days} days, and {asked.days} are asked for",
            where="--days",
            allowed=f"{days} or more",
            do="Ask for fewer runs, run controls less often, or raise batches_per_day in [plan].",
        )


def _dear_controls(plan: Plan) -> tuple[Finding, ...]:
    """Weigh the controls against their cost."""
    n = plan.kind.count("control")
    if n <= DEAR_CONTROLS * len(plan):
        return ()
    return (
        Finding(
            level="caution",
            what=f"{n} of {len(plan)} batches are controls.",
            evidence={"controls": n, "batches": len(plan)},
            advice="One control a day shows drift; run the others once a round "
            '(every = "round") if the bench time matters more.',
        ),
    )


def _few_starts(plan: Plan, asked: PlanOptions) -> tuple[Finding, ...]:
    """Say where a search was too short to tell whether there is a better plan."""
    details = plan.rounds[-1].details
    agreeing, searches = (
        details.get("searches that ended at this plan"), details.get("independent searches")
    )  # fmt: skip
    if asked.starts is None or asked.starts >= CHAINS or agreeing is None or agreeing > 1:
        return ()
    return (
        Finding(
            level="note",
            what=f"So few starts cannot tell whether a better plan exists: only one of {searches} "
            "searches ended at this one.",
            evidence={"starts": asked.starts, "searches that agree": agreeing},
            advice=f"Leave out --starts: {CHAINS} are the house's number.",
        ),
    )


def _refuse_replacing(session: Session, asked: PlanOptions) -> None:
    if session.plan is None:
        return
    with_data = session.runs_with_data(session.plan)
    if with_data:
        raise PlanError(
            f"{len(with_data)} runs of this plan have readings or actuals and can't be replaced",
            where="plan.csv",
            do="Add a round to it with 'millbase extend STUDY --for …', or start a new study.",
        )
    if not asked.replace:
        raise PlanError(
            f"this study has {len(session.plan)} runs already",
            where="plan.csv",
            do="Replace them with --replace (the old plan is kept beside it).",
        )


def _request(session: Session, asked: PlanOptions) -> Request:
    study = _with_days(session.study, asked)
    coding = coding_of(study)
    # A number of batches only differs from a number of runs where samples share a batch.
    shared = has_samples(study) and (asked.from_batch or asked.batches is not None)
    ratio = asked.variance_ratio
    return Request(
        study=study,
        coding=coding,
        region=region_of(study),
        models=tuple(known_model(name.strip(), coding) for name in _named(asked.model)),
        runs=asked.runs if shared or asked.runs else asked.batches,
        batches=asked.batches if shared else None,
        days=asked.days,
        centre=asked.centre,
        replicates=asked.replicates,
        lack_of_fit=asked.lack_of_fit,
        included=_included(session, asked),
        axial_beyond=asked.axial_beyond,
        purpose=asked.purpose,
        sample_from_batch=shared,
        criterion=asked.criterion or "",
        ratios=(study.wishes.variance_ratio,) if ratio is None else ratio,
        starts=asked.starts,
        seed=session.seed(asked.seed),
    )


def _with_days(study: Study, asked: PlanOptions) -> Study:
    """Let the batches asked for fill the days asked for, where the brief does not say what they do.

    Raises:
        PlanError: The controls of a day leave no room in it.
    """
    n = asked.batches or asked.runs
    rule = block_rule(study)
    if rule is None and asked.days is not None and n is not None:
        each = sum(1 for control in study.controls if control.every in ("day", "block"))
        size = -(-n // asked.days) + each
        wishes = study.wishes.model_copy(update={"batches_per_day": size})
        return study.model_copy(update={"wishes": wishes})
    refuse_full_days(study)
    return study


def _included(session: Session, asked: PlanOptions) -> FloatArray | None:
    """Read the settings of the runs that must be in.

    Raises:
        PlanError: Another layout than `optimal` is asked for.
        ResultsError: The table cannot be read.
    """
    if asked.include is None:
        return None
    if asked.layout not in (None, OPTIMAL):
        raise PlanError(
            f"the layout '{asked.layout}' has its own runs, and others must be in",
            where="--include",
            do=f"Leave out --layout, or take '{OPTIMAL}'.",
        )
    plan, _ = plan_of_table(asked.include, session)
    return np.asarray(plan.settings.values)


def _named(models: str | None) -> list[str]:
    """Split the names of several models, which one plan must serve."""
    return models.replace("+", ",").split(",") if models else []


def _laid_out(request: Request, asked: PlanOptions) -> tuple[LayoutRuns, tuple[str, ...]]:
    name = _layout_named(asked)
    return make_chosen(request) if name is None else (make_layout(name, request), ())


def _arranged(session: Session, request: Request, runs: LayoutRuns, why: tuple[str, ...]) -> Plan:
    # A replaced plan has used its numbers up: a card of it may still lie on the bench.
    free = next_numbers(session.plan, session.readings, session.actuals)
    start = RoundStart(run=free.run, batch=free.batch, sample=free.sample, panel=free.panel)
    plan = arrange(runs, request.study, np.random.default_rng([request.seed, 2]), start=start)
    entry = replace(
        plan.rounds[-1], seed=request.seed, version=doe.__version__,
        details={**plan.rounds[-1].details, "variance ratios": list(request.ratios)},
        reasons=(*why, *plan.rounds[-1].reasons),
        region_hash=region_hash(session.study), goals_hash=goals_hash(session.study),
    )  # fmt: skip
    return replace(plan, rounds=(entry,))
