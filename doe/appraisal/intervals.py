"""How wide the interval of a predicted mean will be: Satterthwaite's degrees of freedom.

The variance v of a prediction is a combination of variance components; with their expected REML
information I and the slopes g of v, df = 2 v² / (g' I^-1 g). In a balanced split-plot that is
the count of the stratum where the prediction varies; elsewhere it lies in between.

Source:
    Giesbrecht and Burns (1985), Biometrics 41, 477-486.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from doe.appraisal.freedom import Freedom
from doe.appraisal.information import Information, Ratio, alone_variance, whole_precision
from doe.appraisal.profile import Terrain
from doe.appraisal.runs import PlanRuns
from doe.study.settings import FloatArray

# Shares of the region whose half-widths are told.
SHARES = (0.5, 0.9, 1.0)
# Confidence of the intervals.
LEVEL = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfWidth:
    """Half an interval of a predicted mean that a share of the region does not exceed.

    Attributes:
        share: Share of the region, 0 to 1.
        half_width: In residual standard deviations.
    """

    share: float
    half_width: float


def half_widths(
    information: Information,
    runs: PlanRuns,
    terrain: Terrain,
    freedom: Freedom,
    ratio: Ratio,
    worst: FloatArray,
) -> tuple[HalfWidth, ...]:
    """Tell how well means are predicted; none where some stratum leaves no degree of freedom.

    Args:
        information: Of a plan that can estimate the model.
        runs: Its runs.
        terrain: The region.
        freedom: Degrees of freedom by stratum.
        ratio: Variance ratio.
        worst: Settings where the prediction variance is largest, shape (k,), lab units.
    """
    if min(freedom.residual.values()) < 1:
        return ()
    rows = np.vstack([terrain.sample_rows, terrain.corner_rows, terrain.rows(worst[None, :])])
    df = effective_df(rows, information, runs, ratio)
    half = special.stdtrit(df, (1 + LEVEL) / 2) * np.sqrt(information.variance_at(rows))
    evenly = half[: len(terrain.sample_rows)]
    return tuple(
        HalfWidth(
            share=share,
            half_width=float(half.max() if share == 1.0 else np.quantile(evenly, share)),
        )
        for share in SHARES
    )


def effective_df(
    rows: FloatArray, information: Information, runs: PlanRuns, ratio: Ratio
) -> FloatArray:
    """Give Satterthwaite's degrees of freedom of f'b for rows f, shape (g, p).

    Args:
        rows: Rows of the model matrix, or contrasts.
        information: Of a plan that can estimate the model.
        runs: Its runs, every stratum with a degree of freedom left.
        ratio: Variance ratio.

    Returns:
        Shape (g,).
    """
    P = whole_precision(runs, ratio)
    keep = runs.is_design
    pull = P[:, keep] @ information.X @ information.root
    Q = P - pull @ pull.T
    # Scaled so that the residual of this plan, single units and all, stands for one component.
    members = [np.sqrt(1.0 + alone_variance(runs, ratio)) * np.eye(len(P))]
    members += [
        (one.unit[:, None] == np.unique(one.unit)[None, :]).astype(np.float64)
        for one in runs.strata.random
    ]
    # tr(Q V_k Q V_l) = |Z_k' Q Z_l|², V = ZZ'.
    known = np.array([[0.5 * float(((Z.T @ Q @ Y) ** 2).sum()) for Y in members] for Z in members])
    phi = rows @ information.root
    slopes = np.array([((phi @ (pull.T @ Z)) ** 2).sum(axis=1) for Z in members])
    variance = (phi**2).sum(axis=1)
    spread = (slopes * np.linalg.solve(known, slopes)).sum(axis=0)
    return np.asarray(2 * variance**2 / spread)
