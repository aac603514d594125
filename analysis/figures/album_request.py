"""What an album is drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.agreement.judged_round import JudgedRound
from analysis.choice.compromise import Compromise
from analysis.choice.influential import InfluenceOnChoice
from analysis.choice.trade_offs import TradeOffs
from analysis.fits.fitted_response import FittedResponse
from analysis.lab.response_data import ResponseData
from analysis.risk.probability import Risk
from analysis.risk.robust_window import RobustWindow
from analysis.surface.exact import ExactResponse, Surface
from analysis.surface.noise import Production, full_row, production_of
from analysis.surface.survey import SurfaceLandscape
from doe.model.region import Region
from doe.model.vertices import overall_centroid
from doe.study.brief import Study
from doe.study.settings import FloatArray

# Responses whose landscape is drawn, most important first; `fit --json` has all.
MOST_LANDSCAPES = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AlbumRequest:
    """What the figures are drawn from.

    Attributes:
        study: The brief.
        region: Its region.
        fitted: Models by response.
        computed: Responses that the recipe gives; they have no model to check.
        data: Readings by response, for the runs near a slice and their order as done.
        compromise: The recommended recipe; without one, slices go through the middle.
        influence: What it hangs on, where that was looked at.
        trade_offs: What stands against what round it; without it no frontier is drawn.
        landscapes: Surveys by response, where they are known already; not made twice.
        confirmations: Rounds of confirmation batches; those that are judged are drawn.
        risk: Of the compromise in production; without it nothing of it is drawn.
        robust: Robust choice, window and tolerance box beside it.
    """

    study: Study
    region: Region
    fitted: Mapping[str, FittedResponse]
    computed: Mapping[str, ExactResponse] = field(default_factory=dict)
    data: Mapping[str, ResponseData] = field(default_factory=dict)
    compromise: Compromise | None = None
    influence: InfluenceOnChoice | None = None
    trade_offs: TradeOffs | None = None
    landscapes: Mapping[str, SurfaceLandscape] = field(default_factory=dict)
    confirmations: tuple[JudgedRound, ...] = ()
    risk: Risk | None = None
    robust: RobustWindow | None = None

    @property
    def fits(self) -> dict[str, Surface]:
        """Whatever tells a response at settings: the fits alone, then what is computed."""
        return {**{name: fitted.fit for name, fitted in self.fitted.items()}, **self.computed}

    @property
    def production(self) -> Production:
        """Where the noise factors lie."""
        return production_of(self.study, self.region.coding)

    @property
    def base(self) -> FloatArray:
        """The recipe that slices go through, shape (k,), lab units."""
        if self.compromise is not None:
            return full_row(self.compromise.best.settings, self.region.coding, self.production)
        centre: FloatArray = overall_centroid(self.region)[0]
        return centre

    @property
    def held(self) -> str:
        """Where the settings stand that a figure does not vary, a phrase."""
        return "as recommended" if self.compromise is not None else "in the middle of the region"
