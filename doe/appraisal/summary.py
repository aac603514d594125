"""An appraisal in a few plain sentences, for who has to decide whether to start."""

from __future__ import annotations

import re
from collections.abc import Sequence

from doe.appraisal.appraise import Appraisal
from doe.appraisal.freedom_findings import LEAST_DF, listed
from doe.appraisal.losses import Loss, most_painful
from doe.appraisal.sizes import SizePoint, shares_batches
from doe.appraisal.sought import WANTED_POWER, Sought
from doe.model.strata import RESIDUAL, units_word
from doe.model.terms import term_label

# A part of another effect from which on an estimate is no longer its own.
_MIXED = 0.5
# A rise of the average variance that is worth a sentence.
_NOTABLE = 0.05
_SECOND = 2
_SURE = 0.99
_FINENESS = ("round", "day", "batch", "sample")


def summarise(
    appraisal: Appraisal, sizes: Sequence[SizePoint] = (), per_day: int | None = None
) -> tuple[str, ...]:
    """Say what a plan can and cannot tell.

    Args:
        appraisal: The plan.
        sizes: Plans of other sizes, if there are any.
        per_day: Units of a day, where the brief or the plan says.
    """
    if not appraisal.is_estimable:
        return (_size(appraisal), *_cannot(appraisal))
    return tuple(
        sentence
        for sentence in (
            _size(appraisal),
            _prediction(appraisal),
            _power(appraisal),
            _blind(appraisal),
            _loss(appraisal),
            _one_more(sizes, per_day, has_days=appraisal.runs.unit("day") is not None),
        )
        if sentence
    )


def scatter_of_one_run(appraisal: Appraisal) -> str:
    """Name the residual standard deviation as the bench knows it."""
    random = [*(one.name for one in appraisal.runs.strata.random), *appraisal.runs.alone]
    if not random:
        return "the scatter of one run"
    finest = max(random, key=lambda name: _FINENESS.index(name) if name in _FINENESS else 0)
    return f"the scatter of one run, differences between {units_word(finest)} apart"


def _size(appraisal: Appraisal) -> str:
    parts = [f"{appraisal.n_runs} runs"]
    if shares_batches(appraisal.runs):
        parts.append(f"from {appraisal.runs.n_batches} mill batches")
    if appraisal.runs.unit("day") is not None and appraisal.runs.count("day") > 1:
        parts.append(f"on {appraisal.runs.count('day')} days")
    controls = len(appraisal.runs) - appraisal.n_runs
    if controls:
        parts.append(f"beside {controls} controls")
    df = appraisal.freedom
    left = df.total
    by = ""
    if len(df.residual) > 1:
        by = " (" + ", ".join(_df_words(name, n) for name, n in df.residual.items()) + ")"
    return (
        f"{' '.join(parts)} stand against the {appraisal.parameters} coefficients of the "
        f"{appraisal.model.name} model and leave {left} degrees of freedom for the error{by}."
    )


def _df_words(name: str, n: int) -> str:
    return f"{n} within them" if name == RESIDUAL else f"{n} between {units_word(name)}"


def _cannot(appraisal: Appraisal) -> tuple[str, ...]:
    some = listed(appraisal.untold)
    return (
        f"They can't estimate this model: {some} can't be told from one another or from blocks.",
    )


def _prediction(appraisal: Appraisal) -> str:
    scatter = scatter_of_one_run(appraisal)
    if appraisal.half_widths:
        half, most, whole = (one.half_width for one in appraisal.half_widths)
        return (
            f"Over half of the region the mean of a response is known to within ± {half:.2f} times "
            f"{scatter}, over nine tenths to within ± {most:.2f}, and nowhere worse than "
            f"± {whole:.2f} (95 % intervals)."
        )
    assert appraisal.profile is not None
    half, whole = (appraisal.profile.at_share(share) ** 0.5 for share in (0.5, 1.0))
    return (
        f"Over half of the region the standard error of a predicted mean is at most {half:.2f} "
        f"times {scatter} and nowhere above {whole:.2f}, but without a degree of freedom in "
        "every stratum no honest interval can be put around it."
    )


def effect_words(sought: Sought) -> str:
    """Name the effect that is looked for."""
    about = f" in {sought.response}" if sought.response else ""
    if sought.is_said:
        return f"a change of {sought.effect:g}{about} ({sought.ratio:.3g} standard deviations)"
    return f"a change of {sought.ratio:g} standard deviations{about}"


