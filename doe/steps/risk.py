"""The step `risk`: the chance that a production batch meets every limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from analysis.fits.together import coefficients_together
from analysis.risk.batch_and_test import shares_of_test
from analysis.risk.contributions import Contribution
from analysis.risk.draws import DRAWS, DrawPlan
from analysis.risk.model import RiskModel, make_risk_model, refuse_without_limits
from analysis.risk.posterior import Shared
from analysis.risk.probability import ResponseRisk, Risk, assess_risk
from analysis.risk.robust import LEVEL, RobustQuestion
from analysis.risk.robust_window import RobustWindow, find_robust_window
from analysis.surface.lines import inside_region
from analysis.surface.noise import Production, production_of
from doe.errors import StudyError
from doe.steps.analysis_of import StudyAnalysis, analyse
from doe.steps.contract import envelope
from doe.steps.model_choice import FitOptions
from doe.steps.nominal import named_settings, nominal_row
from doe.steps.remembered import LastFound
from doe.steps.results import json_bytes, write_results
from doe.steps.risk_beside_predict import wider_than_predicted
from doe.steps.session import open_study
from doe.steps.window_contract import robust_object, window_files, window_object
from doe.study.finding import Finding
from doe.study.names import match_name
from doe.study.settings import FloatArray

# More than these take minutes and tell nothing more.
MOST_DRAWS = 16_777_216


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskOptions:
    """What `risk` may be asked for.

    Attributes:
        at: `NAME=VALUE` once a setting; noise factors may be left out. Empty for the settings that
            were kept, else the compromise.
        compromise: Search the compromise anew, whatever was kept.
        draws: How many production batches to draw.
        seed: Of the draws and of the search; None for the brief's.
        level: Of the intervals, 0..1.
        at_least: Joint probability that must be reached, 0..1; None to ask for none.
        only_here: Judge these settings alone: no robust choice, no window.
        probability: What robust choice and tolerance box must reach, 0..1.
        window: Two settings to look at the probability over; empty for those that move it most.
    """

    at: tuple[str, ...] = ()
    compromise: bool = False
    draws: int = DRAWS
    seed: int | None = None
    level: float = 0.95
    at_least: float | None = None
    only_here: bool = False
    probability: float = LEVEL
    window: tuple[str, ...] = ()

    @property
    def tries_out(self) -> bool:
        """Whether something is tried that is not on record."""
        searches = self.only_here or self.probability != LEVEL or bool(self.window)
        drawn = self.draws != DRAWS or self.seed is not None
        return bool(self.at) or self.compromise or drawn or searches


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiskOutcome:
    """The risk at one recipe and what it rests on.

    Attributes:
        analysis: The models.
        model: What was drawn from.
        risk: What came out.
        settings: Of the recipe, by name; a choice by its level; noise factors left out.
        of: Whether the settings are kept, given or found anew.
        seed: Of the draws.
        at_least: Probability that was asked for; None where none was.
        own_findings: On the settings and on responses without a model.
        robust: Robust choice and window; None where these settings alone were judged.
        files: What was written.
    """

    analysis: StudyAnalysis
    model: RiskModel
    risk: Risk
    settings: dict[str, float | str]
    of: str
    seed: int
    at_least: float | None = None
    own_findings: tuple[Finding, ...] = ()
    robust: RobustWindow | None = None
    files: tuple[Path, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the team should know."""
        of_window = self.robust.findings if self.robust is not None else ()
        of_study = (*self.analysis.without_model, *self.analysis.findings)
        return (*self.own_findings, *of_window, *self.risk.findings, *of_study)

    @property
    def is_no(self) -> bool:
        """Whether the probability that was asked for is not reached."""
        return self.at_least is not None and self.risk.probability.value < self.at_least

    def contract(self) -> dict[str, Any]:
        """Give the object that `risk --json` prints."""
        return risk_contract(self)


# The report after `risk` need not draw and search again.
_LAST_RISK: LastFound[Risk] = LastFound()
_LAST_WINDOW: LastFound[RobustWindow] = LastFound()


