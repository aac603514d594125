"""The step `appraise`: what a plan can and cannot tell, before any laboratory work."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import doe
from doe.appraisal.appraise import Appraisal, Asked, appraise_runs, terrain_of
from doe.appraisal.comparison import Comparison, compare
from doe.appraisal.findings import appraisal_findings
from doe.appraisal.profile import Terrain
from doe.appraisal.record import plan_record
from doe.appraisal.runs import PlanRuns, runs_of_plan
from doe.appraisal.sizes import SizePoint
from doe.appraisal.sought import DEFAULT_ALPHA, what_is_sought
from doe.appraisal.summary import summarise
from doe.errors import PlanError
from doe.model.coding import Coding, coding_of, settings_table
from doe.model.information import rank_and_condition
from doe.model.matrix import model_matrix
from doe.model.region import region_of
from doe.model.terms import Model, make_model, model_names
from doe.steps.appraise_sizes import batches_per_day, sizes_round
from doe.steps.contract import envelope
from doe.steps.failures import wholly_lost
from doe.steps.given_table import plan_of_table
from doe.steps.model_choice import DEFAULT_MODELS, known_model
from doe.steps.results import json_bytes, write_results
from doe.steps.session import Session, open_study, planned_ratio, refuse_ratios
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.names import match_name
from doe.study.plan import Plan
from doe.study.settings import FloatArray, Settings

if TYPE_CHECKING:
    pass


@dataclass(frozen=True, slots=True, kw_only=True)
class AppraiseOptions:
    """What `appraise` may be asked for; None leaves it to the brief.

    Attributes:
        model: Name of the model; None for those of the plan's rounds.
        effect: Effect sought, for all responses.
        sd: Residual standard deviation beside it.
        alpha: Chance of a false alarm.
        variance_ratio: Variance of a random stratum over the residual.
        against: A second plan: a study folder, or a table of settings.
        table: A table of settings to appraise in place of the study's plan.
        sizes: Whether plans of other sizes are looked at.
        figures: Whether figures are drawn.
        seed: Of every random choice.
    """

    model: str | None = None
    effect: float | None = None
    sd: float | None = None
    alpha: float = DEFAULT_ALPHA
    variance_ratio: float | None = None
    against: Path | None = None
    table: Path | None = None
    sizes: bool = True
    figures: bool = True
    seed: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Appraised:
    """One plan, appraised.

    Attributes:
        name: What it is called where two stand side by side.
        appraisal: What it can tell.
        sizes: Plans of other sizes, the smallest first; empty where nobody asked.
        summary: Plain sentences.
    """

    name: str
    appraisal: Appraisal
    sizes: tuple[SizePoint, ...]
    summary: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AppraiseOutcome:
    """What one or two plans can and cannot tell."""

    session: Session
    seed: int
    plans: tuple[Appraised, ...]
    findings: tuple[Finding, ...]
    comparison: Comparison | None = None
    files: tuple[Path, ...] = field(default=())

    @property
    def is_no(self) -> bool:
        """Whether a plan can't estimate the model."""
        return any(not one.appraisal.is_estimable for one in self.plans)

    def contract(self) -> dict[str, Any]:
        """Give the object that `appraise --json` prints."""
        body = {
            "plans": [
                plan_record(one.appraisal, one.name, one.sizes, one.summary) for one in self.plans
            ],
            "comparison": None if self.comparison is None else asdict(self.comparison),
            "seed": self.seed,
            "unit": "residual standard deviations and variances",
            "files": [file.name for file in self.files],
        }
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


def appraise_study(path: Path, options: AppraiseOptions | None = None) -> AppraiseOutcome:
    """Tell what the plan of a study can and cannot tell; with `against`, two side by side.

    Raises:
        PlanError: There is nothing to appraise, or the second plan has other settings.
        StudyError: The brief has faults.
        ResultsError: A table cannot be read.
    """
    asked = options or AppraiseOptions()
    _check(asked)
    session = open_study(path)
    coding, region = coding_of(session.study), region_of(session.study)
    subjects, notes = _subjects(session, asked)
    model = _model(subjects[0].plan, session, asked, coding)
    seed = session.seed(asked.seed)
    terrain = terrain_of(region, model, seed)
    ratio = planned_ratio(session.study, subjects[0].plan)
    wishes = Asked(
        sought=what_is_sought(session.study, asked.effect, asked.sd),
        alpha=asked.alpha,
        ratio=ratio if asked.variance_ratio is None else asked.variance_ratio,
    )
    every = [one.standing(session.study) for one in subjects]
    plans = tuple(
        _appraised(one.name, runs.beside(*every), session, model, terrain, wishes, asked, seed)
        for one, runs in zip(subjects, every, strict=True)
    )
    outcome = AppraiseOutcome(
        session=session, seed=seed, plans=plans,
        comparison=compare(*(one.appraisal for one in plans)) if len(plans) > 1 else None,
        findings=(*region.findings, *notes, *_left_out(subjects), *_findings(plans, coding)),
    )  # fmt: skip
    return _written(outcome, asked)


