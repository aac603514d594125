"""What one gram of a raw material brings into a paint, as far as the brief says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from doe.study.brief import Control, Material, Millbase, Pigment, Study
from doe.study.names import fold

# g/mL at 20 °C and 25 °C, ordinary pressure; Tanaka et al. (2001), Metrologia 38, 301-309 (from
# memory), rounded to four decimals.
WATER_DENSITY_20C = 0.9982
WATER_DENSITY_25C = 0.9971

MaterialKind = Literal["pigment", "filler", "binder", "additive", "water", "other"]
Amount = Literal[
    "solids_g", "water_g", "voc_g", "exempt_g", "volume_ml", "solids_ml", "water_ml",
    "exempt_ml", "cost", "oil_g", "hydrophilic_g",
]  # fmt: skip


class MissingDatumError(LookupError):
    """A datum of a raw material that the brief does not give.

    Attributes:
        key: The key that would give it.
        where: The table of the brief that it belongs in.
    """

    def __init__(self, key: str, where: str) -> None:
        super().__init__(f"{where}: {key}")
        self.key, self.where = key, where


@dataclass(frozen=True, slots=True, kw_only=True)
class RawMaterial:
    """One raw material as supplied; None is what the brief does not say.

    Attributes:
        name: As in the brief.
        where: Its table in the brief.
        kind: What it is in the film.
        solids_fraction: What stays in the film, 0..1 by mass.
        voc_fraction: Volatile organic compounds, 0..1 by mass.
        exempt_fraction: Volatile matter that is neither water nor VOC, 0..1 by mass.
        density: As supplied, g/mL.
        solids_density: Of the dry matter, g/mL.
        solvent_density: Of its VOC and exempt matter, g/mL.
        price_per_kg: As supplied.
        oil_absorption: g of oil on 100 g.
        hydrophilic_fraction: Hydrophilic part of the active matter, 0..1, as the user declares it.
        keys: Keys of the brief that go by another name here.
    """

    name: str
    where: str
    kind: MaterialKind | None = None
    solids_fraction: float | None = None
    voc_fraction: float | None = None
    exempt_fraction: float = 0.0
    density: float | None = None
    solids_density: float | None = None
    solvent_density: float | None = None
    price_per_kg: float | None = None
    oil_absorption: float | None = None
    hydrophilic_fraction: float | None = None
    keys: Mapping[str, str] = field(default_factory=dict)

    def per_gram(self, amount: Amount) -> float:
        """Give what one gram as supplied brings, except `hydrophilic_g`: of one gram active.

        Raises:
            MissingDatumError: The brief does not give what it takes.
        """
        return _PER_GRAM[amount](self)

    def needed(self, value: float | None, key: str) -> float:
        """Give a datum, or say that it is missing.

        Raises:
            MissingDatumError: It is None.
        """
        if value is None:
            raise MissingDatumError(self.keys.get(key, key), self.where)
        return value


def _solids(one: RawMaterial) -> float:
    return one.needed(one.solids_fraction, "solids_percent")


def _voc(one: RawMaterial) -> float:
    if one.voc_fraction is None and one.solids_fraction == 1.0:
        return 0.0
    return one.needed(one.voc_fraction, "voc_percent")


def _water(one: RawMaterial) -> float:
    return 1.0 - _solids(one) - _voc(one) - one.exempt_fraction


def _water_ml(one: RawMaterial) -> float:
    return _water(one) / WATER_DENSITY_20C


def _volume(one: RawMaterial) -> float:
    if one.density is not None:
        return 1.0 / one.density
    if one.solids_density is None and one.solids_fraction != 0.0:
        raise MissingDatumError("density_g_per_ml", one.where)
    return _solids_ml(one) + _water_ml(one) + _organic_ml(one)


def _solids_ml(one: RawMaterial) -> float:
    solids = _solids(one)
    if solids == 0.0:
        return 0.0
    if one.solids_density is not None:
        return solids / one.solids_density
    if solids == 1.0 and one.density is not None:
        return 1.0 / one.density
    if one.density is None:
        raise MissingDatumError("solids_density_g_per_ml", one.where)
    # Ideal volumes: what is neither water nor solvent is the solids.
    return 1.0 / one.density - _water_ml(one) - _organic_ml(one)


def _organic_ml(one: RawMaterial) -> float:
    organic = _voc(one) + one.exempt_fraction
    if organic == 0.0:
        return 0.0
    return organic / one.needed(one.solvent_density, "solvent_density_g_per_ml")


def _exempt_ml(one: RawMaterial) -> float:
    if one.exempt_fraction == 0.0:
        return 0.0
    if one.exempt_fraction == 1.0 and one.density is not None:
        return 1.0 / one.density
    return one.exempt_fraction / one.needed(one.solvent_density, "solvent_density_g_per_ml")


def _cost(one: RawMaterial) -> float:
    return one.needed(one.price_per_kg, "price_per_kg") / 1000.0


def _oil(one: RawMaterial) -> float:
    return one.needed(one.oil_absorption, "oil_absorption_g_per_100g") / 100.0


def _hydrophilic(one: RawMaterial) -> float:
    return one.needed(one.hydrophilic_fraction, "hydrophilic_fraction")


def _exempt(one: RawMaterial) -> float:
    return one.exempt_fraction


_PER_GRAM: Mapping[Amount, Callable[[RawMaterial], float]] = {
    "solids_g": _solids,
    "water_g": _water,
    "voc_g": _voc,
    "exempt_g": _exempt,
    "volume_ml": _volume,
    "solids_ml": _solids_ml,
    "water_ml": _water_ml,
    "exempt_ml": _exempt_ml,
    "cost": _cost,
    "oil_g": _oil,
    "hydrophilic_g": _hydrophilic,
}


def raw_materials(study: Study, control: Control | None = None) -> dict[str, RawMaterial]:
    """Gather the raw materials of a mill batch by folded name.

    Args:
        study: The brief.
        control: A control; what it says of its own ingredients goes before the rest of the brief.

    Returns:
        Every material that the weigh-out of a batch may name, and the additives.
    """
    found: dict[str, RawMaterial] = {}
    for one in study.materials:
        kind = one.kind or "additive"
        found[fold(one.name)] = _material(one, f"[[material]] '{one.name}'", kind)
    if study.millbase:
        for part in study.millbase.ingredients:
            where = f"[[millbase.ingredient]] '{part.name}'"
            found[fold(part.name)] = _material(part, where, part.kind)
        found[fold(study.millbase.balance)] = _balance(study, study.millbase)
    for additive in study.additives:
        where = f"[[package.additive]] '{additive.name}'"
        found[fold(additive.name)] = _material(additive, where, "additive")
    pigment = _pigment(study.pigment)
    found[fold(pigment.name)] = pigment
    for own in control.ingredients if control else ():
        if fold(own.name) not in found or own.model_fields_set - {"name", "grams"}:
            where = f"[[control.ingredient]] '{own.name}'"
            found[fold(own.name)] = _material(own, where, own.kind or "additive")
    return found


def letdown_materials(study: Study) -> dict[str, RawMaterial]:
    """Gather the raw materials that come in with the let-down, by folded name."""
    return {
        fold(one.name): _material(one, f"[[letdown.ingredient]] '{one.name}'", one.kind)
        for one in (study.letdown.ingredients if study.letdown else ())
    }


def white_paste(study: Study) -> RawMaterial:
    """Give the white paste of the white reduction."""
    white = study.tint.white if study.tint else None
    if white is None:
        return RawMaterial(name="white paste", where="[tint.white]")
    return _material(white, "[tint.white]", None)


def _material(one: Material, where: str, kind: MaterialKind | None) -> RawMaterial:
    said = one.model_fields_set
    solids = one.solids_percent
    if solids is None and "active_percent" in said:
        solids = one.active_percent
    voc = one.voc_percent
    if voc is None and "solvent_percent" in said:
        voc = getattr(one, "solvent_percent", None)
    return RawMaterial(
        name=one.name,
        where=where,
        kind=kind,
        solids_fraction=_fraction(solids),
        voc_fraction=_fraction(voc),
        exempt_fraction=_fraction(one.voc_exempt_percent) or 0.0,
        density=one.density_g_per_ml,
        solids_density=one.solids_density_g_per_ml,
        solvent_density=one.solvent_density_g_per_ml,
        price_per_kg=one.price_per_kg,
        oil_absorption=one.oil_absorption_g_per_100g,
        hydrophilic_fraction=getattr(one, "hydrophilic_fraction", None),
        # An additive says what it holds beside water under its own key.
        keys={"voc_percent": "solvent_percent"} if hasattr(one, "solvent_percent") else {},
    )


def _balance(study: Study, millbase: Millbase) -> RawMaterial:
    """Read the balance: water by its name, else what `[[material]]` says of it."""
    name = millbase.balance
    own = next((one for one in study.materials if fold(one.name) == fold(name)), None)
    where = f"[[material]] '{name}'"
    if own is not None:
        return _material(own, where, own.kind)
    if "water" not in fold(name).split():
        return RawMaterial(name=name, where=where)
    return RawMaterial(
        name=name,
        where="[millbase]",
        kind="water",
        solids_fraction=0.0,
        voc_fraction=0.0,
        density=millbase.balance_density_g_per_ml or WATER_DENSITY_20C,
        price_per_kg=millbase.balance_price_per_kg,
        keys={"price_per_kg": "balance_price_per_kg"},
    )


def _pigment(pigment: Pigment | None) -> RawMaterial:
    return RawMaterial(
        name=pigment.name if pigment else "pigment",
        where="[pigment]",
        kind="filler" if pigment and pigment.kind == "filler" else "pigment",
        solids_fraction=1.0,
        voc_fraction=0.0,
        density=pigment.density_g_per_ml if pigment else None,
        price_per_kg=pigment.price_per_kg if pigment else None,
        oil_absorption=pigment.oil_absorption_g_per_100g if pigment else None,
    )


def _fraction(percent: float | None) -> float | None:
    return None if percent is None else percent / 100.0
