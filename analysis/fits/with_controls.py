"""The coefficients of a surface and the means of its controls, with what ties them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.fits.kenward_roger import KenwardRoger, single_df
from doe.study.settings import FloatArray, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WithControls:
    """Estimates of p coefficients and c controls, fitted scale.

    Attributes:
        names: The c controls.
        estimates: Coefficients, then means of the controls, shape (p + c,).
        covariance: Of all of them, shape (p + c, p + c); NaN where it is not known.
        estimate_df: Degrees of freedom of each standard error, shape (p + c,).
        adjustment: By REML only: what degrees of freedom of contrasts need.
    """

    names: tuple[str, ...]
    estimates: FloatArray
    covariance: FloatArray
    estimate_df: FloatArray
    adjustment: KenwardRoger | None = None

    def __post_init__(self) -> None:
        size = len(self.estimates)
        if self.covariance.shape != (size, size) or self.estimate_df.shape != (size,):
            raise ValueError(f"{size} estimates, covariance of shape {self.covariance.shape}")
        for name in ("estimates", "covariance", "estimate_df"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def n_surface(self) -> int:
        """How many of the estimates are coefficients of the surface."""
        return len(self.estimates) - len(self.names)

    def mean(self, control: str) -> float:
        """Give the mean of a control, fitted scale."""
        return float(self.estimates[self.n_surface + self.names.index(control)])

    def against(self, rows: FloatArray, control: str, *, slope: float = 1.0) -> FloatArray:
        """Set rows of the model matrix against a control.

        Args:
            rows: Shape (g, p).
            control: Its name.
            slope: What the control's mean is multiplied by.

        Returns:
            Contrasts of all estimates, shape (g, p + c).
        """
        means = np.zeros((len(rows), len(self.names)))
        means[:, self.names.index(control)] = -slope
        return np.hstack([rows, means])

    def df(self, L: FloatArray) -> FloatArray:
        """Give the degrees of freedom of each contrast alone, shape (g,); NaN where there are none.

        By Kenward and Roger where there are strata; else the harmonic mean of the estimates' own,
        weighted by what each adds to the variance.
        """
        if self.adjustment is not None:
            return single_df(self.adjustment, L)
        parts = np.abs(L * (L @ self.covariance))
        with np.errstate(divide="ignore", invalid="ignore"):
            combined: FloatArray = parts.sum(axis=1) / (parts / self.estimate_df).sum(axis=1)
        return combined
