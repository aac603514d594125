"""The weigh-out of the page: every line as grams that stand, or that grow with dose and share."""

from __future__ import annotations

from collections.abc import Mapping

from analysis.report.decide.numbers import Json
from doe.recipe.batch_recipe import HELD_BACK_OF_BATCH, HELD_BACK_OF_WATER, pigment_name
from doe.recipe.letdown import weigh_sample
from doe.recipe.package import bare_dose_name, dosed_choice, dosed_material, package_stage
from doe.recipe.recipe import RecipeLine
from doe.study.brief import Factor, Study
from doe.study.names import fold


def recipe_data(study: Study) -> Json | None:
    """Describe the weigh-out of one batch and of one sample; None without a mill base.

    Source:
        As `doe.recipe.batch_recipe.weigh_batch` and `doe.recipe.letdown.weigh_sample` do, with
        m_supplied = P × dose / 100 × share / active fraction.
    """
    millbase = study.millbase
    if millbase is None:
        return None
    names = study.setting_names
    dose = study.dose
    in_sample = package_stage(study) == "sample"
    letdown_g = study.letdown.millbase_g if study.letdown else 0.0
    per_cent = millbase.pigment_percent
    return {
        "batch": millbase.batch_g,
        "pigment": {"name": pigment_name(study), "grams": millbase.batch_g * per_cent / 100},
        "balance": millbase.balance,
        "ingredients": [
            {"name": item.name, "grams": millbase.batch_g * item.percent / 100}
            for item in millbase.ingredients
        ],
        "dose": names.index(dose.name) if dose and dose.name in names else None,
        "heldDose": dose.value if dose and isinstance(dose.value, int | float) else 0.0,
        "additives": _additives(study),
        "inSample": in_sample,
        "samplePigment": letdown_g * per_cent / 100,
        "titrated": [_titrated(study, one) for one in study.factors if one.set_by],
        "heldBack": [HELD_BACK_OF_BATCH, HELD_BACK_OF_WATER],
        "draw": millbase.sample_g,
        **_sample_lines(study),
    }


def _additives(study: Study) -> list[Json]:
    """Give the lines that are dosed: name and active fraction, by level where they hang on one."""
    if study.additives:
        return [
            {"share": i, "choice": None, "names": [one.name], "active": [one.active_percent / 100]}
            for i, one in enumerate(study.additives)
        ]
    if study.dose is None:
        return []
    choice = next((one for one in study.factors if one.name == dosed_choice(study)), None)
    varied = choice is not None and choice.kind == "choice"
    levels = [str(level) for level in choice.levels] if choice is not None and varied else []
    rows: list[Mapping[str, str]] = [{choice.name: one} for one in levels] if choice else [{}]
    materials = [dosed_material(study, row) for row in rows or [{}]]
    return [
        {
            "share": None,
            "choice": study.setting_names.index(choice.name) if choice and varied else None,
            "names": [bare_dose_name(study, row) for row in rows or [{}]],
            "active": [one.active_percent / 100 if one else 1.0 for one in materials],
        }
    ]


def _titrated(study: Study, factor: Factor) -> Json:
    """Say what is reached by adding what; a titrant may be the level of a choice."""
    names = study.setting_names
    by = next((one for one in study.factors if fold(one.name) == fold(factor.set_by or "")), None)
    held = by is not None and by.kind == "held" and isinstance(by.value, str)
    return {
        "factor": factor.name,
        "unit": factor.unit,
        "axis": names.index(factor.name) if factor.name in names else None,
        "value": factor.value,
        "titrant": by.value if by is not None and held else factor.set_by,
        "choice": names.index(by.name) if by is not None and by.kind == "choice" else None,
        "inBatch": factor.set_per in ("day", "batch"),
    }


def _sample_lines(study: Study) -> Json:
    """Give what is weighed for a sample besides additives: those follow the settings."""
    if study.letdown is None:
        return {"letdown": [], "tint": []}
    standing = weigh_sample(study, _nothing_dosed(study))
    return {
        "letdown": [_line(one) for one in standing.letdown if one.kind != "additive"],
        "tint": [_line(one) for one in standing.tint],
    }


def _nothing_dosed(study: Study) -> Mapping[str, float]:
    return {study.dose.name: 0.0} if study.dose else {}


def _line(line: RecipeLine) -> Json:
    return {"name": line.name, "grams": line.as_supplied_g}
