"""The weigh-out of one sample: draw, let-down and white reduction."""

from __future__ import annotations

from doe.recipe.package import additive_lines, package_stage
from doe.recipe.recipe import RecipeLine, SampleRecipe
from doe.recipe.titration import SettingsRow, titrations
from doe.study.brief import Study


def weigh_sample(study: Study, settings_row: SettingsRow, *, where: str = "") -> SampleRecipe:
    """Work out the grams of one sample: draw, let-down and white reduction.

    Additives that are set per sample enter here, on the pigment in the mill base let down.

    Args:
        study: The brief.
        settings_row: As for `weigh_batch`.
        where: The run or sample, for the words of an error.

    Returns:
        The weigh-out; empty where the brief has no let-down.

    Raises:
        PlanError: As for `weigh_batch`.
    """
    draw_g = study.millbase.sample_g if study.millbase else None
    letdown: tuple[RecipeLine, ...] = ()
    if study.letdown:
        millbase_g = study.letdown.millbase_g
        added: tuple[RecipeLine, ...] = ()
        if study.millbase and package_stage(study) == "sample":
            pigment_g = millbase_g * study.millbase.pigment_percent / 100
            added = additive_lines(study, settings_row, pigment_g, where)[1]
        letdown = (
            RecipeLine(name="mill base", kind="mill base", as_supplied_g=millbase_g, active_g=0.0),
            *added,
            *(
                RecipeLine(
                    name=item.name,
                    kind="let-down",
                    as_supplied_g=item.grams,
                    active_g=item.grams * item.active_percent / 100,
                    water_g=item.grams * (1 - item.active_percent / 100),
                )
                for item in study.letdown.ingredients
            ),
        )
    return SampleRecipe(
        draw_g=draw_g,
        letdown=letdown,
        tint=_tint_lines(study),
        titrations=titrations(study, settings_row, stages=("sample", "panel")),
    )


def _tint_lines(study: Study) -> tuple[RecipeLine, ...]:
    if study.tint is None:
        return ()
    return (
        RecipeLine(
            name="let-down", kind="let-down", as_supplied_g=study.tint.letdown_g, active_g=0.0
        ),
        RecipeLine(
            name="white paste", kind="white", as_supplied_g=study.tint.white_g, active_g=0.0
        ),
    )
