"""The package in grams: dose and shares to active matter, and that to materials as supplied."""

from __future__ import annotations

import math

from doe.errors import PlanError
from doe.recipe.recipe import RecipeLine
from doe.recipe.titration import SettingsRow, setting
from doe.study.brief import Additive, NamedMaterial, Study
from doe.study.names import fold

# Shares typed with two decimals may miss 1 by so much (three additives at 0.33).
SHARE_SUM_TOLERANCE = 0.011


def package_stage(study: Study) -> str:
    """Tell where the additives are weighed: `batch`, or `sample` when shares or dose are set there.

    Example:
        >>> from doe.study.brief import Study
        >>> package_stage(Study.model_validate({"study": {"title": "t"}}))
        'batch'
    """
    stages = {study.package.set_per if study.package else "batch"}
    if study.dose is not None:
        stages.add(study.dose.set_per)
    return "sample" if stages & {"sample", "panel"} else "batch"


def additive_lines(
    study: Study, row: SettingsRow, pigment_g: float, where: str
) -> tuple[float, tuple[RecipeLine, ...]]:
    """Give the dose and the lines of the package.

    Args:
        study: The brief.
        row: Shares and dose.
        pigment_g: The pigment that the dose is on.
        where: The run or batch, for the words of an error.

    Returns:
        Dose, % active on pigment, and one line an additive in the brief's order.

    Raises:
        PlanError: A package without a dose, or shares that do not add to 1.

    Source:
        m_supplied = P × dose / 100 × share / active fraction; definitions of the trade.
    """
    shares = {item.name: _share(item, row, where) for item in study.additives}
    dose = _dose(study, row, any(shares.values()), where)
    if not study.additives:
        return dose, _bare_dose(study, row, dose, pigment_g)
    total = sum(shares.values())
    if dose > 0 and total > 0 and abs(total - 1) > SHARE_SUM_TOLERANCE:
        raise PlanError(
            f"the shares of the package add to {total:.4g}",
            where=where,
            allowed="shares of active matter that add to 1",
            do="Correct the shares; unnamed ones of a control count as 0.",
        )
    active_g = pigment_g * dose / 100
    return dose, tuple(
        _additive_line(item, active_g * shares[item.name]) for item in study.additives
    )


def _additive_line(item: Additive, active_g: float) -> RecipeLine:
    active_fraction, solvent_fraction = item.active_percent / 100, item.solvent_percent / 100
    as_supplied_g = active_g / active_fraction
    return RecipeLine(
        name=item.name,
        kind="additive",
        as_supplied_g=as_supplied_g,
        active_g=active_g,
        water_g=as_supplied_g * (1 - active_fraction - solvent_fraction),
        solvent_g=as_supplied_g * solvent_fraction,
    )


def bare_dose_name(study: Study, row: SettingsRow) -> str:
    """Name the line of a dose without a package: its material, or the level of its range.

    Example:
        >>> from doe.study.brief import Study
        >>> bare_dose_name(Study.model_validate({"study": {"title": "t"}}), {})
        'additive (active matter)'
    """
    material = dosed_material(study, row)
    if material is not None:
        return material.name
    ranges = study.dose.ranges if study.dose else ()
    level = row.get(next(iter(ranges[0].when))) if ranges else None
    return f"{level if isinstance(level, str) else 'additive'} (active matter)"


def dosed_choice(study: Study) -> str | None:
    """Name the choice whose levels stand for the additive that is dosed; None with a package."""
    if study.additives or study.dose is None:
        return None
    if study.dose.ranges:
        return next(iter(study.dose.ranges[0].when))
    known = {fold(one.name) for one in study.materials}
    for factor in study.factors:
        said = factor.levels if factor.kind == "choice" else (factor.value,)
        if any(isinstance(level, str) and fold(level) in known for level in said):
            return factor.name
    return None


def dosed_material(study: Study, row: SettingsRow) -> NamedMaterial | None:
    """Find the `[[material]]` that a dose without a package is of; None where none is named."""
    choice = dosed_choice(study)
    factor = next((one for one in study.factors if one.name == choice), None)
    level = setting(factor, row) if factor else None
    if not isinstance(level, str):
        return None
    return next((one for one in study.materials if fold(one.name) == fold(level)), None)


def _bare_dose(
    study: Study, row: SettingsRow, dose: float, pigment_g: float
) -> tuple[RecipeLine, ...]:
    """Give a dose without a package as one line; pure active matter where no more is known."""
    if dose == 0:
        return ()
    active_g = pigment_g * dose / 100
    material = dosed_material(study, row)
    active_fraction = material.active_percent / 100 if material else 1.0
    return (
        RecipeLine(
            name=bare_dose_name(study, row),
            kind="additive",
            as_supplied_g=active_g / active_fraction,
            active_g=active_g,
            water_g=active_g / active_fraction - active_g,
        ),
    )


def _share(item: Additive, row: SettingsRow, where: str) -> float:
    value = row.get(item.name)
    if isinstance(value, str) or (value is not None and (not math.isfinite(value) or value < 0)):
        raise PlanError(
            f"the share of '{item.name}' is {value}", where=where, allowed="a number from 0 to 1"
        )
    return 0.0 if value is None else float(value)


def _dose(study: Study, row: SettingsRow, has_shares: bool, where: str) -> float:
    """Give the dose, % active on pigment; 0 where no additive is asked for."""
    factor = study.dose
    value = setting(factor, row) if factor else None
    if value is None:
        if has_shares and not (factor and factor.ranges):
            raise PlanError(
                "the package has shares but no dose, so its grams are unknown",
                where=where,
                do='Add a factor with role = "dose"; a fixed dose is held with value = 1.5.'
                if factor is None
                else f"Give '{factor.name}' beside the shares.",
            )
        return 0.0
    if isinstance(value, str) or not math.isfinite(value) or value < 0:
        raise PlanError(f"the dose is {value}", where=where, allowed="a number, 0 or more")
    return float(value)
