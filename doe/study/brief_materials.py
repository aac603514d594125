"""Checks on the data of raw materials: what they are made of, and whose data they are."""

from __future__ import annotations

from collections.abc import Iterator

from doe.study.brief import Material, Study
from doe.study.brief_flaws import NAMES, Flaw
from doe.study.brief_lines import Path
from doe.study.names import fold

# Percentages come with a few decimals; sums are off by rounding only.
_ROUNDING = 1e-6


def check_material_data(study: Study) -> Iterator[Flaw]:
    """Find raw materials of more than 100 %, and data of a material that nothing names."""
    for path, material in _materials(study):
        yield from _check_whole(material, path)
        yield from _check_solvent(material, path)
    levels = {
        fold(level)
        for factor in study.factors
        for level in (*factor.levels, factor.value)
        if isinstance(level, str)
    }
    balance = fold(study.millbase.balance) if study.millbase else ""
    for i, one in enumerate(study.materials):
        is_dosed = not study.additives and fold(one.name) in levels
        if not is_dosed and fold(one.name) != balance:
            yield Flaw(
                path=("material", i, "name"),
                what=f'"{one.name}" is no level of a named choice that is dosed without a package, '
                "and no balance",
                do="Name it as the level or the balance is named; data of an additive of the "
                "package belong under [[package.additive]].",
                rests_on=(("material", i, "name"), ("factor",), NAMES),
            )


def _materials(study: Study) -> Iterator[tuple[Path, Material]]:
    for i, additive in enumerate(study.additives):
        yield ("package", "additive", i), additive
    for i, material in enumerate(study.materials):
        yield ("material", i), material
    for i, part in enumerate(study.millbase.ingredients if study.millbase else ()):
        yield ("millbase", "ingredient", i), part
    for i, item in enumerate(study.letdown.ingredients if study.letdown else ()):
        yield ("letdown", "ingredient", i), item
    if study.tint and study.tint.white:
        yield ("tint", "white"), study.tint.white
    for i, control in enumerate(study.controls):
        for j, own in enumerate(control.ingredients):
            yield ("control", i, "ingredient", j), own


def _solids_key(material: Material) -> str | None:
    """Name the key that says the solids; None where nothing does."""
    said = ("solids_percent", "active_percent")
    return next((key for key in said if key in material.model_fields_set), None)


def _check_whole(material: Material, path: Path) -> Iterator[Flaw]:
    keys = [key for key in (_solids_key(material), "voc_percent", "voc_exempt_percent") if key]
    given = {key: value for key in keys if (value := getattr(material, key)) is not None}
    total = sum(given.values())
    if total > 100 + _ROUNDING and len(given) > 1:
        words = " + ".join(f"{key} {value:g}" for key, value in given.items())
        yield Flaw(
            path=(*path, list(given)[-1]),
            what=f'"{material.name}" is {words} = {total:g} %',
            allowed="at most 100 %, as the rest is water",
            do="Say with solids_percent what stays in the film, where that is not all active "
            "matter.",
            rests_on=tuple((*path, key) for key in given),
        )


def _check_solvent(material: Material, path: Path) -> Iterator[Flaw]:
    """Refuse a co-solvent that is said to be neither VOC nor exempt nor solids: it is no water."""
    solvent = getattr(material, "solvent_percent", 0.0)
    if material.voc_percent is None or not solvent:
        return
    solids = material.active_percent if material.solids_percent is None else material.solids_percent
    beside_water = material.voc_percent + (material.voc_exempt_percent or 0.0)
    beside_water += solids - material.active_percent
    if beside_water < solvent - _ROUNDING:
        yield Flaw(
            path=(*path, "voc_percent"),
            what=f'"{material.name}" has {solvent:g} % of co-solvent, of which '
            f"{max(beside_water, 0.0):g} % are VOC, exempt or solids",
            allowed=f"together at least {solvent:g} %",
            do="Count the rest under voc_exempt_percent where it evaporates, under solids_percent "
            "where it stays.",
            rests_on=((*path, "voc_percent"), (*path, "solvent_percent")),
        )
