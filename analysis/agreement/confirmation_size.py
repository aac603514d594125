"""How many confirmation batches are needed for what.

For each number of batches: how closely their mean is foretold, what distance from a limit they can
tell, how often a right formula passes, how often one that is off by a stated amount is found out.

Source:
    See `mean_prediction` and `round_draws`; power of such a check as of any test, Montgomery
    (2013), Design and Analysis of Experiments, 8th ed., section 2.4, from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from scipy import stats

from analysis.agreement.basis import ConfirmBasis
from analysis.agreement.mean_prediction import MeanPrediction, mean_interval
from analysis.agreement.round_draws import (
    RoundDraws,
    all_inside,
    bonferroni,
    draw_rounds,
    level_of_each,
)
from analysis.agreement.units import even_units
from analysis.fits.fit import Scale
from analysis.fits.scales import inverse
from analysis.surface.acceptance import AcceptLimit
from doe.study.sentence import listed
from doe.study.settings import BoolArray, FloatArray

MOST_BATCHES = 8
# One batch cannot tell a bad day from a bad batch; our own choice.
FEWEST_BATCHES = 2
# A formula that is off is to be found out so often, the usual power of a test [practice].
FOUND_OUT = 0.8
# Found out less often than the toss of a coin would: no test to rely on.
TOSS = 0.5
# Where the brief states no effect: off by so many standard deviations of one run; our own choice.
OFF_IN_SD = 2.0
# Less than this part is told as none.
SEEN = 0.005
# A further batch that narrows every interval by less than this part adds little; our own choice.
LITTLE = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeOfResponse:
    """What so many batches tell of one response; response unit unless it says otherwise.

    Attributes:
        response: Its name.
        unit: Its unit.
        value: What is foretold.
        interval: Where the mean must lie.
        half_width: Half of that on the fitted scale.
        told_from_limit: Least distance of the true mean from a limit, on its good side, that the
            batches alone show, at the level, one-sided; None without a limit.
        off: How far off, fitted scale, a formula is taken to be.
        off_words: The same in words.
        fails_if_off: How often the rule then fails.
    """

    response: str
    unit: str
    value: float
    interval: tuple[float, float]
    half_width: float
    told_from_limit: float | None
    off: float
    off_words: str
    fails_if_off: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmSize:
    """What so many batches tell.

    Attributes:
        batches: How many.
        days: On how many days.
        per_batch: In how many units each is read.
        each_level: Level of each response's own interval.
        passes_if_right: How often a right formula passes the intervals and the limits.
        inside_if_right: How often it passes the intervals.
        responses: Response by response.
    """

    batches: int
    days: int
    per_batch: int
    each_level: float
    passes_if_right: float
    inside_if_right: float
    responses: tuple[SizeOfResponse, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeAsked:
    """What sizes are compared for.

    Attributes:
        days: Most days to spread batches over; None for one day a batch.
        per_batch: Units that each batch is read in.
        level: Joint chance that a right formula passes the intervals, 0..1.
        effects: How far off a formula is that must be found out, fitted scale, by response.
        seed: Of the draws.
        most: Most batches to look at.
    """

    days: int | None = None
    per_batch: int = 1
    level: float = 0.95
    effects: Mapping[str, float] = field(default_factory=dict)
    seed: int = 1
    most: int = MOST_BATCHES


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Trial:
    """Rounds drawn of one size, held against the rule; fitted scales.

    Attributes:
        scales: Of the responses, by name.
        limits: Acceptance limits; those of other responses are passed over.
        centre: What is foretold, shape (m,).
        sds: Standard deviations of the means about that, shape (m,).
        df: Their degrees of freedom.
        means: Of the rounds, the models' error left out, shape (n, m).
        batches: Of their batches, shape (n, b, m).
    """

    scales: Mapping[str, Scale]
    limits: Sequence[AcceptLimit]
    centre: FloatArray
    sds: FloatArray
    df: Sequence[float]
    means: FloatArray
    batches: FloatArray

    @classmethod
    def of(
        cls,
        basis: ConfirmBasis,
        foretold: Sequence[MeanPrediction],
        drawn: RoundDraws,
        limits: Sequence[AcceptLimit],
    ) -> _Trial:
        """Set what was foretold beside what was drawn."""
        return cls(
            scales={name: fit.scale for name, fit in basis.fits.items()}, limits=limits,
            centre=np.array([one.centre for one in foretold]),
            sds=np.array([one.sd for one in foretold]), df=[one.df for one in foretold],
            means=drawn.means, batches=drawn.batch_values,
        )  # fmt: skip

    def off_in_sd(self, shift: FloatArray) -> FloatArray:
        """Give how far means lie off if the truth does by `shift`, (m,) or (n, m), to (n, m)."""
        off: FloatArray = (self.means + shift) / self.sds
        return off

    def inside(self, shift: FloatArray, each: float) -> BoolArray:
        """Tell which rounds have every mean inside its interval of level `each`, shape (n,)."""
        return all_inside(self.off_in_sd(shift), self.df, each)

    def within(self, shift: FloatArray) -> BoolArray:
        """Tell which rounds have every batch within every limit, shape (n,)."""
        values = self.centre + np.atleast_2d(shift)[:, None, :] + self.batches
        met = np.ones(len(values), dtype=np.bool_)
        for i, (name, scale) in enumerate(self.scales.items()):
            for limit in self.limits:
                if limit.response == name:
                    met &= limit.met(inverse(scale, values[:, :, i])).all(axis=1)
        return met

    def fails(self, i: int, off: float, each: float) -> float:
        """Give how often a round fails whose true mean of response i is off by so much.

        Of both directions the one that is found out less often.
        """
        found = []
        for sign in (-1.0, 1.0):
            shift = np.zeros(len(self.centre))
            shift[i] = sign * off
            passed = self.inside(shift, each) & self.within(shift)
            found.append(float(1.0 - passed.mean()))
        return min(found)


def compare_sizes(
    basis: ConfirmBasis, row: FloatArray, limits: Sequence[AcceptLimit], asked: SizeAsked
) -> tuple[ConfirmSize, ...]:
    """Say what one, two … batches tell.

    Args:
        basis: The models.
        row: Settings, shape (k,), lab units.
        limits: Acceptance limits; those of other responses are passed over.
        asked: For what.
    """
    if not basis.fits:
        return ()
    days = asked.days or asked.most
    whole = draw_rounds(
        basis.posterior, row, even_units(asked.most, days, asked.per_batch), asked.seed
    )
    return tuple(
        size_of(basis, row, whole.first(n), limits, asked) for n in range(1, asked.most + 1)
    )


def size_of(
    basis: ConfirmBasis,
    row: FloatArray,
    drawn: RoundDraws,
    limits: Sequence[AcceptLimit],
    asked: SizeAsked,
) -> ConfirmSize:
    """Say what one round tells, however its batches lie over days."""
    foretold = list(basis.predictions(row, drawn.of).values())
    trial = _Trial.of(basis, foretold, drawn, limits)
    each = shared_level(basis, trial.off_in_sd(drawn.models), trial.df, asked.level)
    inside, within = trial.inside(drawn.models, each), trial.within(drawn.models)
    responses = []
    for i, (name, fit) in enumerate(basis.fits.items()):
        off, words = _off(fit.total_sd, asked.effects.get(name))
        responses.append(
            SizeOfResponse(
                response=name,
                unit=fit.unit,
                value=float(inverse(fit.scale, trial.centre[i : i + 1])[0]),
                interval=mean_interval(fit, foretold[i], each),
                half_width=foretold[i].half_width(each),
                told_from_limit=_told_from(basis, name, foretold[i], limits, asked.level),
                off=off,
                off_words=words,
                fails_if_off=trial.fails(i, off, each),
            )
        )
    return ConfirmSize(
        batches=drawn.of.batches, days=drawn.of.days, per_batch=asked.per_batch, each_level=each,
        passes_if_right=float((inside & within).mean()), inside_if_right=float(inside.mean()),
        responses=tuple(responses),
    )  # fmt: skip


def shared_level(
    basis: ConfirmBasis, statistics: FloatArray, df: Sequence[float], level: float
) -> float:
    """Share the level over the responses: by their covariance, else after Bonferroni."""
    if len(df) < 2:
        return level
    if not basis.is_covariance_known:
        return bonferroni(level, len(df))
    return level_of_each(statistics, df, level)


def recommended(sizes: Sequence[ConfirmSize]) -> ConfirmSize:
    """Give the fewest batches that find out a formula that is off; else where more add little."""
    enough = [one for one in sizes if one.batches >= FEWEST_BATCHES]
    for one in enough:
        if all(own.fails_if_off >= FOUND_OUT for own in one.responses):
            return one
    for one, more in pairwise(enough):
        if _narrowed(one, more) < LITTLE:
            return one
    return enough[-1]


def size_words(sizes: Sequence[ConfirmSize]) -> tuple[str, ...]:
    """Say which number is recommended and what the next one would add."""
    best = recommended(sizes)
    more = next((one for one in sizes if one.batches == best.batches + 1), None)
    found = [own for own in best.responses if own.fails_if_off >= FOUND_OUT]
    missed = [own for own in best.responses if own.fails_if_off < FOUND_OUT]
    words = [
        f"Recommended: {_count(best)}. The mean of {listed([_reach(o) for o in best.responses])}."
    ]
    if found:
        words.append(
            "A formula that is off is found out at least "
            f"{FOUND_OUT:.0%} of the time: {_off_together(found)}."
        )
    if missed:
        told = [f"{_off_words(own)} {own.fails_if_off:.0%} of the time" for own in missed]
        words.append(f"Found out less often: {listed(told)}.")
    blind = [own.response for own in missed if own.fails_if_off < TOSS]
    if blind:
        words.append(
            f"Of {listed(blind)} these batches are hardly a test: they pass more often than not "
            "though the formula is off. Runs that lessen the scatter or the models' error come "
            "first (millbase extend STUDY --for replicates, or --for compromise)."
        )
    words.append(f"A right formula passes {best.passes_if_right:.0%} of the time, limits included.")
    if more is not None:
        by = _narrowed(best, more)
        words.append(
            f"{_ordinal(more.batches)} batch narrows "
            f"{f'the intervals by up to {by:.0%}' if by >= SEEN else 'no interval'}."
        )
    return tuple(words)


def _told_from(
    basis: ConfirmBasis,
    name: str,
    foretold: MeanPrediction,
    limits: Sequence[AcceptLimit],
    level: float,
) -> float | None:
    """Give how far within its limit the true mean must lie for these batches to show it."""
    own = [limit for limit in limits if limit.response == name]
    if not own:
        return None
    scale = basis.fits[name].scale
    reach = float(stats.t.ppf(level, foretold.df)) * foretold.new_variance**0.5
    at = np.array([foretold.centre - reach, foretold.centre, foretold.centre + reach])
    low, middle, high = inverse(scale, at)
    gaps = [abs(float((high if one.side > 0 else low) - middle)) for one in own]
    return max(gaps)


def _off(sd: float, stated: float | None) -> tuple[float, str]:
    if stated is not None:
        return float(stated), "the effect that the brief wants to see"
    return OFF_IN_SD * sd, f"{OFF_IN_SD:g} standard deviations of one run"


def _narrowed(one: ConfirmSize, more: ConfirmSize) -> float:
    return max(
        1.0 - b.half_width / a.half_width if a.half_width > 0 else 0.0
        for a, b in zip(one.responses, more.responses, strict=True)
    )


def _count(size: ConfirmSize) -> str:
    batches = f"{size.batches} batch{'es' if size.batches > 1 else ''}"
    return f"{batches} on {size.days} day{'s' if size.days > 1 else ''}"


def _reach(own: SizeOfResponse) -> str:
    low, high = own.interval
    return f"{own.response} must then lie within {low:.4g} to {high:.4g} {own.unit}".rstrip()


def _off_together(responses: Sequence[SizeOfResponse]) -> str:
    """Name responses that are off by the same together."""
    words = dict.fromkeys(own.off_words for own in responses)
    named = ([own.response for own in responses if own.off_words == off] for off in words)
    return listed([f"{listed(some)} off by {off}" for some, off in zip(named, words, strict=True)])


def _off_words(own: SizeOfResponse) -> str:
    return f"{own.response} off by {own.off_words}"


def _ordinal(n: int) -> str:
    """Give a place with its article, as a sentence begins: `A third`, `An 8th`."""
    words = {2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}
    return f"{'An' if n in (8, 11, 18) else 'A'} {words.get(n, f'{n}th')}"
