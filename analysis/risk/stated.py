"""What a brief states of production: scatter of settings, weighing errors, drifting noise."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.risk.scatter import Scatter, ScatterSource
from analysis.risk.weighing import Weighing
from analysis.surface.noise import RANGE_IN_SD, production_of
from doe.model.coding import ChoiceAxis, Coding, NumericAxis
from doe.recipe.package import dosed_choice, package_stage
from doe.study.brief import Factor, Study
from doe.study.finding import Finding
from doe.study.names import fold

# A tolerance is read as ± 2 standard deviations (DESIGN.md, section 2).
TOLERANCE_IN_SD = 2.0


def scatter_of(study: Study, coding: Coding) -> Scatter:
    """Read how production scatters off a brief.

    Args:
        study: Weighing errors (`weighing_percent`, one standard deviation, of the pigment and of
            what is dosed), `scatter_sd` or `tolerance` of each factor, `production` of noise.
        coding: Its axes.

    Returns:
        The scatter; a setting that states none is set exactly, and a finding names it.
    """
    settings = [
        source
        for factor in study.varied_factors
        for source in _of_factor(factor, coding.index(factor.name), coding)
    ]
    weighing, weighed = _weighing(study, coding)
    return Scatter(
        coding=coding,
        sources=(*settings, *weighed),
        weighing=weighing if weighing is not None and weighing.size else None,
        findings=(
            *production_of(study, coding).findings,
            *_tolerances(study),
            *_unstated(study, coding),
            *_dosed_twice(study, weighed),
            *_out_of_reach(study),
        ),
    )


def _of_factor(factor: Factor, j: int, coding: Coding) -> Iterator[ScatterSource]:
    axis = coding.axes[j]
    if factor.noise and isinstance(axis, ChoiceAxis):
        yield ScatterSource(name=factor.name, kind="noise", axis=j, mean=0.0, sd=1.0, unit="level")
    elif factor.noise and isinstance(axis, NumericAxis):
        given = factor.production
        mean = given.mean if given else (axis.low + axis.high) / 2.0
        sd = given.sd if given else (axis.high - axis.low) / RANGE_IN_SD
        yield ScatterSource(
            name=factor.name, kind="noise", axis=j, mean=mean, sd=sd, unit=factor.unit
        )
    elif sd := _sd(factor):
        yield ScatterSource(
            name=f"setting of {factor.name}", kind="setting", axis=j, mean=None, sd=sd,
            unit=factor.unit,
        )  # fmt: skip


def _sd(factor: Factor) -> float:
    if factor.scatter_sd is not None:
        return factor.scatter_sd
    return factor.tolerance / TOLERANCE_IN_SD if factor.tolerance is not None else 0.0


def _weighing(study: Study, coding: Coding) -> tuple[Weighing | None, list[ScatterSource]]:
    """Gather what is weighed with a stated error into the order of its columns."""
    dose = study.dose
    column = coding.index(dose.name) if dose is not None and dose.name in coding.names else None
    percents: dict[int, float] = {}
    names: list[str] = []
    for place, item in enumerate(study.additives):
        if item.weighing_percent:
            percents[place] = item.weighing_percent
            names.append(item.name)
    by_level, choice = _bare(study, coding)
    if by_level is not None and by_level.any():
        percents[0] = float(by_level.max()) * 100.0
        names.append("the dosed additive")
    pigment = study.pigment
    pigment_percent = pigment.weighing_percent if pigment is not None else None
    reaches = column is not None and bool(pigment_percent)
    sources = [
        ScatterSource(
            name=f"weighing of {name}", kind="weighing", axis=None, mean=None, sd=percent, unit="%"
        )
        for name, percent in zip(names, percents.values(), strict=True)
    ]
    if reaches and pigment is not None and pigment_percent:
        sources.append(
            ScatterSource(
                name=f"weighing of {pigment.name}",
                kind="weighing",
                axis=None,
                mean=None,
                sd=pigment_percent,
                unit="%",
            )
        )
    weighing = Weighing(
        shares=tuple(coding.index(item.name) for item in study.additives),
        dose=column,
        weighed=tuple(percents),
        relative_sd=np.array(list(percents.values()), dtype=np.float64) / 100.0,
        pigment_sd=pigment_percent / 100.0 if reaches and pigment_percent else None,
        part_of_batch=_part_of_batch(study),
        choice=choice,
        sd_by_level=by_level,
    )
    return weighing, sources


def _bare(study: Study, coding: Coding) -> tuple[np.ndarray | None, int | None]:
    """Give the relative weighing error by level of the choice that is dosed, without a package."""
    choice = dosed_choice(study)
    percent = {fold(one.name): one.weighing_percent or 0.0 for one in study.materials}
    if choice is None:
        return None, None
    factor = next(one for one in study.factors if one.name == choice)
    if factor.name not in coding.names:
        return np.array([percent.get(fold(str(factor.value)), 0.0)]) / 100.0, None
    j = coding.index(factor.name)
    levels = [percent.get(fold(str(level)), 0.0) for level in factor.levels]
    return np.array(levels, dtype=np.float64) / 100.0, j


def _part_of_batch(study: Study) -> float:
    if study.millbase is None or package_stage(study) != "sample":
        return 0.0
    return study.millbase.pigment_percent / 100.0


def _tolerances(study: Study) -> Iterator[Finding]:
    named = [one for one in study.varied_factors if one.tolerance and one.scatter_sd is None]
    if named:
        words = ", ".join(f"'{one.name}' ± {one.tolerance:g} {one.unit}".rstrip() for one in named)
        yield Finding(
            level="note",
            what=f"A tolerance is read as ± 2 standard deviations of production: {words}.",
            advice="State scatter_sd instead where production was measured.",
        )


def _unstated(study: Study, coding: Coding) -> Iterator[Finding]:
    """Name what has no scatter stated, so that it counts as set exactly."""
    exact = [
        factor.name
        for factor in study.varied_factors
        if not factor.noise
        and not _sd(factor)
        and not isinstance(coding.axes[coding.index(factor.name)], ChoiceAxis)
        and not (factor.role == "dose" and any(one.weighing_percent for one in study.additives))
    ]
    unweighed = [one.name for one in study.additives if not one.weighing_percent]
    if exact:
        yield Finding(
            level="caution",
            what="The brief states no production scatter of "
            f"{', '.join(repr(name) for name in exact)}: taken as set exactly, which flatters the "
            "probability.",
            advice="State scatter_sd (one standard deviation) or tolerance (± 2 of them) with each "
            "factor, as the plant holds it.",
        )
    if unweighed:
        yield Finding(
            level="caution",
            what="The brief states no weighing error of "
            f"{', '.join(repr(name) for name in unweighed)}: taken as weighed exactly, which "
            "flatters the probability.",
            advice="State weighing_percent (one standard deviation, % of the grams) with each "
            "additive, as the plant weighs.",
        )


def _dosed_twice(study: Study, weighed: list[ScatterSource]) -> Iterator[Finding]:
    dose = study.dose
    if dose is not None and _sd(dose) and weighed:
        yield Finding(
            level="note",
            what=f"'{dose.name}' scatters by its own {_sd(dose):g} {dose.unit} and by the weighing "
            "errors: both count. Leave the first out if it only says what weighing does.",
        )


def _out_of_reach(study: Study) -> Iterator[Finding]:
    """Name weighing errors that reach no setting."""
    millbase = study.millbase.ingredients if study.millbase else ()
    letdown = study.letdown.ingredients if study.letdown else ()
    named = [one.name for one in (*millbase, *letdown) if one.weighing_percent]
    if named:
        yield Finding(
            level="note",
            what=f"The weighing error of {', '.join(repr(name) for name in named)} changes no "
            "setting of the models: it is left out.",
        )
