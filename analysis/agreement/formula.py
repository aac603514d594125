"""The formula of a recipe: raw materials on 100 g of mill base, with what the plant may miss."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from doe.recipe.package import package_stage
from doe.recipe.recipe import BatchRecipe, RecipeLine
from doe.recipe.titration import SettingsRow
from doe.recipe.weigh import weigh_batch, weigh_sample
from doe.study.agreement import AgreedSetting, AgreedTitration, FormulaLine, FormulaPart
from doe.study.brief import Factor, Study
from doe.study.names import fold

# A tolerance is ± 2 standard deviations, as the brief reads one (DESIGN.md, section 2).
TOLERANCE_IN_SD = 2.0
BY_WEIGHING, BY_DOSE = "weighing error", "scatter of the dose"
BY_SCATTER, BY_TOLERANCE = "scatter of production", "tolerance of the brief"

Box = Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Formula:
    """What is weighed, and what is titrated."""

    lines: tuple[FormulaLine, ...] = ()
    titrations: tuple[AgreedTitration, ...] = ()


def make_formula(study: Study, settings: SettingsRow) -> Formula:
    """Write the formula of one recipe, in the order of addition.

    Args:
        study: The brief; without a mill base the formula is empty.
        settings: Shares and factors by name.

    Returns:
        Lines as supplied. The tolerance of a line is ± 2 standard deviations of the weighing error
        that the brief states; of an additive without one, of the scatter of the dose.

    Raises:
        PlanError: The recipe cannot be weighed out.
    """
    if study.millbase is None:
        return Formula()
    batch = weigh_batch(study, settings)
    lines = [_line(study, settings, one, batch.batch_g, "mill base") for one in batch.lines]
    lines += _let_down(study, settings)
    return Formula(lines=tuple(lines), titrations=tuple(_titrations(study, batch)))


def agreed_settings(
    study: Study, settings: Mapping[str, float | str], box: Box | None = None
) -> tuple[AgreedSetting, ...]:
    """Write the settings with their tolerances; those that the brief holds last.

    Args:
        study: The brief.
        settings: By name.
        box: Ends of the tolerance box by setting, lab units; None where none was sought.
    """
    ends = box or {}
    factors = {factor.name: factor for factor in study.factors}
    found = []
    for name, value in settings.items():
        low, high = ends.get(name, (None, None))
        tolerance, why = _tolerance(factors.get(name)) if isinstance(value, float) else (None, "")
        found.append(
            AgreedSetting(
                name=name, value=value, unit=factors[name].unit if name in factors else "",
                tolerance=tolerance, tolerance_from=why, window_low=low, window_high=high,
            )
        )  # fmt: skip
    held = [
        AgreedSetting(name=factor.name, value=factor.value, unit=factor.unit, held="yes")
        for factor in study.factors
        if factor.value is not None and factor.name not in settings
    ]
    return (*found, *held)


def _tolerance(factor: Factor | None) -> tuple[float | None, str]:
    """Give how far production may lie off a setting, and what says so."""
    if factor is not None and factor.scatter_sd is not None:
        return TOLERANCE_IN_SD * factor.scatter_sd, BY_SCATTER
    if factor is not None and factor.tolerance is not None:
        return factor.tolerance, BY_TOLERANCE
    return None, ""


def _line(
    study: Study, settings: SettingsRow, line: RecipeLine, on_g: float, part: FormulaPart
) -> FormulaLine:
    """Write one line; `on_g` is the mill base that its grams go with."""
    tolerance, why = _line_tolerance(study, settings, line)
    return FormulaLine(
        name=line.name,
        kind=line.kind,
        percent=100.0 * line.as_supplied_g / on_g,
        part=part,
        tolerance_percent=tolerance,
        tolerance_from=why,
    )


def _line_tolerance(
    study: Study, settings: SettingsRow, line: RecipeLine
) -> tuple[float | None, str]:
    stated = _stated(study).get(fold(line.name))
    if stated is not None:
        return TOLERANCE_IN_SD * stated, BY_WEIGHING
    dose = study.dose
    value = settings.get(dose.name) if dose is not None else None
    tolerance, _ = _tolerance(dose)
    if line.kind == "additive" and tolerance and isinstance(value, float) and value > 0:
        return 100.0 * tolerance / value, BY_DOSE
    return None, ""


def _stated(study: Study) -> dict[str, float]:
    """Give the weighing errors that the brief states, one sd in % of the grams, by folded name."""
    letdown = study.letdown.ingredients if study.letdown else ()
    millbase = study.millbase.ingredients if study.millbase else ()
    every = (*letdown, *millbase, *study.materials, *study.additives)
    known = {fold(one.name): one.weighing_percent for one in every}
    if study.pigment is not None:
        known[fold(study.pigment.name)] = study.pigment.weighing_percent
    return {name: percent for name, percent in known.items() if percent is not None}


def _let_down(study: Study, settings: SettingsRow) -> Iterator[FormulaLine]:
    """Give what goes in with the let-down, where additives are set there."""
    if package_stage(study) != "sample" or study.letdown is None:
        return
    for line in weigh_sample(study, settings).letdown:
        if line.kind != "mill base":
            yield _line(study, settings, line, study.letdown.millbase_g, "let-down")


def _titrations(study: Study, batch: BatchRecipe) -> Iterator[AgreedTitration]:
    factors = {factor.name: factor for factor in study.factors}
    for one in batch.titrations:
        yield AgreedTitration(
            factor=one.factor,
            unit=one.unit,
            target=one.target,
            titrant=one.titrant,
            held_back_percent=100.0 * batch.held_back_g / batch.batch_g,
            tolerance=_tolerance(factors.get(one.factor))[0],
        )