# Sizes and scatters outside these are slips of the keyboard, whatever the unit of a response.
_LEAST_SIZE, _MOST_SIZE = 1e-12, 1e12
# One false alarm in a thousand million is beyond any bench, and beyond what F tables are good for.
_LEAST_ALPHA = 1e-9


def _check(asked: AppraiseOptions) -> None:
    if not _LEAST_ALPHA <= asked.alpha < 1:
        raise PlanError(
            f"{asked.alpha:g} is no chance of a false alarm", where="--alpha",
            allowed=f"{_LEAST_ALPHA:g} to below 1, as a rule 0.05",
        )  # fmt: skip
    for option, size in (("--effect", asked.effect), ("--sd", asked.sd)):
        if size is not None and not _LEAST_SIZE <= size <= _MOST_SIZE:
            raise PlanError(
                f"{size:g} is not positive" if size <= 0 else f"{size:g} is no size of a response",
                where=option,
                allowed=f"above 0: {_LEAST_SIZE:g} to {_MOST_SIZE:g}",
            )
    if asked.variance_ratio is not None:
        refuse_ratios([asked.variance_ratio])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Subject:
    """A plan that is appraised, and which of its runs gave nothing."""

    name: str
    plan: Plan
    lost: tuple[int, ...] = ()

    def standing(self, study: Study) -> PlanRuns:
        """Give the runs that count."""
        runs = runs_of_plan(self.plan, study)
        return runs.take([i for i, run in enumerate(runs.run) if run not in self.lost])


def _subjects(
    session: Session, asked: AppraiseOptions
) -> tuple[list[_Subject], tuple[Finding, ...]]:
    """Gather the one or two plans that are appraised, with what reading them has shown."""
    notes: tuple[Finding, ...] = ()
    if asked.table is not None:
        table, notes = plan_of_table(asked.table, session)
        subjects = [_Subject(name=asked.table.name, plan=table)]
    else:
        plan = session.needed_plan()
        subjects = [_Subject(name="this plan", plan=plan, lost=wholly_lost(session, plan))]
    if asked.against is not None:
        name = asked.against.name or str(asked.against)
        if asked.against.is_dir():
            subjects.append(_from_folder(asked.against, session, name))
        else:
            table, more = plan_of_table(asked.against, session)
            subjects.append(_Subject(name=name, plan=table))
            notes = (*notes, *more)
    return subjects, notes


def _from_folder(folder: Path, session: Session, called: str) -> _Subject:
    """Read the plan of another study, with its settings in the order of this one."""
    other = open_study(folder)
    plan = other.needed_plan()
    names = session.study.setting_names
    coding = coding_of(session.study)
    theirs = plan.settings
    values = np.full((len(plan), len(names)), np.nan)
    for j, name in enumerate(names):
        match = match_name(name, theirs.names)
        if match is None:
            raise PlanError(
                f"the plan of '{folder}' has no setting '{name}'",
                where="--against",
                do="Two plans can be compared where they set the same things.",
            )
        values[:, j] = _translated(theirs, match, coding.labels.get(name), name, folder)
    further = [name for name in theirs.names if match_name(name, names) is None]
    if further:
        raise PlanError(
            f"the plan of '{folder}' also sets {', '.join(further)}, which this brief does not",
            where="--against",
            do="Two plans can be compared where they set the same things.",
        )
    plan = replace(plan, settings=settings_table(values, coding))
    return _Subject(name=called, plan=plan, lost=wholly_lost(other, other.needed_plan()))


def _translated(
    theirs: Settings, name: str, labels: Sequence[str] | None, own: str, folder: Path
) -> FloatArray:
    """Give one setting in our terms: a named choice by the words of its levels."""
    column = theirs.column(name)
    if labels is None:
        return column
    words = theirs.labels.get(name, ())
    found = np.full(len(column), np.nan)
    for i, value in enumerate(column):
        if np.isnan(value):
            continue
        level = match_name(words[int(value)], labels) if words else None
        if level is None:
            said = words[int(value)] if words else f"{value:g}"
            raise PlanError(
                f"'{own}' has no level '{said}', which the plan of '{folder}' uses",
                where="--against",
                allowed=", ".join(labels),
            )
        found[i] = list(labels).index(level)
    return found


