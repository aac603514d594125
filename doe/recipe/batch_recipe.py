"""From one row of settings to grams: the weigh-out of a mill batch and of a sample.

Pigment stays at the brief's per cent whatever the dose, and the water inside the additives is taken
off the water to weigh: only the weighed water gives way, so that the dose is not mixed up with the
solids.
"""

from __future__ import annotations

import math

from doe.errors import PlanError
from doe.recipe.package import additive_lines, dosed_material, package_stage
from doe.recipe.recipe import BatchRecipe, RecipeLine
from doe.recipe.titration import SettingsRow, titrations
from doe.study.brief import BatchIngredient, Control, Millbase, Study
from doe.study.finding import Finding
from doe.study.names import fold

# Common practice, no citable source: enough room for the base of most grinds, and never more than
# half of the water, so that the pigment can still be wetted.
HELD_BACK_OF_BATCH = 0.05
HELD_BACK_OF_WATER = 0.5

# Grams that rounding may take below zero; far below what a balance shows.
ZERO_G = 1e-9


def weigh_batch(
    study: Study, settings_row: SettingsRow, *, control: Control | None = None, where: str = ""
) -> BatchRecipe:
    """Work out the grams of one mill batch.

    Args:
        study: The brief, with `[millbase]`.
        settings_row: Shares by additive (active matter) and factors in their units; a held factor
            may be left out, None means open.
        control: The control that the batch is of, where it brings its own ingredients.
        where: The run or batch, for the words of an error.

    Returns:
        The weigh-out. Its lines add to the batch exactly, unless a control states its own balance.

    Raises:
        PlanError: No `[millbase]`, a package without a dose, shares that do not add to 1, or
            materials that leave no room for the water.

    Source:
        m_supplied = P × dose / 100 × share / active fraction; definitions of the trade.

    Example:
        >>> from doe.study.brief import Study
        >>> study = Study.model_validate({
        ...     "study": {"title": "t"},
        ...     "millbase": {"batch_g": 500, "pigment_percent": 55},
        ... })
        >>> weigh_batch(study, {}).water_to_weigh_g
        225.0
    """
    millbase = _millbase(study, where)
    pigment_g = millbase.batch_g * millbase.pigment_percent / 100
    pigment = RecipeLine(
        name=pigment_name(study), kind="pigment", as_supplied_g=pigment_g, active_g=pigment_g
    )
    ingredients = tuple(_ingredient_line(item, millbase.batch_g) for item in millbase.ingredients)
    if control is not None and control.ingredients:
        return _own_recipe(study, settings_row, control, (*ingredients, pigment), where)
    if package_stage(study) == "sample":
        return _with_balance(study, settings_row, (*ingredients, pigment), 0.0, where)
    dose, additives = additive_lines(study, settings_row, pigment_g, where)
    lines = (*additives, *ingredients, pigment)
    return _with_balance(study, settings_row, lines, dose, where)


def pigment_name(study: Study) -> str:
    """Give the pigment's name, or the plain word where the brief has none."""
    return study.pigment.name if study.pigment else "pigment"


def _millbase(study: Study, where: str) -> Millbase:
    if study.millbase is None:
        raise PlanError(
            "the brief has no [millbase], so nothing can be weighed out",
            where=where,
            do="Add [millbase] with batch_g and pigment_percent to study.toml.",
        )
    return study.millbase


def _ingredient_line(item: BatchIngredient, batch_g: float) -> RecipeLine:
    grams = batch_g * item.percent / 100
    active_fraction = item.active_percent / 100
    return RecipeLine(
        name=item.name,
        kind="ingredient",
        as_supplied_g=grams,
        active_g=grams * active_fraction,
        water_g=grams * (1 - active_fraction),
    )


