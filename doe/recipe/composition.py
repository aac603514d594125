"""The whole made-up paint at one row of settings: mill base, let-down, white reduction."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import Literal, get_args

from doe.errors import Fault, StudyError
from doe.recipe.batch_recipe import weigh_batch
from doe.recipe.letdown import weigh_sample
from doe.recipe.materials import (
    Amount,
    MaterialKind,
    MissingDatumError,
    RawMaterial,
    letdown_materials,
    raw_materials,
    white_paste,
)
from doe.recipe.recipe import RecipeLine
from doe.recipe.titration import SettingsRow
from doe.study.brief import Control, Study
from doe.study.names import fold

Part = Literal["mill base", "paint", "white reduction"]
PARTS: tuple[Part, ...] = get_args(Part)


@dataclass(frozen=True, slots=True, kw_only=True)
class PaintLine:
    """One raw material of a paint.

    Attributes:
        material: What it is.
        as_supplied_g: Its grams as supplied.
        active_g: Grams of active matter in it.
        is_package: Whether it is a member of the package, or the dose of a study without one.
    """

    material: RawMaterial
    as_supplied_g: float
    active_g: float
    is_package: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Composition:
    """What one part of a recipe is made of.

    Attributes:
        part: Mill base, paint or white reduction.
        lines: Its raw materials; one that enters twice stands twice.
    """

    part: Part
    lines: tuple[PaintLine, ...]

    @property
    def mass_g(self) -> float:
        """Grams of the whole."""
        return sum(line.as_supplied_g for line in self.lines)

    @property
    def package_g(self) -> float:
        """Grams of active matter of the package."""
        return sum(line.active_g for line in self.lines if line.is_package)

    def total(self, amount: Amount, kinds: Collection[MaterialKind] | None = None) -> float:
        """Add an amount up over the raw materials.

        Args:
            amount: Of what: grams, mL, or cost in the currency of the brief.
            kinds: Kinds of material that count; None for all.

        Raises:
            StudyError: Data are missing: every key that would give them, material by material.
        """
        found = 0.0
        missing: list[MissingDatumError] = []
        for line in self.lines:
            if line.as_supplied_g == 0.0:
                continue
            try:
                if kinds is None or _kind(line.material) in kinds:
                    found += line.as_supplied_g * line.material.per_gram(amount)
            except MissingDatumError as error:
                missing.append(error)
        _refuse_missing(missing)
        return found

    def hydrophilic_g(self) -> float:
        """Add up the hydrophilic part of the package's active matter, as the user declares it.

        Raises:
            StudyError: An additive has no `hydrophilic_fraction`.
        """
        found = 0.0
        missing: list[MissingDatumError] = []
        for line in self.lines:
            if not line.is_package or line.active_g == 0.0:
                continue
            try:
                found += line.active_g * line.material.per_gram("hydrophilic_g")
            except MissingDatumError as error:
                missing.append(error)
        _refuse_missing(missing)
        return found


def compose(
    study: Study, settings_row: SettingsRow, part: Part = "paint", *, control: Control | None = None
) -> Composition:
    """Make up one part of a recipe, material by material.

    What is titrated counts as the balance that it replaces: its grams are not known beforehand.

    Args:
        study: The brief, with `[millbase]`.
        settings_row: As for `weigh_batch`.
        part: Mill base alone, paint let down once, or its white reduction.
        control: The control that the recipe is of, where it brings its own ingredients.

    Raises:
        PlanError: As for `weigh_batch`.
        StudyError: The brief has no let-down or no white reduction.
    """
    known = raw_materials(study, control)
    batch = weigh_batch(study, settings_row, control=control)
    millbase = tuple(_line(known, line) for line in batch.lines)
    if part == "mill base":
        return Composition(part=part, lines=millbase)
    if study.letdown is None:
        raise _no_table("letdown", part)
    letdown = weigh_sample(study, settings_row).letdown
    share = study.letdown.millbase_g / batch.batch_g
    known |= letdown_materials(study)
    paint = (
        *_scaled(millbase, share),
        *(_line(known, line) for line in letdown if line.kind != "mill base"),
    )
    if part == "paint":
        return Composition(part=part, lines=paint)
    if study.tint is None:
        raise _no_table("tint", part)
    share = study.tint.letdown_g / sum(line.as_supplied_g for line in paint)
    white_g = study.tint.white_g
    white = PaintLine(material=white_paste(study), as_supplied_g=white_g, active_g=0.0)
    return Composition(part=part, lines=(*_scaled(paint, share), white))


def _line(known: dict[str, RawMaterial], line: RecipeLine) -> PaintLine:
    unknown = RawMaterial(
        name=line.name,
        where=f"'{line.name}', under [[package.additive]] or, for a level of a choice, "
        "[[material]]",
        kind="additive",
    )
    return PaintLine(
        material=known.get(fold(line.name), unknown),
        as_supplied_g=line.as_supplied_g,
        active_g=line.active_g,
        is_package=line.kind == "additive",
    )


def _scaled(lines: Iterable[PaintLine], share: float) -> tuple[PaintLine, ...]:
    return tuple(
        replace(line, as_supplied_g=line.as_supplied_g * share, active_g=line.active_g * share)
        for line in lines
    )


def _kind(material: RawMaterial) -> MaterialKind:
    if material.kind is None:
        raise MissingDatumError("kind", material.where)
    return material.kind


def _no_table(table: str, part: Part) -> StudyError:
    return StudyError(
        f"the brief has no [{table}], so there is no {part} to compute from",
        where="study.toml",
        do=f'Add [{table}], or compute from another part: with = {{ part = "mill base" }}.',
    )


def _refuse_missing(missing: list[MissingDatumError]) -> None:
    if missing:
        raise StudyError.from_faults(
            Fault(
                what=f"{key} is missing",
                where=f"study.toml, {where}",
                do="Add it, from the supplier's data sheet.",
            )
            for key, where in dict.fromkeys((one.key, one.where) for one in missing)
        )
