"""From the inputs of a study to its fitted responses: shared by fit, predict, choose, report."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from analysis.fits.bench_scatter import BenchScatter, bench_scatter
from analysis.fits.control_drift import ControlDrift, control_drifts
from analysis.fits.drift_correction import told_of_drift
from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse
from analysis.fits.forms.comparing import compare_forms
from analysis.fits.forms.findings import bias_finding, form_findings
from analysis.fits.forms.fitting import fit_with_form
from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.likelihood.reducing import reduce_likelihood
from analysis.fits.order_slope import to_correct
from analysis.fits.reduction import behind, beside
from analysis.fits.selection import reduce_fit
from analysis.fits.together import Together, responses_together
from analysis.lab.at_its_stage import at_its_stage
from analysis.lab.response_data import ResponseData
from analysis.lab.responses import gather
from analysis.surface.exact import ExactResponse, Surface, exact_response
from analysis.surface.level_comparison import LevelComparison, compare_levels
from doe.errors import DoeError, FitError, PlanError, StudyError
from doe.methods.registry import is_computed
from doe.model.bend import Bend
from doe.model.coding import Coding, coding_of
from doe.model.region import Region, region_of
from doe.model.set_later import without_settings
from doe.model.term import Model
from doe.model.terms import make_model, model_names
from doe.steps.doubts import in_short, study_doubts
from doe.steps.model_choice import FitOptions, ModelChoice, choose_model, corrects_drift
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
        region: All settings the brief allows.
        data: Readings by response.
        fitted: Models by response.
        not_fitted: Why a response has no model, by response.
        computed: Responses that the recipe gives without a reading.
        not_computed: Why such a response cannot be computed, by response.
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
    coding = coding_of(study)
    asked = _asked_responses(options, tuple(response.name for response in study.responses))
    names = tuple(name for name in asked if not is_computed(study.response(name)))
    computed, not_computed = _computed(study, tuple(n for n in asked if n not in names), coding)
    gathered = gather(study, plan, session.readings, session.actuals, session.choices)
    data = {name: at_its_stage(study, one) for name, one in gathered.items()}
    data |= {n: to_correct(data[n]) for n in names if corrects_drift(n, session, options)}
    fitted: dict[str, FittedResponse] = {}
    errors: dict[str, FitError] = {}
    findings: list[Finding] = []
    for name in names:
        try:
            chosen = choose_model(study.response(name), session, coding, options)
            fitted[name], more = _fit_chosen(data[name], coding, chosen, options)
            fitted[name] = _beside_the_test(data[name], fitted[name])
            fitted[name] = told_of_drift(data[name], coding, fitted[name])
            findings += more
        except FitError as error:
            errors[name] = error
    untold = [*errors.values(), *not_computed.values()]
    if not fitted and untold and (not computed or options.tries_out):
        # A slip in an option is a fault of every response alike: once is enough.
        faults = dict.fromkeys(fault for error in untold for fault in error.faults)
        raise FitError.from_faults(faults)
    doubts = study_doubts(session)
    return StudyAnalysis(
        session=session, coding=coding, region=region_of(study),
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
        doubts=doubts.findings,
    )  # fmt: skip


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


def _fit_chosen(
    data: ResponseData, coding: Coding, chosen: ModelChoice, options: FitOptions
) -> tuple[FittedResponse, list[Finding]]:
    data = replace(data, response=chosen.response)
    error: FitError | None = None
    for position, model in enumerate(chosen.models):
        try:
            fitted = fit_any_response(
                data, coding, model=model, drop=chosen.dropped, level=options.level
            )
        except FitError as caught:
            # The smallest model's fault is the plainest: it is not about having too many terms.
            error = caught
            continue
        is_last = position == len(chosen.models) - 1
        if not _judgeable(fitted) and not chosen.asked and not is_last:
            continue
        plain = fitted
        if chosen.form is not None:
            fitted = fit_with_form(data, coding, plain, chosen.form)
        fitted = _told_of_choice(data, coding, fitted, chosen, options)
        smaller = (
            []
            if model == chosen.models[0]
            else [_smaller(data, _name(model), _name(chosen.models[0]))]
        )
        reduced = _reduced(data, coding, fitted, options)
        return _with_forms(data, coding, plain, reduced, chosen, options), smaller
    raise error or FitError(f"{data.response.name}: no model can be fitted")


def _told_of_choice(
    data: ResponseData,
    coding: Coding,
    fitted: FittedResponse,
    chosen: ModelChoice,
    options: FitOptions,
) -> FittedResponse:
    """Say which terms are not in the model: none that it could have, or some left out by choice."""
    if chosen.later:
        told = _set_later(fitted, chosen)
        fitted = replace(fitted, findings=(*fitted.findings, told))
    if not (chosen.kept_out or chosen.dropped):
        return fitted
    told = _left_out_by_choice(fitted, chosen)
    fitted = replace(fitted, findings=(*fitted.findings, told))
    if not options.with_full or chosen.form is not None:
        return fitted
    return _beside_full(data, coding, fitted, chosen)


def _with_forms(
    data: ResponseData,
    coding: Coding,
    plain: FittedResponse,
    used: FittedResponse,
    chosen: ModelChoice,
    options: FitOptions,
) -> FittedResponse:
    """Compare with forms where that is asked for, and say what either form or comparison says."""
    if options.with_forms:
        beside = plain if used.fit.model.bend is not None else used
        used = compare_forms(data, coding, beside, used, chosen.forms)
    return replace(used, findings=(*used.findings, *form_findings(data.response.name, used)))


def _not_reduced(bend: Bend) -> Finding:
    return Finding(
        level="note",
        what=f"No terms were left out: the model holds a form of {bend.factor} ({bend.form}), and "
        "terms are looked through for polynomials only.",
        advice="Leave terms out by --drop, or reduce the polynomial first (--form polynomial).",
    )


def _judgeable(fitted: FittedResponse) -> bool:
    """Tell whether every stratum leaves something to judge the model by."""
    told = all(math.isfinite(variance) for variance in fitted.fit.components.values())
    return fitted.assessment.residual_df >= 1 and told


def _name(model: str | Model) -> str:
    return model if isinstance(model, str) else model.name


def _set_later(fitted: FittedResponse, chosen: ModelChoice) -> Finding:
    """Say which settings the response cannot depend on, as they are set after its reading."""
    response = chosen.response
    named = " and ".join(f"'{one}'" for one in chosen.later)
    it, its, comes = ("them", "their", "come") if len(chosen.later) > 1 else ("it", "its", "comes")
    return Finding(
        # Where the brief is silent the stage is ours, and may be wrong.
        level="note" if "per" in response.model_fields_set else "caution",
        what=f"'{response.name}' is a reading of the {response.per}, and {named} {comes} after "
        f"that: what is set later cannot act on it. Its model is without {it} and {its} products, "
        f"and is fitted to {fitted.fit.n} values, one for each {response.per}.",
        evidence={"set later": ", ".join(chosen.later), "values": fitted.fit.n},
        advice="If it is read later in truth, say so with per in the brief.",
    )


def _left_out_by_choice(fitted: FittedResponse, chosen: ModelChoice) -> Finding:
    n = chosen.kept_out or len(chosen.dropped)
    return Finding(
        level="note",
        what=f"{n} term{'s are' if n > 1 else ' is'} left out of the {fitted.fit.model.name} model "
        "by choice: the p-values and intervals do not allow for the choosing and look surer than "
        "they are.",
        evidence={"terms left out": n},
        source="Miller (2002), Subset Selection in Regression, 2nd ed., chapter 6",
    )


def _reduced(
    data: ResponseData, coding: Coding, fitted: FittedResponse, options: FitOptions
) -> FittedResponse:
    if not options.reduce:
        return fitted
    if fitted.fit.model.bend is not None:
        return replace(fitted, findings=(*fitted.findings, _not_reduced(fitted.fit.model.bend)))
    whole = fitted.reduction
    if fitted.fit.method == "ml":
        reduced = reduce_likelihood(data, coding, fitted, level=options.level)
    else:
        reduced = reduce_fit(data, coding, fitted, level=options.level, by=options.reduce_by)
    if whole is None or reduced.reduction is None:
        return reduced
    # The model on record was smaller already: the full one is the one behind it.
    return replace(reduced, reduction=behind(whole, reduced.reduction))


def _beside_full(
    data: ResponseData, coding: Coding, fitted: FittedResponse, chosen: ModelChoice
) -> FittedResponse:
    """Set a model that somebody left terms out of beside the full one, where runs carry that."""
    name, scale = fitted.fit.model.name, fitted.fit.scale
    if name not in model_names(coding):
        return fitted
    whole = without_settings(make_model(name, coding), chosen.later, coding)
    try:
        full = fit_any_response(
            data, coding, model=whole, scale=scale, level=fitted.assessment.level
        )
    except FitError:
        return fitted
    reduction = beside((full.fit, full.assessment), (fitted.fit, fitted.assessment), way="choice")
    return replace(fitted, reduction=reduction if reduction.dropped else None)


def _smaller(data: ResponseData, fitted: str, wanted: str) -> Finding:
    return Finding(
        level="note",
        what=f"{data.response.name}: {len(data)} runs with a reading are too few for a {wanted} "
        f"model with something left to judge it by, so a smaller one ({fitted}) was fitted.",
        evidence={"runs": len(data)},
        advice="Ask for another with --model, or add runs.",
    )


def _reason(error: DoeError) -> str:
    return " ".join(fault.sentence() for fault in error.faults)
