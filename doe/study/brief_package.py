"""Checks on the package of a brief and on its amount, the dose."""

from __future__ import annotations

from collections.abc import Iterator

from doe.study.brief import Factor, Study
from doe.study.brief_flaws import Flaw
from doe.study.brief_lines import Path
from doe.study.brief_ranges import in_unit

# Limits of shares come with two or three decimals; their sums are off 1 by rounding only.
SHARE_TOLERANCE = 1e-9


def check_package(study: Study) -> Iterator[Flaw]:
    """Find what contradicts itself in the package and in its dose."""
    yield from _check_varies(study)
    yield from _check_dose(study)
    yield from _check_additives(study)


def _check_varies(study: Study) -> Iterator[Flaw]:
    if not study.package and not study.factors:
        yield Flaw(
            what="the brief has neither a factor nor a package",
            do="Add a [[factor]] for each thing to vary, or a [package] with its additives.",
        )
    elif not study.varied_factors and not any(one.low < one.high for one in study.additives):
        yield Flaw(
            what="nothing varies: every factor is held and every share is fixed",
            do="Give at least one factor low and high instead of value.",
            rests_on=((), ("factor",), ("package",)),
        )


def _check_dose(study: Study) -> Iterator[Flaw]:
    doses = [(i, one) for i, one in enumerate(study.factors) if one.role == "dose"]
    for i, factor in doses[1:]:
        yield Flaw(
            path=("factor", i, "role"),
            what=f'"{factor.name}" is a second dose after "{doses[0][1].name}"',
            do="Only the amount of the whole package is the dose; delete one role.",
        )
    for i, factor in doses:
        yield from _check_one_dose(study, factor, ("factor", i))


def _check_one_dose(study: Study, factor: Factor, path: Path) -> Iterator[Flaw]:
    if factor.kind == "choice" or isinstance(factor.value, str):
        yield Flaw(
            path=(*path, "role"),
            what=f'the dose "{factor.name}" is given in words',
            do="Give it numbers, % active on pigment.",
            rests_on=(path,),
        )
        return
    least_level = min((float(one) for one in factor.levels), default=None)
    own = min((one.low for one in factor.ranges), default=None)
    numbers = {"low": factor.low, "levels": least_level, "value": factor.value, "range": own}
    key, least = next(((k, v) for k, v in numbers.items() if v is not None), ("", None))
    if study.package and isinstance(least, int | float) and least <= 0 and factor.spacing == "even":
        yield Flaw(
            path=(*path, key),
            what=f'the dose "{factor.name}" goes down to {in_unit(least, factor.unit)}',
            allowed="above 0, as shares of nothing mean nothing",
            do="Raise it, and run the recipe without additive as a [[control]].",
        )


def _check_additives(study: Study) -> Iterator[Flaw]:
    if not study.package:
        return
    path: Path = ("package", "additive")
    if study.package.set_per == "panel":
        yield Flaw(
            path=("package", "set_per"),
            what="the package is set per panel, but a panel is drawn from a paint that holds it",
            allowed="batch, sample or day",
        )
    for i, one in enumerate(study.additives):
        ends = tuple((*path, i, key) for key in ("low", "high"))
        if one.low > one.high:
            yield Flaw(
                path=(*path, i, "high"),
                what=f'the share of "{one.name}" runs from {one.low:g} to {one.high:g}',
                allowed="low not above high",
                do="Swap the two.",
                rests_on=ends,
            )
        if one.step is not None and 0 < one.high - one.low < one.step:
            yield Flaw(
                path=(*path, i, "step"),
                what=f"the step {one.step:g} is larger than the range {one.low:g} to {one.high:g}",
                do="Give the smallest difference of shares that the bench can set.",
                rests_on=(*ends, (*path, i, "step")),
            )
        if one.active_percent + one.solvent_percent > 100:
            yield Flaw(
                path=(*path, i, "solvent_percent"),
                what=f'"{one.name}" is {one.active_percent:g} % active and {one.solvent_percent:g} '
                "% solvent, more than 100 %",
                do="Give both as percent of the additive as supplied.",
            )
    yield from _check_shares(study, path)


def _check_shares(study: Study, path: Path) -> Iterator[Flaw]:
    additives = study.additives
    if len(additives) == 1 and not (additives[0].low <= 1 <= additives[0].high):
        yield Flaw(
            path=(*path, 0, "high"),
            what=f'"{additives[0].name}" is the whole package, but its share ends at '
            f"{additives[0].high:g}",
            do="Write low = 1.0 and high = 1.0, or add the other members. What varies is the dose.",
            rests_on=((*path, 0),),
        )
        return
    least, most = sum(one.low for one in additives), sum(one.high for one in additives)
    if any(one.low > one.high for one in additives):
        return
    if least > 1 + SHARE_TOLERANCE:
        yield Flaw(
            path=path,
            what=f"the lowest shares add to {least:g}, so that no package fits them",
            allowed="a sum of all low of at most 1",
            do="Lower some of them; shares are proportions, not percent.",
        )
    if most < 1 - SHARE_TOLERANCE:
        yield Flaw(
            path=path,
            what=f"the highest shares add to {most:g}, so that no package fits them",
            allowed="a sum of all high of at least 1",
            do="Raise some of them, or add the additive that makes up the rest.",
        )
