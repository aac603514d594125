"""From the repeats of each run to the one value that is fitted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.fits.fit import Scale
from analysis.fits.scales import allowed_values, forward, log_slope, scale_words
from analysis.lab.response_data import ResponseData, in_words
from doe.errors import FitError
from doe.study.finding import Finding
from doe.study.settings import FloatArray


def averaged(data: ResponseData, scale: Scale) -> FloatArray:
    """Average the repeats of each run on the fitted scale, shape (n,).

    Raises:
        FitError: The scale cannot take some reading; the runs are named.
    """
    _refuse_impossible(data, scale)
    return np.array([forward(scale, np.array(run)).mean() for run in data.repeats])


def every_reading(data: ResponseData, scale: Scale) -> FloatArray:
    """Give all readings on the fitted scale, run by run, one a row.

    Raises:
        FitError: The scale cannot take some reading; the runs are named.
    """
    _refuse_impossible(data, scale)
    return forward(scale, np.array([value for run in data.repeats for value in run]))


def log_jacobian_of_readings(data: ResponseData, scale: Scale) -> float:
    """Give Σ ln |dz/dy| over single readings."""
    return float(sum(log_slope(scale, np.array(run)).sum() for run in data.repeats))


def log_jacobian(data: ResponseData, scale: Scale) -> float:
    """Give Σ ln |dz/dy| over runs: each by the mean of its repeats.

    Makes likelihoods on different scales comparable (Box and Cox 1964, equation 7).
    """
    return float(sum(log_slope(scale, np.array(run)).mean() for run in data.repeats))


def repeat_findings(repeats: Sequence[Sequence[float]]) -> tuple[Finding, ...]:
    """Say when runs were read unequally often, as all are weighed alike here."""
    counts = [len(run) for run in repeats]
    if len(set(counts)) < 2:
        return ()
    return (
        Finding(
            level="note",
            what="Runs were read unequally often; each run counts the same in this fit, whatever "
            "the number of its readings.",
            evidence={"fewest readings": min(counts), "most readings": max(counts)},
            advice="Read every run equally often where it matters.",
        ),
    )


def _refuse_impossible(data: ResponseData, scale: Scale) -> None:
    bad = {
        run: value
        for run, repeats in zip(data.run, data.repeats, strict=True)
        for value in repeats
        if not allowed_values(scale, np.array([value]))[0]
    }
    if not bad:
        return
    named = in_words("run", list(bad))
    shown = ", ".join(f"{value:g}" for value in list(bad.values())[:4])
    raise FitError(
        f"the scale '{scale_words(scale)}' cannot take the reading of {named} ({shown})",
        where=f"response '{data.response.name}'",
        allowed=_allowed(scale),
        do="Correct or exclude the reading, or fit the response as read (scale 'identity').",
    )


def _allowed(scale: Scale) -> str:
    if scale.name == "logit" and scale.bounds is not None:
        return f"values between {scale.bounds[0]:g} and {scale.bounds[1]:g}, ends excluded"
    if scale.name == "square root":
        return "values of zero or more"
    return "finite values" if scale.name == "identity" else "values above zero"