def assess_study_risk(path: Path, options: RiskOptions | None = None) -> RiskOutcome:
    """Find the probability that a production batch of a study meets every limit.

    Raises:
        DoeError: The study or the settings cannot be used, nothing can be fitted, or no response
            has a limit that can be missed.
    """
    asked = options or RiskOptions()
    _refuse_options(asked)
    session = open_study(path)
    refuse_without_limits(session.study)
    analysis = analyse(session, FitOptions(level=asked.level))
    model = risk_model_of(analysis)
    seed = session.seed(asked.seed)
    production = production_of(session.study, analysis.coding)
    nominal, of = nominal_row(analysis, asked.at, seed, afresh=asked.compromise, level=asked.level)
    plan = DrawPlan(draws=asked.draws, seed=seed)
    risk = assess_risk(model, nominal, plan, level=asked.level)
    outcome = RiskOutcome(
        analysis=analysis, model=model, risk=risk,
        settings=named_settings(nominal, analysis.coding, production), of=of, seed=seed,
        at_least=asked.at_least,
        own_findings=(
            *_outside(nominal, analysis, production), *_gelled(analysis, model),
            *wider_than_predicted(risk, analysis, production),
        ),
        robust=None if asked.only_here else _robust_window(analysis, model, nominal, asked, seed),
    )  # fmt: skip
    if not asked.tries_out:
        body = {"risk.json": json_bytes(risk_contract(outcome))}
        tables = window_files(outcome.robust) if outcome.robust is not None else {}
        files = write_results(session, {**body, **tables}, command="risk")
        outcome = replace(outcome, files=files)
    return outcome


def _robust_window(
    analysis: StudyAnalysis, model: RiskModel, at: FloatArray, asked: RiskOptions, seed: int
) -> RobustWindow:
    names = analysis.coding.names
    pair = tuple(match_name(name, names) or name for name in asked.window)
    question = RobustQuestion(
        study=analysis.session.study, region=analysis.region, surfaces=analysis.surfaces,
        model=model, level=asked.probability, seed=seed, interval_level=asked.level,
    )  # fmt: skip
    if pair and (len(pair) != 2 or pair[0] == pair[1] or not set(pair) <= set(names)):
        raise _no_window(" and ".join(pair), names)
    try:
        return robust_window_of(analysis, question, at, (pair[0], pair[1]) if pair else None)
    except ValueError as error:
        if not pair:
            raise
        raise _no_window(f"{' and '.join(pair)} ({error})", names) from error


def risk_at(
    analysis: StudyAnalysis, model: RiskModel, at: FloatArray, plan: DrawPlan, *, level: float
) -> Risk:
    """Judge one recipe in production; asked the same again in one process, the same is given."""
    key = (str(analysis.session.folder.path), analysis.session.inputs(), plan, level, at.tobytes())
    return _LAST_RISK.or_find(key, lambda: assess_risk(model, at, plan, level=level))


def robust_window_of(
    analysis: StudyAnalysis,
    question: RobustQuestion,
    at: FloatArray,
    pair: tuple[str, str] | None = None,
) -> RobustWindow:
    """Find robust choice and window; asked the same again in one process, the same is given.

    Raises:
        OptimumError: See `find_robust_window`.
        ValueError: See `find_robust_window`.
    """
    asked = (question.level, question.seed, question.view, question.interval_level, pair)
    key = (str(analysis.session.folder.path), analysis.session.inputs(), asked, at.tobytes())
    return _LAST_WINDOW.or_find(key, lambda: find_robust_window(question, at, pair))


def _no_window(what: str, names: Sequence[str]) -> StudyError:
    return StudyError(
        f"there is no window over {what}",
        where="--window",
        allowed="two different settings with a range, one share at most, of " + ", ".join(names),
    )


def risk_model_of(analysis: StudyAnalysis) -> RiskModel:
    """Make the production batches of an analysed study ready to be drawn.

    Raises:
        OptimumError: No response with a limit can be drawn.
    """
    return make_risk_model(
        analysis.session.study, analysis.coding, analysis.surfaces, shared_of(analysis)
    )


def shared_of(analysis: StudyAnalysis) -> Shared:
    """Give what the responses of a study have in common."""
    return Shared(
        together=analysis.together,
        coefficients=coefficients_together(analysis.data, analysis.fitted),
        test_share=shares_of_test(analysis.data, analysis.fitted),
    )