def _power(appraisal: Appraisal) -> str:
    tested = [one for one in appraisal.settings if one.power is not None]
    if not tested:
        return "No effect can be tested, as no degree of freedom is left for the error."
    hardest = min(appraisal.asked.sought, key=lambda sought: sought.ratio)
    untested = [one.name for one in appraisal.settings if one.power is None]
    least = min(tested, key=lambda one: one.power or 0.0)
    low = least.power or 0.0
    where = listed([one.name for one in tested], 3) if untested else "every setting"
    chance = _chance(low) if low > _SURE else f"{_chance(low)} or more"
    said = (
        f"{_upper(effect_words(hardest))} over a range would be seen with a chance of "
        f"{chance} as the effect of {where}"
    )
    names = {one.name for one in appraisal.settings}
    others = [
        one
        for one in appraisal.terms
        if one.power is not None and one.power < WANTED_POWER and one.name not in names
    ]
    weak = [one.name for one in tested if (one.power or 0.0) < WANTED_POWER]
    if weak:
        said = (
            f"{_upper(effect_words(hardest))} over a range is likely to be missed in "
            f"{listed(weak, 4)} (chance of seeing it {_percent(low)} in {least.name})"
        )
    if others:
        worst = min(others, key=lambda one: one.power or 0.0)
        said += (
            "; as an interaction or a square it is harder to see in "
            f"{listed([one.name for one in others], 3)} ({_percent(worst.power or 0.0)} in "
            f"{worst.name})"
        )
    if untested:
        said += f"; no degree of freedom is left to test {listed(untested, 3)}"
    return f"{said}."


def _blind(appraisal: Appraisal) -> str:
    mixed = []
    # That three levels can't tell a cube from a line is no news to say here.
    second = {term_label(term) for term in appraisal.beyond.terms if term.order <= _SECOND}
    for alias in appraisal.aliases:
        whole = [
            name for name, part in alias.others if abs(part) > _MIXED and _bare(name) in second
        ]
        if whole and alias.term in {one.name for one in appraisal.settings}:
            mixed.append(f"{alias.term} from {listed(whole, 2)}")
    said = []
    if mixed:
        said.append(f"it can't tell {listed(mixed, 3)}")
    lack, pure = (sum(d.values()) for d in (
        appraisal.freedom.lack_of_fit, appraisal.freedom.pure_error))  # fmt: skip
    if lack == 0 or pure == 0:
        why = "no settings beyond those the model needs" if lack == 0 else "no replicates"
        said.append(f"it can't test whether the form of the model is right ({why})")
    low = [
        f"only {n} degree{'s' * (n != 1)} of freedom judge{'s' * (n == 1)} differences between "
        f"{units_word(name)}"
        for name, n in appraisal.freedom.residual.items()
        if name != RESIDUAL and n < LEAST_DF
    ]
    said += low
    return _upper(f"{'; '.join(said)}.") if said else ""


def _loss(appraisal: Appraisal) -> str:
    unit = "batch" if "batch" in appraisal.losses else "run"
    worst = most_painful(appraisal.losses.get(unit, ()), 1)
    if not worst:
        return ""
    loss = worst[0]
    if loss.untold:
        lost = [one for one in appraisal.losses[unit] if one.untold]
        if len(lost) > 1:
            numbers = listed([str(one.number) for one in lost], 6)
            which = f"one of {units_word(unit)} {numbers}"
            return f"If {which} fails, the model can't be estimated any more."
        return f"If {unit} {loss.number} fails, {listed(loss.untold, 3)} can't be told any more."
    gone = [str(one.number) for one in appraisal.losses[unit] if one.is_gone_in_effect]
    if gone:
        which = (
            f"one of {units_word(unit)} {listed(gone, 6)}" if len(gone) > 1 else f"{unit} {gone[0]}"
        )
        return (
            f"If {which} fails, the model can in effect not be estimated any more: the standard "
            "error of prediction would be more than ten times as large."
        )
    if loss.average_rise < _NOTABLE:
        return (
            f"Any one {unit} may fail at little cost: the average variance rises by less than 5 %."
        )
    return (
        f"If one {unit} fails the model can still be estimated; worst would be {unit} "
        f"{loss.number}, which raises the average variance of prediction by {loss_words(loss)}."
    )


def _bare(label: str) -> str:
    """Leave the levels of choices out of a column's label."""
    return re.sub(r" \([^)]*\)", "", label)


def loss_words(loss: Loss) -> str:
    """Say by how much the average variance rises."""
    return _percent(loss.average_rise)


def _one_more(sizes: Sequence[SizePoint], per_day: int | None, *, has_days: bool) -> str:
    now = next((point for point in sizes if point.how == "this plan"), None)
    more = [point for point in sizes if point.how == "more"]
    if now is None or not more:
        return ""
    step = min(per_day or 1, len(more))
    then = more[step - 1]
    extra, batches = then.runs - now.runs, then.batches - now.batches
    what = f"{extra} more runs" if extra > 1 else "One more run"
    if batches != extra:
        what += f" ({batches} batches)" if batches > 1 else " (one batch)"
    if per_day and has_days:
        what = f"One more day with {what}"
    gain = 1.0 - (then.average / now.average) ** 0.5
    said = f"{what} would make the typical standard error of prediction {_percent(gain)} smaller"
    if (
        now.weakest_power is not None
        and then.weakest_power is not None
        and _chance(now.weakest_power) != _chance(then.weakest_power)
    ):
        said += (
            " and move the chance of seeing the effect of the weakest setting from "
            f"{_chance(now.weakest_power)} to {_chance(then.weakest_power)}"
        )
    return f"{said}."


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _chance(power: float) -> str:
    """Write a power; near 1 rounding must not make a certainty of it."""
    return "over 99 %" if power > _SURE else _percent(power)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
