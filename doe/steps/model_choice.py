"""Which model and scale each response is fitted with: as asked, as kept, or as the runs allow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from analysis.fits.forms.bendable import WantedForm, forms_of, wanted_form
from doe.errors import FitError
from doe.model.coding import Coding
from doe.model.set_later import names_any, set_later, without_settings
from doe.model.terms import Model, make_model, model_names, parse_term
from doe.steps.session import Session
from doe.study.brief import Response, ScaleName
from doe.study.choices import ResponseChoice
from doe.study.names import fold, match_name

ReduceBy = Literal["best", "backward"]
# Fitted without being asked for, largest first; larger models are for those who ask for them.
DEFAULT_MODELS = ("quadratic", "interactions", "linear")


@dataclass(frozen=True, slots=True, kw_only=True)
class FitOptions:
    """What `fit` may be asked for; nothing of it is kept unless `keep` says so.

    Attributes:
        model: Name of the model for every response; None for the kept or planned one.
        drop: Terms to leave out.
        only: Names of the responses to fit; empty for all.
        scale: Scale for every response; None for the kept one or the brief's.
        form: Form of one factor for every response, `FACTOR: FORM` or `polynomial`; None for the
            kept one.
        reduce: Leave out terms that do not pay for themselves by AICc.
        reduce_by: `best` among all smaller models that hierarchy allows, or `backward`, one group
            of terms after the other; responses fitted by likelihood always go backward.
        keep: Write what was asked to `choices.toml`.
        because: Why, kept with it.
        role: Who decides.
        level: Confidence of intervals, 0..1.
        with_full: Fit the full model beside one on record that terms were left out of.
        with_forms: Compare the polynomial with the forms that grind time and dose may follow.
        correct_drift: Fit a straight drift along the order as done beside the model; None as kept.
    """

    model: str | None = None
    drop: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    scale: str | None = None
    form: str | None = None
    reduce: bool = False
    reduce_by: ReduceBy = "best"
    keep: bool = False
    because: str = ""
    role: str = ""
    level: float = 0.95
    with_full: bool = False
    with_forms: bool = False
    correct_drift: bool | None = None

    @property
    def tries_out(self) -> bool:
        """Whether something is tried that is not on record."""
        asked = self.model or self.drop or self.scale or self.form or self.only or self.reduce
        return bool(asked or self.correct_drift is not None) and not self.keep


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelChoice:
    """What one response is to be fitted with.

    Attributes:
        models: Models to try in this order, by name or by their terms; one only where somebody
            asked for it.
        dropped: Terms to leave out of them.
        kept_out: How many terms a kept model leaves out already.
        response: The response, with the scale in force.
        later: Settings of a stage after the one that the response is read at; `models` are
            without them.
        asked: Whether the model was asked for or kept; then nothing else may be fitted instead.
        form: The form asked for or kept; None for the polynomial.
        forms: The forms that it may be compared with.
    """

    models: tuple[str | Model, ...]
    dropped: tuple[str, ...]
    kept_out: int
    response: Response
    asked: bool
    form: WantedForm | None = None
    forms: tuple[WantedForm, ...] = ()
    later: tuple[str, ...] = ()


def choose_model(
    response: Response, session: Session, coding: Coding, options: FitOptions
) -> ModelChoice:
    """Decide what to fit a response with: options first, then choices, then the plan.

    Raises:
        FitError: The model, scale or form asked for does not exist.
    """
    kept = session.choices.response(response.name)
    name = options.model or kept.model
    where = "--model" if options.model else "choices.toml"
    model: str | Model | None = known_model(name, coding, where=where) if name else None
    dropped = options.drop
    if model is not None and options.model is None:
        if kept.terms:
            terms = tuple(parse_term(text, coding) for text in kept.terms)
            model = Model(name=str(model), terms=terms)
        else:
            dropped = options.drop or kept.dropped
    later, form = set_later(session.study, response.per), _form(coding, options.form, kept)
    models = (model,) if model is not None else _models_to_try(session, coding)
    kept_out = _of_this_response(kept.dropped, later, coding) if options.model is None else ()
    return ModelChoice(
        models=tuple(_at_its_stage(one, later, coding) for one in models),
        dropped=_of_this_response(dropped, later, coding),
        kept_out=len(kept_out),
        response=_on_scale(response, options.scale, kept),
        asked=model is not None,
        form=form if form is None or form.factor not in later else None,
        forms=tuple(one for one in forms_of(session.study, coding) if one.factor not in later),
        later=later,
    )


def corrects_drift(name: str, session: Session, options: FitOptions) -> bool:
    """Tell whether a response is to be corrected for drift: as asked, else as kept."""
    if options.correct_drift is not None:
        return options.correct_drift
    return bool(session.choices.response(name).correct_drift)


def _at_its_stage(model: str | Model, later: tuple[str, ...], coding: Coding) -> str | Model:
    """Take what is set after the reading out of a model."""
    if not later:
        return model
    whole = make_model(model, coding) if isinstance(model, str) else model
    return without_settings(whole, later, coding)


def _of_this_response(
    texts: tuple[str, ...], later: tuple[str, ...], coding: Coding
) -> tuple[str, ...]:
    """Keep the terms to drop that the response's model can have."""
    return tuple(text for text in texts if not names_any(text, later, coding))


def known_model(name: str, coding: Coding, *, where: str = "--model") -> str:
    """Find a model by its name.

    Raises:
        FitError: No model of these settings has that name.
    """
    found = match_name(name.replace("-", " "), model_names(coding))
    if found is None:
        raise FitError(
            f"there is no model '{name}' for these settings",
            where=where,
            allowed=", ".join(model_names(coding)),
        )
    return found


def _models_to_try(session: Session, coding: Coding) -> tuple[str, ...]:
    planned = [
        model for entry in (session.plan.rounds if session.plan else ()) for model in entry.models
    ]
    known = set(model_names(coding))
    first = [model for model in dict.fromkeys(reversed(planned)) if model in known]
    return tuple(dict.fromkeys([*first[:1], *(m for m in DEFAULT_MODELS if m in known)]))


def _form(coding: Coding, asked: str | None, kept: ResponseChoice) -> WantedForm | None:
    if asked is not None:
        return wanted_form(asked, coding)
    return None if kept.form is None else wanted_form(kept.form, coding, where="choices.toml")


def _on_scale(response: Response, asked: str | None, kept: ResponseChoice) -> Response:
    if asked is None:
        if kept.scale is None:
            return response
        return response.model_copy(
            update={"scale": kept.scale, "power": kept.power or response.power}
        )
    found = next((name for name in get_args(ScaleName) if fold(name) == fold(asked)), None)
    if found is None:
        raise FitError(
            f"there is no scale '{asked}'", where="--scale", allowed=", ".join(get_args(ScaleName))
        )
    return response.model_copy(update={"scale": found})
