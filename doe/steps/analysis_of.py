"""From the inputs of a study to its fitted responses: shared by fit, predict, choose, report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain

import numpy as np

from analysis.fits.as_tried import AsTried, as_tried
from analysis.fits.bench_scatter import BenchScatter, bench_scatter
from analysis.fits.control_drift import ControlDrift, control_drifts
from analysis.fits.drift_correction import told_of_drift
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.forms.findings import bias_finding
from analysis.fits.gaps import Gap, outside_gaps
from analysis.fits.order_slope import to_correct
from analysis.fits.tellable import tried_rows
from analysis.fits.together import Together, responses_together
from analysis.lab.at_its_stage import at_its_stage
from analysis.lab.response_data import ResponseData
from analysis.lab.responses import gather
from analysis.surface.exact import ExactResponse, Surface, exact_response
from analysis.surface.level_comparison import LevelComparison, compare_levels
from doe.errors import DoeError, FitError, PlanError, StudyError
from doe.methods.registry import is_computed
from doe.model.coding import Coding, coding_of
from doe.model.region import Region
from doe.model.set_later import set_later
from doe.steps.doubts import in_short, study_doubts
from doe.steps.fit_chosen import fit_chosen
from doe.steps.model_choice import FitOptions, choose_model, corrects_drift
from doe.steps.session import Session
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.names import match_name


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StudyAnalysis:
    """All responses of a study, modelled as far as the readings allow.

    Attributes:
        session: The inputs.
        coding: The axes of the study.
        region: All settings that the brief allows and the runs speak for.
        data: Readings by response.
        fitted: Models by response.
        not_fitted: Why a response has no model, by response.
        computed: Responses that the recipe gives without a reading.
        not_computed: Why such a response cannot be computed, by response.
        gaps: Settings of which a response's model says nothing, by response.
        doubts: What is doubted of what came from the bench; `findings` say how many there are.
        findings: What else to know, such as a model chosen because a larger one cannot be fitted.
    """

    session: Session
    coding: Coding
    region: Region
    data: Mapping[str, ResponseData]
    fitted: Mapping[str, FittedResponse]
    not_fitted: Mapping[str, str]
    findings: tuple[Finding, ...]
    computed: Mapping[str, ExactResponse] = field(default_factory=dict)
    not_computed: Mapping[str, str] = field(default_factory=dict)
    gaps: Mapping[str, tuple[Gap, ...]] = field(default_factory=dict)
    doubts: tuple[Finding, ...] = ()

    @property
    def fits(self) -> dict[str, Fit]:
        """The fits alone, by response."""
        return {name: fitted.fit for name, fitted in self.fitted.items()}

    @property
    def surfaces(self) -> dict[str, Surface]:
        """Whatever tells a response at settings, model or recipe, in the brief's order."""
        known: dict[str, Surface] = {**self.fits, **self.computed}
        names = [response.name for response in self.session.study.responses]
        return {name: known[name] for name in names if name in known}

    @property
    def without_model(self) -> tuple[Finding, ...]:
        """Name the responses that have no model, each with why."""
        return tuple(
            Finding(
                level="caution",
                what=f"'{name}' has no model. {why}",
                evidence={"responses without a model": len(self.not_fitted)},
            )
            for name, why in self.not_fitted.items()
        )

    @property
    def together(self) -> dict[str, Together]:
        """How the scatter of the responses goes together, by stratum."""
        return responses_together(self.data, self.fitted)

    @property
    def control_drifts(self) -> dict[str, tuple[ControlDrift, ...]]:
        """How far the controls drifted in order as done, by response."""
        return {
            name: control_drifts(self.data[name], one.fit, level=one.assessment.level)
            for name, one in self.fitted.items()
        }

    @property
    def bench_scatter(self) -> dict[str, BenchScatter | None]:
        """Replicates beside the repeatability of the test, by response."""
        return {name: bench_scatter(self.data[name], one.fit) for name, one in self.fitted.items()}

    @property
    def comparisons(self) -> dict[str, tuple[LevelComparison, ...]]:
        """Levels compared by response, where the range of a factor hangs on a choice."""
        return {
            name: compare_levels(one.fit, self.region, level=one.assessment.level)
            for name, one in self.fitted.items()
        }


