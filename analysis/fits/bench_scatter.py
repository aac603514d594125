"""The scatter of replicates beside the repeatability of the test: does the bench add to it?

Runs made twice differ by the test and by whatever weighing, milling and letting down add. Where
they differ by much more than the test, the bench is what to look at; where they differ by less than
the test lets any two readings differ, they were not made anew.

Source:
    χ² and F tests of variances: Snedecor and Cochran (1989), Statistical Methods, 8th ed., sections
    5.10 and 6.12 (from memory); pure error on planned settings, DESIGN.md, section 5, "Repeats".
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.fits.fit import Fit
from analysis.fits.fit_table import indicators
from analysis.fits.lack_of_fit import pure_error, replicate_groups
from analysis.fits.readings_on_scale import averaged
from analysis.fits.scales import forward, log_slope
from analysis.fits.strata_of_data import RUN, strata_of_data
from analysis.lab.response_data import ResponseData
from doe.methods.registry import METHODS
from doe.model.matrix import model_matrix
from doe.model.strata import units_word
from doe.study.finding import Finding
from doe.study.settings import FloatArray

# The usual 5 %, half of it each way.
_RISK = 0.05
# Up to here the bench adds about as much as the test: common practice, no source.
_FAR_ABOVE = 2.0
_LEAST_DF = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchScatter:
    """Replicates and the test, one standard deviation each, fitted scale.

    Attributes:
        sd: Of runs made twice.
        df: Degrees of freedom of that.
        within: The unit whose shift is taken off the runs compared, such as `batch`; empty where
            none is.
        repeats_within: Whether one such unit holds a setting twice; else equal settings lie in
            different ones.
        test_sd: What the test alone would make of the value of a run, the mean of its readings.
        test_df: Degrees of freedom; None where it is stated, not estimated.
        whose: Who states it, a phrase.
        ratio: `sd` over `test_sd`.
        interval: Of the ratio, 95 %.
        p: Two-sided, of a ratio of 1.
    """

    sd: float
    df: int
    within: str
    repeats_within: bool
    test_sd: float
    test_df: int | None
    whose: str
    ratio: float
    interval: tuple[float, float]
    p: float

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What follows of it at the bench."""
        return tuple(_findings(self))


def bench_scatter(data: ResponseData, fit: Fit) -> BenchScatter | None:
    """Compare replicates with the test; None without replicates or a known repeatability.

    Args:
        data: The response over its runs.
        fit: Its fit by least squares or REML.
    """
    if fit.method == "ml" or fit.model.bend is not None:
        return None
    ss, df, within, repeats_within = _replicates(data, fit)
    known = _of_the_test(data, fit)
    if df < _LEAST_DF or known is None or ss <= 0:
        return None
    test_sd, test_df, whose = known
    # A run is the mean of its readings: the test shows in it by 1/r of its variance.
    test_sd *= float(np.sqrt(np.mean([1.0 / len(run) for run in data.repeats])))
    if test_sd <= 0:
        return None
    f = ss / df / test_sd**2
    curve = stats.chi2(df, scale=1.0 / df) if test_df is None else stats.f(df, test_df)
    ends = [float(np.sqrt(f / curve.ppf(q))) for q in (1 - _RISK / 2, _RISK / 2)]
    return BenchScatter(
        sd=float(np.sqrt(ss / df)), df=df, within=within, repeats_within=repeats_within,
        test_sd=test_sd, test_df=test_df, whose=whose, ratio=float(np.sqrt(f)),
        interval=(ends[0], ends[1]),
        p=float(min(1.0, 2 * min(curve.sf(f), curve.cdf(f)))),
    )  # fmt: skip


def _replicates(data: ResponseData, fit: Fit) -> tuple[float, int, str, bool]:
    """Give sum of squares and degrees of freedom of runs planned alike, shared units taken off.

    Then the unit, and whether one of them holds equal settings.
    """
    z = averaged(data, fit.scale)
    planned = np.array([name is None for name in data.control])
    rows = model_matrix(data.actual.values[planned], fit.coding, fit.model)
    residuals = z.copy()
    residuals[planned] -= rows @ fit.coefficients
    groups = replicate_groups(data.planned.values, fit.coding, data.control)
    shared, name = _shared(data, fit)
    ss, df = pure_error(residuals, groups, shared)
    pairs = {(group, *unit) for group, unit in zip(groups, shared.tolist(), strict=True)}
    return ss, df, name, len(pairs) < len(groups)


