"""The step `fit`: model every response and check the models."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from analysis.fits.bench_scatter import BenchScatter
from analysis.fits.fit import Fit
from analysis.fits.forms.values import typed_form
from analysis.lab.as_made import as_made
from analysis.surface.exact import COMPUTED, ExactResponse
from analysis.surface.near_models import near_models_finding
from analysis.surface.noise import production_of
from analysis.surface.survey import SurfaceLandscape, survey_all
from doe.model.set_later import set_later, without_settings
from doe.model.terms import make_model, term_label, unambiguous_label
from doe.steps.analysis_of import StudyAnalysis, analyse
from doe.steps.contract import envelope
from doe.steps.drift_contract import drift_object, looked_at
from doe.steps.fit_contract import response_object
from doe.steps.landscape_contract import landscape_object
from doe.steps.model_choice import FitOptions
from doe.steps.next_steps import next_steps
from doe.steps.results import json_bytes, write_choices, write_results
from doe.steps.session import Session, open_study
from doe.study.choices import ResponseChoice
from doe.study.finding import Finding
from doe.study.settings import FloatArray

__all__ = ["FitOptions", "FitOutcome", "fit_study"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FitOutcome:
    """What `fit` found."""

    analysis: StudyAnalysis
    kept: bool
    files: tuple[Path, ...] = ()
    is_no: bool = False
    landscapes: Mapping[str, SurfaceLandscape] = field(default_factory=dict)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What holds for the study as a whole; each response carries its own."""
        return told_by_fit(self.analysis)

    def contract(self) -> dict[str, Any]:
        """Give the object that `fit --json` prints."""
        return fit_contract(self.analysis, self.landscapes)


def fit_study(path: Path, options: FitOptions | None = None) -> FitOutcome:
    """Fit the responses of a study.

    Args:
        path: The study folder.
        options: What to try out or to keep; None reads everything from the study.

    Raises:
        DoeError: The study cannot be read, or nothing can be fitted.
    """
    asked = options or FitOptions()
    session = open_study(path)
    analysis = _told_of_near(analyse(session, replace(asked, with_full=True, with_forms=True)))
    if asked.keep:
        session = _keep(session, asked, analysis)
        analysis = replace(analysis, session=session)
    landscapes = study_landscapes(analysis)
    files = () if asked.tries_out else _write(analysis, landscapes)
    return FitOutcome(analysis=analysis, kept=asked.keep, files=files, landscapes=landscapes)


def study_landscapes(
    analysis: StudyAnalysis, base: FloatArray | None = None
) -> dict[str, SurfaceLandscape]:
    """Survey every modelled response from a recipe, shape (k,), or the middle of the region."""
    return survey_all(
        analysis.fits,
        analysis.region,
        base,
        production=production_of(analysis.session.study, analysis.coding),
    )


def fit_contract(
    analysis: StudyAnalysis, landscapes: Mapping[str, SurfaceLandscape]
) -> dict[str, Any]:
    """Give the contract's object for a fitted study."""
    comparisons, drifts = analysis.comparisons, analysis.control_drifts
    scatters = analysis.bench_scatter
    body = {
        "responses": {
            name: {
                **response_object(fitted, comparisons[name]),
                "control_drift": [asdict(one) for one in drifts[name]],
                "drift": drift_object(analysis, name, drifts[name]),
                "bench_scatter": _asdict_or_none(scatters[name]),
                "landscape": landscape_object(landscapes[name]) if name in landscapes else None,
            }
            for name, fitted in analysis.fitted.items()
        },
        "computed": {
            name: computed_object(exact, analysis) for name, exact in analysis.computed.items()
        },
        "together": {
            name: {
                "responses": list(one.responses),
                "correlation": one.correlation.tolist(),
                "n": one.n.tolist(),
            }
            for name, one in analysis.together.items()
        },
        "not_fitted": dict(analysis.not_fitted),
        "not_computed": dict(analysis.not_computed),
        "next": [
            {"what": one.what, "command": one.command, "responses": list(one.responses)}
            for one in next_steps(analysis)
        ],
        "waiting": {
            name: list(data.pending) for name, data in analysis.data.items() if data.pending
        },
    }
    return envelope(body, inputs=analysis.session.inputs(), findings=told_by_fit(analysis))