def analyse(session: Session, options: FitOptions) -> StudyAnalysis:
    """Fit every response that can be fitted, and say of the others why not.

    Responses that the recipe gives are made ready without readings; data that are missing for one
    are told in a finding, and do not keep the others back.

    Raises:
        StudyError: The brief and the files do not belong together.
        FitError: A response was asked for by name and does not exist, or none can be fitted.
        PlanError: There are no runs yet.
    """
    plan = session.needed_plan()
    study = session.study
    whole = coding_of(study)
    asked = _asked_responses(options, tuple(response.name for response in study.responses))
    names = tuple(name for name in asked if not is_computed(study.response(name)))
    computed, not_computed = _computed(study, tuple(n for n in asked if n not in names), whole)
    gathered = gather(study, plan, session.readings, session.actuals, session.choices)
    data = {name: at_its_stage(study, one) for name, one in gathered.items()}
    data |= {n: to_correct(data[n]) for n in names if corrects_drift(n, session, options)}
    tried = _as_tried(study, whole, (data[name] for name in names))
    coding = tried.coding
    fitted: dict[str, FittedResponse] = {}
    errors: dict[str, FitError] = {}
    findings: list[Finding] = list(tried.findings)
    gaps: dict[str, tuple[Gap, ...]] = {}
    for name in names:
        try:
            chosen = choose_model(study.response(name), session, coding, options)
            found = fit_chosen(data[name], coding, chosen, options, tried.untold)
            gaps[name] = (*tried.gaps, *found.gaps)
            fitted[name] = _beside_the_test(data[name], found.fitted)
            fitted[name] = told_of_drift(data[name], coding, fitted[name])
            findings += found.findings
        except FitError as error:
            errors[name] = error
    untold = [*errors.values(), *not_computed.values()]
    if not fitted and untold and (not computed or options.tries_out):
        # A slip in an option is a fault of every response alike: once is enough.
        faults = dict.fromkeys(fault for error in untold for fault in error.faults)
        raise FitError.from_faults(faults)
    doubts = study_doubts(session)
    region = outside_gaps(tried.region, chain.from_iterable(gaps.values()))
    return StudyAnalysis(
        session=session, coding=coding, region=region,
        data={name: data[name] for name in names}, fitted=fitted,
        not_fitted={name: _reason(error) for name, error in errors.items()},
        findings=(
            *findings,
            *in_short(doubts),
            *(_cannot(name, error) for name, error in not_computed.items()),
            *_titrated(study, tuple(computed)),
            *(bias_finding(study, coding, fitted) if options.with_forms else ()),
        ),
        computed=computed,
        not_computed={name: _reason(error) for name, error in not_computed.items()},
        gaps=gaps,
        doubts=doubts.findings,
    )  # fmt: skip


def _as_tried(study: Study, coding: Coding, data: Iterable[ResponseData]) -> AsTried:
    """Narrow coding and region to what the runs with a reading of any response speak for."""
    k = len(coding.axes)
    both = [np.zeros((0, 2 * k))]
    for one in data:
        rows, later = tried_rows(one), set_later(study, one.response.per)
        read = np.array([name not in later for name in coding.names], dtype=np.float64)
        both.append(np.hstack([rows, np.broadcast_to(read, rows.shape)]))
    told = np.unique(np.vstack(both), axis=0)
    return as_tried(study, coding, told[:, :k], told[:, k:] > 0.0)


def _beside_the_test(data: ResponseData, fitted: FittedResponse) -> FittedResponse:
    """Say how replicates scatter beside the repeatability of the test."""
    found = bench_scatter(data, fitted.fit)
    if found is None:
        return fitted
    return replace(fitted, findings=(*fitted.findings, *found.findings))


def _computed(
    study: Study, names: tuple[str, ...], coding: Coding
) -> tuple[dict[str, ExactResponse], dict[str, DoeError]]:
    """Make ready what the recipe gives; and what it cannot, with the reason."""
    computed: dict[str, ExactResponse] = {}
    errors: dict[str, DoeError] = {}
    for name in names:
        try:
            computed[name] = exact_response(study, study.response(name), coding)
        except (StudyError, PlanError) as error:
            errors[name] = error
    return computed, errors


def _titrated(study: Study, computed: tuple[str, ...]) -> tuple[Finding, ...]:
    """Say that grams which only the bench knows are not in what is computed."""
    titrated = [factor for factor in study.factors if factor.set_by]
    if not titrated or not computed:
        return ()
    words = ", ".join(f"'{factor.name}' with {factor.set_by}" for factor in titrated)
    return (
        Finding(
            level="note",
            what=f"What is titrated ({words}) counts as the balance that it replaces in "
            f"{', '.join(computed)}: its grams are not known beforehand.",
        ),
    )


def _cannot(name: str, error: DoeError) -> Finding:
    return Finding(
        level="caution",
        what=f"'{name}' cannot be computed from the recipe: "
        + "; ".join(f"{fault.where}: {fault.what}".removeprefix(": ") for fault in error.faults)
        + ".",
        advice=" ".join(dict.fromkeys(fault.do for fault in error.faults if fault.do)),
    )


def _asked_responses(options: FitOptions, names: tuple[str, ...]) -> tuple[str, ...]:
    if not options.only:
        return names
    found = {text: match_name(text, names) for text in options.only}
    unknown = [text for text, name in found.items() if name is None]
    if unknown:
        raise FitError(
            f"there is no response '{unknown[0]}'", where="--only", allowed=", ".join(names)
        )
    return tuple(name for name in names if name in found.values())


def _reason(error: DoeError) -> str:
    return " ".join(fault.sentence() for fault in error.faults)
