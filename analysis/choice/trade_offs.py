"""Trade-offs: everything the team asks once it has a compromise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.choice.again import Search, search_of
from analysis.choice.compromise import Compromise
from analysis.choice.frontier import Frontier, find_frontier
from analysis.choice.least_dose import GIVEN_AWAY, LeastDose, find_least_dose
from analysis.choice.limit_prices import LimitPrices, find_limit_prices
from analysis.choice.regret import LeastRegret, find_least_regret
from analysis.choice.weights import Pull, pull_finding, pull_of_views, pull_of_weights
from analysis.surface.exact import Surface
from doe.model.region import Region
from doe.study.brief import Study
from doe.study.finding import Finding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TradeOffs:
    """What stands against what, seen from the compromise.

    Attributes:
        frontier: The non-dominated recipes; None with fewer than two responses that have an aim.
        weights: The compromise with each importance halved and doubled.
        views: The compromise under each role's own importances.
        least_regret: The setting of least worst regret; None where the brief has no view.
        limit_prices: What relaxing each limit gains.
        least_dose: The lowest dose that does it; None without a dose.
    """

    frontier: Frontier | None
    weights: tuple[Pull, ...]
    views: tuple[Pull, ...]
    least_regret: LeastRegret | None
    limit_prices: LimitPrices
    least_dose: LeastDose | None

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the team should know."""
        found = (
            pull_finding(self.weights),
            self.least_regret.finding if self.least_regret else None,
            self.limit_prices.finding,
            self.least_dose.finding if self.least_dose else None,
        )
        return tuple(one for one in found if one is not None)


def find_trade_offs(
    study: Study,
    region: Region,
    fits: Mapping[str, Surface],
    found: Compromise,
    *,
    seed: int,
    level: float = 0.95,
    given_away: float = GIVEN_AWAY,
) -> TradeOffs:
    """Search for every trade-off round a compromise.

    Args:
        study: The brief.
        region: Its region.
        fits: Models by response, computed responses among them.
        found: The compromise on them.
        seed: Decides the starts; the same seed gives the same answers.
        level: Confidence of intervals.
        given_away: Overall desirability that the lowest dose may cost.
    """
    search: Search = search_of(study, region, fits, found, seed=seed, level=level)
    return TradeOffs(
        frontier=find_frontier(search),
        weights=pull_of_weights(search),
        views=pull_of_views(search),
        least_regret=find_least_regret(search),
        limit_prices=find_limit_prices(search),
        least_dose=find_least_dose(search, given_away),
    )