def _model(plan: Plan, session: Session, asked: AppraiseOptions, coding: Coding) -> Model:
    """Decide the model: asked for, else what the rounds were planned for, else what they hold."""
    if asked.model is not None:
        return make_model(known_model(asked.model, coding), coding)
    known = model_names(coding)
    planned = [name for entry in plan.rounds for name in entry.models if name in known]
    names = list(dict.fromkeys(planned))
    if names:
        models = [make_model(name, coding) for name in names]
        terms = tuple(dict.fromkeys(term for model in models for term in model.terms))
        largest = max(models, key=lambda model: len(model.terms))
        if len(largest.terms) == len(terms):
            return largest
        return Model(name=" + ".join(names), terms=terms)
    design = [i for i, kind in enumerate(plan.kind) if kind != "control"]
    values = plan.settings.values[design]
    for name in DEFAULT_MODELS:
        if name in known:
            model = make_model(name, coding)
            X = model_matrix(values, coding, model)
            if rank_and_condition(X)[0] == X.shape[1] < len(values):
                return model
    return make_model("linear", coding)


def _appraised(
    name: str,
    runs: PlanRuns,
    session: Session,
    model: Model,
    terrain: Terrain,
    wishes: Asked,
    asked: AppraiseOptions,
    seed: int,
) -> Appraised:
    appraisal = appraise_runs(runs, model, terrain, wishes)
    per_day = batches_per_day(session, runs)
    sizes: tuple[SizePoint, ...] = ()
    if asked.sizes and appraisal.is_estimable:
        sizes = sizes_round(session, runs, model, terrain, wishes, per_day, seed)
    return Appraised(
        name=name,
        appraisal=appraisal,
        sizes=sizes,
        summary=summarise(appraisal, sizes, per_day),
    )


def _left_out(subjects: Sequence[_Subject]) -> Iterator[Finding]:
    for one in subjects:
        if not one.lost:
            continue
        n = len(one.lost)
        whose = f"{one.name}: run" if len(subjects) > 1 else "Run"
        yield Finding(
            level="note",
            what=f"{whose}{'s' * (n > 1)} {', '.join(map(str, one.lost))} gave nothing and "
            f"{'are' if n > 1 else 'is'} left out.",
            evidence={"runs left out": n},
            advice="To make up for it: 'millbase extend STUDY --for repair'.",
        )


def _findings(plans: Sequence[Appraised], coding: Coding) -> tuple[Finding, ...]:
    """Gather the findings of all plans; with two of them each says whose it is."""
    if len(plans) == 1:
        return appraisal_findings(plans[0].appraisal, coding)
    every: dict[str, list[str]] = {}
    first: dict[str, Finding] = {}
    for one in plans:
        for finding in appraisal_findings(one.appraisal, coding):
            every.setdefault(finding.what, []).append(one.name)
            first.setdefault(finding.what, finding)
    return tuple(
        finding
        if len(every[what]) == len(plans)
        else replace(finding, what=f"{every[what][0]}: {what}")
        for what, finding in first.items()
    )


def _written(outcome: AppraiseOutcome, asked: AppraiseOptions) -> AppraiseOutcome:
    files: dict[str, bytes] = {"appraisal.json": json_bytes(outcome.contract())}
    if asked.figures:
        files |= {f"appraisal/{name}": data for name, data in _pictures(outcome).items()}
    written = write_results(outcome.session, files, command="appraise")
    return replace(outcome, files=tuple(sorted(written)))


def _pictures(outcome: AppraiseOutcome) -> Mapping[str, bytes]:
    """Draw what there is to draw; matplotlib loads here and nowhere before."""
    from analysis.figures.appraisal_album import Pictured, draw_appraisal
    from analysis.figures.files import save_figures

    hashes = outcome.session.inputs()
    inputs = ", ".join(f"{name} {mark}" for name, mark in hashes.items() if name != "version")
    drawn = draw_appraisal(
        [Pictured(name=one.name, appraisal=one.appraisal, sizes=one.sizes) for one in outcome.plans]
    )
    return save_figures(
        {one.name: one.figure for one in drawn},
        made=f"millbase {doe.__version__}, seed {outcome.seed}, inputs: {inputs}",
    )