def _own_recipe(
    study: Study,
    row: SettingsRow,
    control: Control,
    standing: tuple[RecipeLine, ...],
    where: str,
) -> BatchRecipe:
    """Weigh a control that brings its own ingredients: they stand in place of the package.

    One that bears the name of the pigment or of a mill-base ingredient replaces that line; one
    that bears the name of the balance makes the recipe complete as it stands.
    """
    own = {fold(item.name): item for item in control.ingredients}
    kinds = {fold(line.name): line.kind for line in standing}
    balance = fold(study.millbase.balance) if study.millbase else ""
    lines = tuple(
        RecipeLine(
            name=item.name,
            kind=kinds.get(key, "additive"),
            as_supplied_g=item.grams,
            active_g=item.grams * item.active_percent / 100,
            water_g=item.grams * (1 - item.active_percent / 100),
        )
        for key, item in own.items()
        if key != balance
    )
    fixed = own[balance].grams if balance in own else None
    if fixed is None:
        lines += tuple(line for line in standing if fold(line.name) not in own)
    lines = tuple(sorted(lines, key=lambda line: ADDITION.index(line.kind)))
    return _with_balance(study, row, lines, None, where, balance_g=fixed)


# Order of addition: water, base, wetting agent and dispersant, defoamer, pigment under shear.
# Common practice.
ADDITION = ("balance", "additive", "ingredient", "pigment")


def _with_balance(
    study: Study,
    row: SettingsRow,
    lines: tuple[RecipeLine, ...],
    dose: float | None,
    where: str,
    balance_g: float | None = None,
) -> BatchRecipe:
    millbase = _millbase(study, where)
    weighed_g = sum(line.as_supplied_g for line in lines)
    water_g = millbase.batch_g - weighed_g if balance_g is None else balance_g
    if water_g < -ZERO_G:
        raise _no_room(study, millbase, lines, water_g, where)
    water_g = max(water_g, 0.0)
    titrated = titrations(study, row, stages=("day", "batch"))
    held_back_g = (
        min(HELD_BACK_OF_BATCH * millbase.batch_g, HELD_BACK_OF_WATER * water_g)
        if titrated
        else 0.0
    )
    balance = RecipeLine(
        name=millbase.balance,
        kind="balance",
        as_supplied_g=water_g,
        active_g=0.0,
        water_g=water_g,
    )
    return BatchRecipe(
        batch_g=weighed_g + water_g if balance_g is not None else millbase.batch_g,
        lines=(balance, *lines),
        dose=dose,
        titrations=titrated,
        held_back_g=held_back_g,
        findings=_findings(study, row, lines, dose),
    )


def _findings(
    study: Study, row: SettingsRow, lines: tuple[RecipeLine, ...], dose: float | None
) -> tuple[Finding, ...]:
    if study.additives or not dose or dosed_material(study, row) is not None:
        return ()
    grams = next(line.as_supplied_g for line in lines if line.kind == "additive")
    return (
        Finding(
            level="caution",
            what="The brief has a dose but no package: the additive is weighed as pure active "
            "matter.",
            evidence={"active matter, g": round(grams, 3)},
            advice="Divide by the active fraction, and take the water that comes with it off the "
            "water to weigh; or name the additive under [[package.additive]], or one for each "
            "level of a choice under [[material]].",
        ),
    )


def _no_room(
    study: Study, millbase: Millbase, lines: tuple[RecipeLine, ...], water_g: float, where: str
) -> PlanError:
    """Say by how much the batch overflows and what would make room."""
    grams = {
        kind: sum(line.as_supplied_g for line in lines if line.kind == kind)
        for kind in ("pigment", "additive", "ingredient")
    }
    pigment_g, rest_g = grams["pigment"], grams["additive"] + grams["ingredient"]
    # Additives grow with the pigment, ingredients with the batch: pigment % that leaves no water.
    room = (millbase.batch_g - grams["ingredient"]) / (pigment_g + grams["additive"])
    most = math.floor(10 * millbase.pigment_percent * room) / 10
    mend = (
        f"Take pigment_percent down to {most:g} or less, lower the dose, or use additives of "
        "higher active content."
        if most > 0
        else "The ingredients alone fill the batch: correct their percent."
    )
    return PlanError(
        f"no room is left for {millbase.balance}: {pigment_g:.1f} g of pigment and {rest_g:.1f} g "
        f"of additives and ingredients as supplied overfill the batch of {millbase.batch_g:g} g "
        f"by {-water_g:.1f} g",
        where=where,
        allowed=f"at least 0 g of {millbase.balance} to weigh",
        do=mend,
    )
