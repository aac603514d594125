"""How far a variance component may lie from its estimate: by the profile of the REML likelihood.

Source:
    Searle, Casella and McCulloch (1992), Variance Components, section 3.8 (likelihood intervals);
    open at 0 where the likelihood there is no lower than at the limit.
"""

from __future__ import annotations

import numpy as np
from scipy import optimize, stats

from analysis.fits.variance_model import VarianceModel
from doe.study.settings import FloatArray

# Ends are found to this part of themselves: limits of a variance are read to two digits.
_DIGITS = 1e-4
_STEPS = 60
_SETTLED = 1e-9
# Each way, the search for an end doubles its distance this often at most (a factor of 10^18).
_DOUBLINGS = 60
# Where others stand at 0, the part of the total they start from when one is held elsewhere.
_BEGIN = 1e-3
_LONGEST = 2.0


def component_intervals(
    model: VarianceModel, variances: FloatArray, *, level: float = 0.95
) -> tuple[tuple[float, float], ...]:
    """Give the interval of each component.

    Args:
        model: What the rows say.
        variances: At the highest restricted likelihood, shape (r + 1,), residual last.
        level: Confidence, 0..1.

    Returns:
        r + 1 pairs; from 0 where that end is open, to infinity where the other is.
    """
    profile = _Profile(model, variances)
    drop = float(stats.chi2.ppf(level, 1)) / 2
    return tuple(
        (profile.end(k, drop, -1.0), profile.end(k, drop, 1.0)) for k in range(len(variances))
    )


class _Profile:
    """The likelihood of one component, the others at their best."""

    def __init__(self, model: VarianceModel, variances: FloatArray) -> None:
        self._model, self._best = model, variances
        self._top = model.at_variances(variances).value
        self._total = float(variances.sum())

    def end(self, k: int, drop: float, side: float) -> float:
        def above(log_value: float) -> float:
            return self.height(k, float(np.exp(log_value))) - (self._top - drop)

        best = float(self._best[k])
        if side < 0 and (
            best <= 0 or (k < self._model.r and self.height(k, 0.0) > self._top - drop)
        ):
            return 0.0
        near = float(np.log(best if best > 0 else _BEGIN * self._total))
        if best <= 0 and above(near) < 0:
            # The limit lies below even this: come down to it from the side of 0.
            near -= 20.0
        width = 0.25
        for _ in range(_DOUBLINGS):
            far = near + side * width
            if above(far) < 0:
                root = optimize.brentq(above, min(near, far), max(near, far), xtol=_DIGITS)
                return float(np.exp(root))
            near, width = far, min(2 * width, 2.0)
        return float("inf") if side > 0 else 0.0

    def height(self, k: int, value: float) -> float:
        """Give the highest likelihood with component k held at a value."""
        v = self._best.copy()
        free = np.arange(len(v)) != k
        v[free & (v <= 0)] = _BEGIN * self._total
        if k < self._model.r and self._best[k] > 0:
            # What the held one gives up, the others take on.
            v[-1] = max(v[-1], 1e-12 * self._total)
        v[k] = value
        here = self._model.at_variances(v)
        for _ in range(_STEPS):
            slope = (v * here.score)[free]
            known = np.outer(v[free], v[free]) * here.known[np.ix_(free, free)]
            step = np.linalg.solve(known + 1e-9 * np.diag(np.diag(known) + 1e-12), slope)
            if float(slope @ step) < _SETTLED:
                break
            step = step / max(1.0, float(np.abs(step).max()) / _LONGEST)
            while True:
                moved = v.copy()
                moved[free] = v[free] * np.exp(step)
                there = self._model.at_variances(moved)
                if there.value >= here.value or not float(np.abs(step).max()) >= 1e-8:
                    break
                step = step / 2
            if there.value < here.value:
                break
            v, here = moved, there
        return here.value
