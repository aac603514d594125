"""What a prediction cannot say: settings that no run speaks for, and intervals nothing tells."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.fits.fitted_response import FittedResponse
from analysis.fits.gaps import Gap, NeverMet, in_gaps
from analysis.surface.prediction import Prediction
from doe.study.finding import Finding
from doe.study.settings import FloatArray

_LISTED = 8


def without_gaps(prediction: Prediction, values: FloatArray, gaps: Sequence[Gap]) -> Prediction:
    """Leave out of a prediction the settings, shape (n, k), that no run speaks for."""
    where, _ = in_gaps(values, gaps)
    if not where.any():
        return prediction
    return replace(
        prediction,
        value=np.where(where, np.nan, prediction.value),
        mean_interval=np.where(where[:, None], np.nan, prediction.mean_interval),
        run_interval=np.where(where[:, None], np.nan, prediction.run_interval),
    )


def gap_findings(values: FloatArray, gaps: Mapping[str, Sequence[Gap]]) -> tuple[Finding, ...]:
    """Say which of the settings, shape (n, k), cannot be predicted for which responses, and why."""
    told: dict[tuple[tuple[int, ...], tuple[str, ...]], list[str]] = {}
    for name, own in gaps.items():
        where, why = in_gaps(values, own)
        if where.any():
            rows = tuple(int(i) + 1 for i in np.flatnonzero(where))
            told.setdefault((rows, why), []).append(name)
    return tuple(
        Finding(
            level="caution",
            what=f"{_named(names)} cannot be predicted at {_rows(rows)}: {'; '.join(why)}.",
            evidence={"rows": len(rows)},
            advice="Ask at settings that the runs speak for, or make a run there.",
        )
        for (rows, why), names in told.items()
    )


def without_interval(fitted: Mapping[str, FittedResponse]) -> tuple[Finding, ...]:
    """Name the responses whose value stands without an interval, with the reason."""
    full = [name for name, one in fitted.items() if one.assessment.residual_df < 1]
    exact = [
        name
        for name, one in fitted.items()
        if name not in full and not math.isfinite(float(np.sum(one.fit.covariance)))
    ]
    reasons = (
        (full, "the model passes through every run, so that nothing is left to tell an error by"),
        (exact, "readings do not scatter about the model, so that nothing tells an error"),
    )
    return tuple(
        Finding(
            level="caution",
            what=f"No interval can be given for {_named(names)}: {why}. The value alone says "
            "nothing of how far a new run may lie from it.",
            evidence={"responses without an interval": len(names)},
            advice="Make more runs, some of them twice, or read in finer steps.",
        )
        for names, why in reasons
        if names
    )


def not_searched(gaps: Mapping[str, Sequence[Gap]]) -> tuple[Finding, ...]:
    """Say at which combinations of levels no recipe was looked for, as no run has them."""
    cells = dict.fromkeys(
        gap.words
        for own in gaps.values()
        for gap in own
        if isinstance(gap, NeverMet) and len(gap.columns) > 1
    )
    return tuple(
        Finding(
            level="caution",
            what=f"No recipe was looked for where nothing can be said: {words}.",
            evidence={"gaps": len(cells)},
            advice="Make a run there if that combination may be wanted.",
        )
        for words in cells
    )


def _named(names: Sequence[str]) -> str:
    return " and ".join(f"'{name}'" for name in names)


def _rows(rows: Sequence[int]) -> str:
    named = ", ".join(str(row) for row in rows[:_LISTED]) + (" …" if len(rows) > _LISTED else "")
    return f"row {named}" if len(rows) == 1 else f"rows {named}"
