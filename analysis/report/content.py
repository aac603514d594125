"""What a report is made from: every value that the page, its tables and its figures rest on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.agreement.formula_card import FormulaCard
from analysis.agreement.judged_round import JudgedRound
from analysis.choice.compromise import Compromise
from analysis.choice.influential import InfluenceOnChoice
from analysis.choice.trade_offs import TradeOffs
from analysis.choice.with_full import WithFull
from analysis.figures.drawn import Drawn
from analysis.fits.fitted_response import FittedResponse
from analysis.lab.response_data import ResponseData
from analysis.risk.probability import Risk
from analysis.risk.robust_window import RobustWindow
from analysis.surface.level_comparison import LevelComparison
from analysis.surface.survey import SurfaceLandscape
from doe.recipe.recipe import BatchRecipe
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.plan import Plan
from doe.study.status import StatusLine


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What the report rests on, for whoever must make it again; no clock.

    Attributes:
        version: Version of millbase.
        seed: Seed of every random choice in the analysis; None if there was none.
        hashes: Hash of each input, by its name.
    """

    version: str
    seed: int | None = None
    hashes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReportContent:
    """Everything that a report says; only study and provenance must be there.

    Attributes:
        study: The brief.
        provenance: Version, seed and hashes.
        plan: The runs; None before there are any.
        data: Readings by response, as they were gathered.
        fitted: Models by response.
        comparisons: By response, levels of choices on which the range of a factor hangs.
        landscapes: By response, the landscape of its surface seen from the recipe.
        not_fitted: For each response without a model: why, a phrase.
        computed: Names of the responses that the recipe gives without readings.
        compromise: The recommended recipe; None if there is none yet.
        trade_offs: What stands against what round it; None where it was not searched for.
        with_full: The compromise of the full models, where terms were left out of some.
        no_compromise: Why there is none, a sentence.
        influence: What the compromise hangs on; None where it was not looked at.
        batch_recipe: Grams of one batch of the recommended recipe; None if the brief has no batch.
        confirmations: Rounds of confirmation batches as they stand, oldest first.
        figures: Drawn figures, in the order of the album.
        pictures: The figures as files by name, where they are written already; not drawn twice.
        findings: What the reader ought to know beside what the values carry themselves.
        status: Where the study stands.
        next_steps: What to do next, sentences; empty for the house's own advice.
        model_steps: What the models ask for before they are relied on, sentences.
        invented: Whether the readings are invented.
        card: File beside the report in which settings can be moved; empty without one.
        risk: Of the recommended recipe in production; None without limits or a recipe.
        robust: Robust choice, window and tolerance box; None where there is no risk.
        agreed: The latest version of the agreement as a card; None before one was proposed.
    """

    study: Study
    provenance: Provenance
    plan: Plan | None = None
    data: Mapping[str, ResponseData] = field(default_factory=dict)
    fitted: Mapping[str, FittedResponse] = field(default_factory=dict)
    comparisons: Mapping[str, tuple[LevelComparison, ...]] = field(default_factory=dict)
    landscapes: Mapping[str, SurfaceLandscape] = field(default_factory=dict)
    not_fitted: Mapping[str, str] = field(default_factory=dict)
    computed: tuple[str, ...] = ()
    compromise: Compromise | None = None
    with_full: WithFull | None = None
    trade_offs: TradeOffs | None = None
    no_compromise: str = ""
    influence: InfluenceOnChoice | None = None
    batch_recipe: BatchRecipe | None = None
    confirmations: tuple[JudgedRound, ...] = ()
    figures: tuple[Drawn, ...] = ()
    pictures: Mapping[str, bytes] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    status: tuple[StatusLine, ...] = ()
    next_steps: tuple[str, ...] = ()
    model_steps: tuple[str, ...] = ()
    invented: bool = False
    card: str = ""
    risk: Risk | None = None
    robust: RobustWindow | None = None
    agreed: FormulaCard | None = None

    @property
    def standing(self) -> tuple[StatusLine, ...]:
        """Where the study stands, without the line on the report, which is being read."""
        return tuple(line for line in self.status if not line.text.startswith("Report:"))