def _refuse_options(asked: RiskOptions) -> None:
    if asked.at and asked.compromise:
        raise StudyError(
            "settings were given twice", where="millbase risk",
            allowed="either --at NAME=VALUE, once a setting, or --compromise",
        )  # fmt: skip
    if not 1 <= asked.draws <= MOST_DRAWS:
        raise StudyError(
            f"{asked.draws} draws", where="--draws", allowed=f"1 to {MOST_DRAWS}",
        )  # fmt: skip
    if asked.at_least is not None and not 0.0 <= asked.at_least <= 1.0:
        raise StudyError(
            f"{asked.at_least:g} is no probability", where="--at-least",
            allowed="0 to 1, such as 0.9",
        )  # fmt: skip
    if not 0.0 < asked.probability < 1.0:
        raise StudyError(
            f"{asked.probability:g} cannot be held by a robust choice", where="--probability",
            allowed="above 0 and below 1, such as 0.9",
        )  # fmt: skip


def _outside(
    row: FloatArray, analysis: StudyAnalysis, production: Production
) -> tuple[Finding, ...]:
    if bool(inside_region(analysis.region, row[None, :], production.columns)[0]):
        return ()
    return (
        Finding(
            level="caution",
            what="These settings lie outside the region of the brief: no run stands behind them.",
            advice="Believe the probability only after a run there.",
        ),
    )


def _gelled(analysis: StudyAnalysis, model: RiskModel) -> tuple[Finding, ...]:
    """Say that the chance of gelling is in no model."""
    named = [name for name in model.names if name in analysis.data and analysis.data[name].gelled]
    if not named:
        return ()
    runs = sorted({run for name in named for run in analysis.data[name].gelled})
    return (
        Finding(
            level="caution",
            what=f"{len(runs)} run{'s' if len(runs) > 1 else ''} gelled: the chance that a batch "
            "gels is not in the probability.",
            evidence={"runs": ", ".join(map(str, runs))},
            advice="Keep away from the settings that gelled.",
        ),
    )


def risk_contract(outcome: RiskOutcome) -> dict[str, Any]:
    """Give the contract's object for a risk."""
    risk = outcome.risk
    body = {
        "settings": outcome.settings,
        "settings_are": outcome.of,
        "probability": risk.probability.value,
        "probability_error": risk.probability.error,
        "probability_true": risk.probability_true.value,
        "probability_true_error": risk.probability_true.error,
        "product_of_singles": risk.product,
        "per_response": {one.response: _response_object(one) for one in risk.per_response},
        "contributions": [_contribution_object(one) for one in risk.contributions],
        "robust": robust_object(found.choice) if (found := outcome.robust) is not None else None,
        "window": _window(outcome),
        "transmitted": {
            one.response: {"sd": one.sd, "variance_by_source": dict(one.by_source)}
            for one in risk.transmitted
        },
        "outside": risk.outside,
        "left_out": dict(risk.left_out),
        "not_fitted": dict(outcome.analysis.not_fitted),
        "not_computed": dict(outcome.analysis.not_computed),
        "at_least": outcome.at_least,
        "level": risk.level,
        "draws": risk.plan.n,
        "scramblings": risk.plan.scramblings,
        "seed": outcome.seed,
    }
    return envelope(body, inputs=outcome.analysis.session.inputs(), findings=outcome.findings)


def _window(outcome: RiskOutcome) -> dict[str, Any] | None:
    if outcome.robust is None:
        return None
    analysis = outcome.analysis
    noise = production_of(analysis.session.study, analysis.coding).columns
    return window_object(outcome.robust, analysis.coding, noise)


def _response_object(one: ResponseRisk) -> dict[str, Any]:
    return {
        "unit": one.unit,
        "limits": list(one.limits),
        "expected": one.expected,
        "production_interval": one.production_interval,
        "true_interval": one.true_interval,
        "probability": one.probability.value,
        "probability_error": one.probability.error,
        "probability_true": one.probability_true.value,
        "probability_true_error": one.probability_true.error,
        "room": one.room,
        "room_in_sd": one.room_in_sd,
        "production_sd": one.production_sd,
        "transmitted_sd": one.transmitted_sd,
        "drawn_sd": one.drawn_sd,
    }


def _contribution_object(one: Contribution) -> dict[str, Any]:
    return {
        "source": one.source,
        "kind": one.kind,
        "probability_without": one.probability_without,
        "gain": one.gain.value,
        "gain_error": one.gain.error,
        "gain_by_response": dict(one.by_response),
        "variance_shares": {name: asdict(share) for name, share in one.shares.items()},
    }