def _shared(data: ResponseData, fit: Fit) -> tuple[FloatArray, str]:
    if fit.method == "reml":
        strata = strata_of_data(data)
        units = [one for one in strata.strata.random if one.name != RUN]
        if units:
            finest = units[-1].unit
            firsts = [int(np.flatnonzero(strata.rows == i)[0]) for i in range(len(data))]
            words = tuple(str(finest[i]) for i in firsts)
            return indicators(words, tuple(dict.fromkeys(words))), units[-1].name
    if fit.block_effects:
        return indicators(data.block, tuple(fit.block_effects)), ""
    return np.zeros((len(data), 0)), ""


def _of_the_test(data: ResponseData, fit: Fit) -> tuple[float, int | None, str] | None:
    """Give the standard deviation of one reading on the fitted scale, and where it comes from."""
    response = data.response
    if response.repeatability_sd and response.scale == fit.scale.name:
        return float(response.repeatability_sd), None, "the brief"
    method = METHODS.get(response.method or "")
    known = method.repeatability if method else None
    if known is not None and known.sd > 0:
        value = float(np.median([reading for run in data.repeats for reading in run]))
        sd = known.sd * abs(value) if known.is_relative else known.sd
        # To first order: dz = dz/dy dy.
        slope = float(np.exp(log_slope(fit.scale, np.array([value]))[0]))
        return sd * slope, None, known.source or f"the method '{response.method}'"
    sets = [forward(fit.scale, np.array(run)) for run in data.repeats if len(run) > 1]
    df = sum(len(run) - 1 for run in sets)
    if df < _LEAST_DF:
        return None
    ss = float(sum(((run - run.mean()) ** 2).sum() for run in sets))
    return float(np.sqrt(ss / df)), df, "the repeats of single runs in this study"


def _findings(found: BenchScatter) -> Iterator[Finding]:
    evidence: dict[str, float | int | str] = {
        "sd of runs made twice, fitted scale": _short(found.sd),
        "sd of the test, fitted scale": _short(found.test_sd),
        "ratio": _short(found.ratio),
        "from": _short(found.interval[0]),
        "to": _short(found.interval[1]),
        "degrees of freedom": found.df,
        "repeatability of": found.whose,
        "p": _short(found.p),
    }
    runs = _runs_words(found)
    source = "Snedecor and Cochran (1989), Statistical Methods, 8th ed. (from memory)"
    if found.p >= _RISK:
        yield Finding(
            level="note",
            what=f"{runs} scatter no more than the test itself: the bench adds "
            "nothing that shows.",
            evidence=evidence, advice="More readings of each run would sharpen the model.",
            source=source,
        )  # fmt: skip
    elif found.ratio < 1:
        yield Finding(
            level="caution",
            what=f"{runs} agree better than two readings of the test can: they look like "
            "second readings or one weighing, not like runs made anew, and every interval "
            "that rests on them is too narrow.",
            evidence=evidence,
            advice="Ask how the replicates were made; enter second readings as repeats of one run. "
            "If they were made anew, the stated repeatability is too large.",
            source=source,
        )  # fmt: skip
    else:
        far = found.interval[0] > _FAR_ABOVE
        yield Finding(
            level="caution" if far else "note",
            what=f"{runs} scatter {found.ratio:.2g} times as much as the test by itself: "
            "weighing, milling and letting down add the rest.",
            evidence=evidence,
            advice="Look at the bench: weighing of small amounts, temperature, premix time, the "
            "age of the batch when read. More readings of a run would help little.",
            source=source,
        )  # fmt: skip


def _runs_words(found: BenchScatter) -> str:
    """Say which runs are compared: no unit need hold a setting twice."""
    if not found.within:
        return "Runs made twice"
    if found.repeats_within:
        return f"Runs made twice within one {found.within}"
    each = found.within
    return (
        f"Runs of equal settings in different {units_word(each)}, the shift of each {each} "
        "taken off,"
    )


def _short(value: float) -> float:
    return float(f"{value:.3g}")