def _asdict_or_none(found: BenchScatter | None) -> dict[str, Any] | None:
    return None if found is None else asdict(found)


def computed_object(exact: ExactResponse, analysis: StudyAnalysis) -> dict[str, Any]:
    """Give what the recipe says of a response without readings, run by run as made."""
    session = analysis.session
    plan = session.needed_plan()
    values = exact.values(as_made(session.study, plan, session.actuals).settings.values)
    return {
        "method": exact.method,
        "unit": exact.unit,
        "per": exact.per,
        "predict_for": COMPUTED,
        "runs": [
            {"run": run, "value": float(value)} for run, value in zip(plan.run, values, strict=True)
        ],
    }


def _told_of_near(analysis: StudyAnalysis) -> StudyAnalysis:
    """Say where models nearly as good differ: at the settings chosen, else in the middle."""
    if not any(one.reduction and one.reduction.near for one in analysis.fitted.values()):
        return analysis
    row, where = looked_at(analysis)
    fitted = {}
    for name, one in analysis.fitted.items():
        near = one.reduction.near if one.reduction is not None else ()
        told = near_models_finding(one.fit, near, row, where)
        more = (told,) if told is not None else ()
        fitted[name] = replace(one, findings=(*one.findings, *more))
    return replace(analysis, fitted=fitted)


def _keep(session: Session, options: FitOptions, analysis: StudyAnalysis) -> Session:
    """Write to `choices.toml` what the responses were just fitted with."""
    choices = session.choices
    for name, fitted in analysis.fitted.items():
        before, bend = choices.response(name), fitted.fit.model.bend
        later = set_later(session.study, session.study.response(name).per)
        # A form takes squares out by itself: the terms on record are those of the polynomial.
        of_terms = fitted.fit if fitted.form is None else fitted.form.polynomial
        after = ResponseChoice(
            model=fitted.fit.model.name,
            dropped=dropped_terms(of_terms, later),
            terms=kept_terms(of_terms, later),
            scale=fitted.fit.scale.name if options.scale else before.scale,
            power=fitted.fit.scale.power if options.scale else before.power,
            form=None if bend is None else typed_form(bend),
            correct_drift=True if fitted.fit.drift is not None else None,
            because=options.because,
            role=options.role,
        )
        choices = choices.with_response(name, after)
    return write_choices(session, choices, command="fit")


def dropped_terms(fit: Fit, later: Collection[str] = ()) -> tuple[str, ...]:
    """Name the terms that the model of this name has and the fit has not.

    Args:
        fit: The fit.
        later: Settings that the response cannot depend on; their terms were not dropped.
    """
    full = without_settings(make_model(fit.model.name, fit.coding), later, fit.coding)
    return tuple(term_label(term) for term in full.terms if term not in fit.model.terms)


def kept_terms(fit: Fit, later: Collection[str] = ()) -> tuple[str, ...]:
    """Name the terms of a fit, so that they read back; none where the whole model is fitted."""
    if not dropped_terms(fit, later):
        return ()
    return tuple(unambiguous_label(term, fit.coding) for term in fit.model.terms)


def _write(analysis: StudyAnalysis, landscapes: Mapping[str, SurfaceLandscape]) -> tuple[Path, ...]:
    body = json_bytes(fit_contract(analysis, landscapes))
    return write_results(analysis.session, {"fit.json": body}, command="fit")


def told_by_fit(analysis: StudyAnalysis) -> tuple[Finding, ...]:
    """Give what was found, each doubt about the readings in place of their number."""
    others = tuple(one for one in analysis.findings if "doubts" not in one.evidence)
    return (*others, *analysis.doubts)
