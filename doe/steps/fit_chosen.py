"""Fit one response with what was chosen for it, else with the largest model its runs can tell."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from analysis.fits.fitted_response import FittedResponse
from analysis.fits.forms.comparing import compare_forms
from analysis.fits.forms.findings import form_findings
from analysis.fits.forms.fitting import fit_with_form
from analysis.fits.gaps import Gap
from analysis.fits.likelihood.any_response import fit_any_response
from analysis.fits.likelihood.reducing import reduce_likelihood
from analysis.fits.reduction import behind, beside
from analysis.fits.selection import reduce_fit
from analysis.fits.tellable import Tellable, Tie, tellable, tie_words, unmet, untold_terms
from analysis.lab.response_data import ResponseData
from doe.errors import FitError
from doe.model.bend import Bend
from doe.model.coding import Coding
from doe.model.set_later import names_any, without_settings
from doe.model.term import Model
from doe.model.terms import make_model, model_names
from doe.steps.model_choice import FitOptions, ModelChoice
from doe.study.finding import Finding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChosenFit:
    """One response, fitted.

    Attributes:
        fitted: The response with its model.
        findings: What to know for the study, such as a smaller model than the one wanted.
        gaps: Combinations of levels of which its model says nothing.
    """

    fitted: FittedResponse
    findings: tuple[Finding, ...] = ()
    gaps: tuple[Gap, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Try:
    """A model to try; `told` is None where it was asked for by name."""

    model: str | Model
    told: Tellable | None = None
    is_last: bool = False


def fit_chosen(
    data: ResponseData,
    coding: Coding,
    chosen: ModelChoice,
    options: FitOptions,
    untold: Sequence[str] = (),
) -> ChosenFit:
    """Fit a response with the first of its models that the runs can carry and judge.

    Args:
        data: The response.
        coding: Its settings.
        chosen: The models to try.
        options: What was asked for.
        untold: Settings of which the runs of the study tell nothing.

    Raises:
        FitError: No model can be fitted; the smallest one's fault is given.
    """
    data = replace(data, response=chosen.response)
    chosen = _without_untold(chosen, untold, coding)
    error: FitError | None = None
    for one in _tries(data, coding, chosen, untold):
        try:
            fitted = fit_any_response(
                data, coding, model=one.model, drop=chosen.dropped, level=options.level
            )
        except FitError as caught:
            # The smallest model's fault is the plainest: it is not about having too many terms.
            error = caught
            continue
        if not _judgeable(fitted) and not chosen.asked and not one.is_last:
            continue
        return _completed(data, coding, chosen, options, (one, fitted))
    raise error or FitError(f"{data.response.name}: no model can be fitted")


def _without_untold(chosen: ModelChoice, untold: Sequence[str], coding: Coding) -> ModelChoice:
    if chosen.asked or not untold:
        return chosen
    return replace(
        chosen,
        dropped=tuple(t for t in chosen.dropped if not names_any(t, untold, coding)),
        forms=tuple(form for form in chosen.forms if form.factor not in untold),
    )


def _tries(
    data: ResponseData, coding: Coding, chosen: ModelChoice, untold: Sequence[str]
) -> Iterator[_Try]:
    """Give the models to try; one that is left with a smaller one's terms is left to that."""
    if chosen.asked or not (len(data) or data.whole is not None):
        yield from (_Try(model=model) for model in chosen.models)
        return
    last = len(chosen.models) - 1
    told = [
        tellable(
            make_model(model, coding) if isinstance(model, str) else model,
            data, coding, untold,
        )
        for model in chosen.models
    ]  # fmt: skip
    for i, one in enumerate(told):
        smaller = [set(other.model.terms) for other in told[i + 1 :]]
        if set(one.model.terms) not in smaller:
            yield _Try(model=one.model, told=one, is_last=i == last)


def _completed(
    data: ResponseData,
    coding: Coding,
    chosen: ModelChoice,
    options: FitOptions,
    found: tuple[_Try, FittedResponse],
) -> ChosenFit:
    """Bend, reduce and compare what was fitted, and say what is not in it."""
    one, plain = found
    fitted, ties = plain, one.told.ties if one.told is not None else ()
    if chosen.form is not None:
        fitted = fit_with_form(data, coding, plain, chosen.form)
    fitted = _told_of_choice(data, coding, fitted, chosen, options)
    first, name = chosen.models[0], _name(one.model)
    told = untold_terms(ties, data, coding, name)
    fitted = replace(fitted, findings=(*fitted.findings, *told))
    smaller = () if name == _name(first) else (_smaller(data, coding, one, first),)
    reduced = _reduced(data, coding, fitted, options)
    return ChosenFit(
        fitted=_with_forms(data, coding, plain, reduced, chosen, options),
        findings=smaller,
        gaps=tuple(
            gap for tie in ties or _kept_ties(data, coding, one) for gap in unmet(tie, data, coding)
        ),
    )


def _kept_ties(data: ResponseData, coding: Coding, one: _Try) -> tuple[Tie, ...]:
    """Find what a model on record was cut down for: nothing can be said there still."""
    name = _name(one.model)
    if one.told is not None or isinstance(one.model, str) or name not in model_names(coding):
        return ()
    whole = tellable(make_model(name, coding), data, coding)
    return tuple(tie for tie in whole.ties if not set(tie.left) & set(one.model.terms))


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


def _smaller(data: ResponseData, coding: Coding, one: _Try, wanted: str | Model) -> Finding:
    """Say why a smaller model than the one wanted was fitted: too few runs, or ties among them."""
    name, whole = data.response.name, _name(wanted)
    full = make_model(wanted, coding) if isinstance(wanted, str) else wanted
    ties = tellable(full, data, coding).ties
    if ties:
        what = (
            f"{name}: these runs cannot tell the whole {whole} model "
            f"({tie_words(ties, data, coding)}), so a smaller one ({_name(one.model)}) was fitted."
        )
    else:
        what = (
            f"{name}: {_runs(len(data))} too few for a {whole} model with "
            f"something left to judge it by, so a smaller one ({_name(one.model)}) was fitted."
        )
    return Finding(
        level="note",
        what=what,
        evidence={"runs": len(data)},
        advice="Ask for another with --model, or add runs.",
    )


def _runs(n: int) -> str:
    return "1 run with a reading is" if n == 1 else f"{n} runs with a reading are"
