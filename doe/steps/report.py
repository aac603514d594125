"""The step `report`: the page, the same on paper, every figure and every table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import doe
from analysis.agreement.judged_round import JudgedRound
from analysis.choice.compromise import Compromise
from analysis.choice.influential import InfluenceOnChoice
from analysis.choice.trade_offs import TradeOffs
from analysis.choice.with_full import WithFull
from analysis.figures.album import make_album
from analysis.figures.album_request import AlbumRequest
from analysis.figures.drawn import Drawn
from analysis.figures.files import save_figures
from analysis.report.content import Provenance, ReportContent
from analysis.report.decide.agreed import agreed_phrase
from analysis.report.decide.basis import DecisionBasis
from analysis.report.decide.page import render_decide
from analysis.report.page import Page, make_page, render_page
from analysis.report.paper.document import lacking_signs, lacking_words, report_pdf
from analysis.report.tables import report_tables
from analysis.risk.draws import DRAWS, DrawPlan
from analysis.risk.probability import Risk
from analysis.risk.robust import RobustQuestion
from analysis.risk.robust_window import RobustWindow
from analysis.surface.noise import full_row, production_of
from analysis.surface.survey import SurfaceLandscape
from doe.errors import OptimumError, PlanError
from doe.recipe.recipe import BatchRecipe
from doe.recipe.weigh import weigh_batch
from doe.steps.agreed_card import card_if_any
from doe.steps.analysis_of import StudyAnalysis
from doe.steps.choose import ChooseOptions, full_compromise, search_compromise, search_trade_offs
from doe.steps.confirm_judging import judged_rounds
from doe.steps.contract import envelope
from doe.steps.fit import study_landscapes
from doe.steps.influence import study_influence
from doe.steps.invented.marked import is_invented
from doe.steps.next_steps import steps_of_models
from doe.steps.results import json_bytes, write_results
from doe.steps.risk import risk_at, risk_model_of, robust_window_of
from doe.steps.session import Session, open_study
from doe.steps.status import analysis_if_any, study_status
from doe.study.finding import Finding

PAGE, PAPER = "report.html", "report.pdf"
CARD = "decide.html"
# Confidence of every interval of the page, 0..1.
LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReportOutcome:
    """The files of the report.

    Attributes:
        session: The study.
        page: The page for the screen.
        pdf: The same for the record, on paper.
        n_figures: Figures, each in two files.
        n_tables: Tables.
        findings: What the files cannot show.
        card: The page on which settings can be moved; None where no response can be told.
        is_no: Never; a report is written at any stage.
    """

    session: Session
    page: Path
    pdf: Path
    n_figures: int
    n_tables: int
    findings: tuple[Finding, ...] = ()
    card: Path | None = None
    is_no: bool = False

    def contract(self) -> dict[str, Any]:
        """Give the object that `report --json` prints."""
        body = {
            "page": str(self.page),
            "pdf": str(self.pdf),
            "card": str(self.card) if self.card else None,
            "figures": self.n_figures,
            "tables": self.n_tables,
        }
        return envelope(body, inputs=self.session.inputs(), findings=self.findings)


def report_study(path: Path, *, seed: int | None = None) -> ReportOutcome:
    """Write the report of a study, at whatever stage it is.

    Raises:
        StudyError: The study cannot be read, or its folder cannot be written.
    """
    session = open_study(path)
    analysis = analysis_if_any(session, with_full=True) if session.plan is not None else None
    compromise, why_not = _compromise(analysis, session.seed(seed))
    landscapes = _landscapes(analysis, compromise)
    trade_offs = _trade_offs(analysis, compromise, session.seed(seed))
    influence = _influence(analysis, compromise, session.seed(seed))
    risk, robust = _risk(analysis, compromise, session.seed(seed))
    shown = Shown(
        compromise=compromise, landscapes=landscapes, trade_offs=trade_offs, influence=influence,
        risk=risk, robust=robust,
    )  # fmt: skip
    figures = _figures(session, analysis, shown)
    content = _content(session, analysis, compromise, why_not, figures, session.seed(seed))
    content = replace(content, with_full=_with_full(analysis, compromise, session.seed(seed)))
    content = replace(content, landscapes=landscapes, trade_offs=trade_offs)
    content = replace(content, risk=risk, robust=robust)
    content = replace(content, influence=influence, agreed=card_if_any(session, analysis))
    content = replace(content, confirmations=_confirmations(session, analysis))
    card = _card(content, analysis)
    content = replace(content, card=CARD if card else "")
    pictures = save_figures({one.name: one.figure for one in figures}, made=_made(content))
    content = replace(content, pictures=pictures)
    tables, page = report_tables(content), make_page(content)
    files = {
        PAGE: render_page(page).encode("utf-8"),
        PAPER: report_pdf(page),
        **card,
        **{f"figures/{name}": data for name, data in pictures.items()},
        **{f"tables/{name}.csv": text.encode("utf-8") for name, text in tables.items()},
    }
    outcome = ReportOutcome(
        session=session, page=path / "results" / PAGE, pdf=path / "results" / PAPER,
        n_figures=len(figures), n_tables=len(tables), findings=_paper_findings(page),
        card=path / "results" / CARD if card else None,
    )  # fmt: skip
    # The copy on record must not depend on where the folder lies.
    places: dict[str, str | None] = {"page": f"results/{PAGE}", "pdf": f"results/{PAPER}"}
    places["card"] = f"results/{CARD}" if card else None
    files["report.json"] = json_bytes({**outcome.contract(), **places})
    write_results(session, files, command="report")
    return outcome


def _card(content: ReportContent, analysis: StudyAnalysis | None) -> dict[str, bytes]:
    """Write the page on which settings can be moved; nothing where no response can be told."""
    if analysis is None or not analysis.surfaces:
        return {}
    basis = DecisionBasis(
        study=content.study, region=analysis.region, surfaces=analysis.surfaces,
        provenance=content.provenance, compromise=content.compromise,
        not_fitted={**analysis.not_fitted, **analysis.not_computed}, invented=content.invented,
        seed=content.provenance.seed or 0, agreed=agreed_phrase(content.agreed),
    )  # fmt: skip
    return {CARD: render_decide(basis).encode("utf-8")}


def _paper_findings(page: Page) -> tuple[Finding, ...]:
    """Say which signs the paper lacks; the page for the screen leaves them to the browser."""
    lacking = lacking_signs(page)
    if not lacking:
        return ()
    advice = "Read such names on the page for the screen."
    return (Finding(level="note", what=lacking_words(lacking), advice=advice),)


def _made(content: ReportContent) -> str:
    """Say what made the figures, for whoever finds one alone."""
    made = content.provenance
    inputs = ", ".join(f"{name} {mark}" for name, mark in made.hashes.items() if name != "version")
    return f"millbase {made.version}, seed {made.seed}, inputs: {inputs}"


def _compromise(analysis: StudyAnalysis | None, seed: int) -> tuple[Compromise | None, str]:
    if analysis is None:
        return None, "No response could be fitted yet."
    try:
        return search_compromise(analysis, ChooseOptions(), seed), ""
    except OptimumError as error:
        return None, str(error)


def _with_full(
    analysis: StudyAnalysis | None, compromise: Compromise | None, seed: int
) -> WithFull | None:
    """Choose again with the full models, where terms were left out of some."""
    if analysis is None or compromise is None:
        return None
    return full_compromise(analysis, compromise, ChooseOptions(), seed)


def _trade_offs(
    analysis: StudyAnalysis | None, compromise: Compromise | None, seed: int
) -> TradeOffs | None:
    if analysis is None or compromise is None:
        return None
    return search_trade_offs(analysis, compromise, ChooseOptions(), seed)


def _confirmations(session: Session, analysis: StudyAnalysis | None) -> tuple[JudgedRound, ...]:
    if analysis is None:
        return judged_rounds(session)
    return judged_rounds(session, analysis.fits, analysis.coding)


def _influence(
    analysis: StudyAnalysis | None, compromise: Compromise | None, seed: int
) -> InfluenceOnChoice | None:
    """Judge what the compromise hangs on, near at hand: `choose --influence` searches further."""
    if analysis is None or compromise is None or not analysis.fitted:
        return None
    return study_influence(analysis, compromise, seed, thorough=False)


def _landscapes(
    analysis: StudyAnalysis | None, compromise: Compromise | None
) -> dict[str, SurfaceLandscape]:
    """Survey every model from the recommended recipe, or from the middle of the region."""
    if analysis is None:
        return {}
    if compromise is None:
        return study_landscapes(analysis)
    production = production_of(analysis.session.study, analysis.coding)
    return study_landscapes(
        analysis, full_row(compromise.best.settings, analysis.coding, production)
    )


def _risk(
    analysis: StudyAnalysis | None, compromise: Compromise | None, seed: int
) -> tuple[Risk | None, RobustWindow | None]:
    """Judge the compromise in production; nothing where no limit can be missed."""
    if analysis is None or compromise is None:
        return None, None
    study = analysis.session.study
    production = production_of(study, analysis.coding)
    at = full_row(compromise.best.settings, analysis.coding, production)
    try:
        model = risk_model_of(analysis)
        question = RobustQuestion(
            study=study, region=analysis.region, surfaces=analysis.surfaces, model=model, seed=seed
        )
        risk = risk_at(analysis, model, at, DrawPlan(draws=DRAWS, seed=seed), level=LEVEL)
        return risk, robust_window_of(analysis, question, at)
    except OptimumError:
        return None, None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shown:
    """What the figures show beside the models themselves."""

    compromise: Compromise | None
    landscapes: Mapping[str, SurfaceLandscape]
    trade_offs: TradeOffs | None
    influence: InfluenceOnChoice | None
    risk: Risk | None
    robust: RobustWindow | None


def _figures(session: Session, analysis: StudyAnalysis | None, shown: Shown) -> tuple[Drawn, ...]:
    if analysis is None:
        return ()
    return make_album(
        AlbumRequest(
            study=session.study, region=analysis.region, fitted=analysis.fitted,
            computed=analysis.computed, data=analysis.data, compromise=shown.compromise,
            landscapes=shown.landscapes, trade_offs=shown.trade_offs, influence=shown.influence,
            risk=shown.risk, robust=shown.robust, confirmations=_confirmations(session, analysis),
        )
    )  # fmt: skip


def _content(
    session: Session,
    analysis: StudyAnalysis | None,
    compromise: Compromise | None,
    why_not: str,
    figures: tuple[Drawn, ...],
    seed: int,
) -> ReportContent:
    status, _ = study_status(session, analysis)
    return ReportContent(
        study=session.study,
        provenance=Provenance(version=doe.__version__, seed=seed, hashes=session.inputs()),
        plan=session.plan,
        data=analysis.data if analysis else {},
        fitted=analysis.fitted if analysis else {},
        comparisons=analysis.comparisons if analysis else {},
        not_fitted=analysis.not_fitted if analysis else {},
        computed=tuple(analysis.computed) if analysis else (),
        compromise=compromise,
        no_compromise=why_not,
        batch_recipe=_batch_recipe(session, compromise),
        figures=figures,
        findings=analysis.findings if analysis else (),
        status=status,
        model_steps=tuple(one.sentence for one in steps_of_models(analysis)) if analysis else (),
        invented=is_invented(session),
    )


def _batch_recipe(session: Session, compromise: Compromise | None) -> BatchRecipe | None:
    """Weigh out one batch of the compromise; None where the brief does not say of what."""
    if compromise is None or session.study.millbase is None:
        return None
    try:
        return weigh_batch(session.study, dict(compromise.best.settings))
    except PlanError:
        return None
