"""What a composition is worth: every quantity of a recipe as one ratio of two sums over materials.

The sums are linear in the grams weighed, so that a search can follow them exactly
(`doe.recipe.form`); the functions of `volumes`, `voc`, `cost` and `hydrophilic` say the same of
single numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from doe.recipe.composition import Composition, Part
from doe.recipe.materials import MaterialKind

Options = Mapping[str, float | str]
Sum = Callable[[Composition], float]
_SOLID: tuple[MaterialKind, ...] = ("pigment", "filler")
# What a film holds beside pigment and filler, without and with the solids of additives.
_BINDER: tuple[MaterialKind, ...] = ("binder",)
_BINDER_AND_ADDITIVES: tuple[MaterialKind, ...] = ("binder", "additive", "other")


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One quantity of one part of a recipe: `top` over `bottom`.

    Attributes:
        part: What it is of.
        top: Sum over the materials, its factor included.
        bottom: Sum over the materials.
    """

    part: Part
    top: Sum
    bottom: Sum

    def value(self, composition: Composition) -> float:
        """Compute it; NaN where nothing is there to divide by.

        Raises:
            StudyError: Data of a raw material are missing.
        """
        bottom = self.bottom(composition)
        return self.top(composition) / bottom if bottom > 0.0 else float("nan")


def quantity_of(method: str, options: Options) -> Quantity:
    """Find the quantity that a method of the family "recipe" computes.

    Args:
        method: Its exact name.
        options: Every option of the method, defaults filled in.

    Raises:
        KeyError: No such method.
    """
    return QUANTITIES[method](options)


def _part(options: Options) -> Part:
    said = options["part"]
    return "mill base" if said == "mill base" else "paint" if said == "paint" else "white reduction"


def _mass(one: Composition) -> float:
    return one.mass_g


def _volume(one: Composition) -> float:
    return one.total("volume_ml")


def _pigment(one: Composition) -> float:
    return one.total("solids_ml", _SOLID)


def _film(options: Options) -> Sum:
    """Give the sum of pigment, filler and binder, with the solids of additives where they count."""
    rest = _BINDER_AND_ADDITIVES if options["additives"] == "counted" else _BINDER
    return lambda one: one.total("solids_ml", (*_SOLID, *rest))


def _pigment_and_oil(options: Options) -> Sum:
    """Give the volume of pigment with the oil that it takes up: pigment volume over CPVC."""
    oil_density = float(options["oil_density_g_per_ml"])
    return lambda one: _pigment(one) + one.total("oil_g", _SOLID) / oil_density


def _times(factor: float, sum_: Sum) -> Sum:
    return lambda one: factor * sum_(one)


def _mill_base_density(_: Options) -> Quantity:
    return Quantity(part="mill base", top=_mass, bottom=_volume)


def _paint_density(_: Options) -> Quantity:
    return Quantity(part="paint", top=_mass, bottom=_volume)


def _pigment_fraction(options: Options) -> Quantity:
    return Quantity(part=_part(options), top=_times(100.0, _pigment), bottom=_volume)


def _pvc(options: Options) -> Quantity:
    return Quantity(part=_part(options), top=_times(100.0, _pigment), bottom=_film(options))


def _cpvc(options: Options) -> Quantity:
    return Quantity(
        part=_part(options), top=_times(100.0, _pigment), bottom=_pigment_and_oil(options)
    )


def _reduced_pvc(options: Options) -> Quantity:
    # Λ = (V_p / film) / (V_p / (V_p + oil)): the pigment volume cancels.
    return Quantity(part=_part(options), top=_pigment_and_oil(options), bottom=_film(options))


def _volume_solids(options: Options) -> Quantity:
    return Quantity(
        part=_part(options), top=lambda one: 100.0 * one.total("solids_ml"), bottom=_volume
    )


def _solids(options: Options) -> Quantity:
    return Quantity(
        part=_part(options), top=lambda one: 100.0 * one.total("solids_g"), bottom=_mass
    )


def _spreading_rate(options: Options) -> Quantity:
    # 10 × VS % / DFT, and VS % = 100 × solids / volume.
    factor = 1000.0 / float(options["film_thickness_um"])
    return Quantity(
        part=_part(options), top=lambda one: factor * one.total("solids_ml"), bottom=_volume
    )


def _voc(options: Options) -> Quantity:
    return Quantity(
        part=_part(options), top=lambda one: 1000.0 * one.total("voc_g"), bottom=_volume
    )


def _voc_less_water(options: Options) -> Quantity:
    return Quantity(
        part=_part(options),
        top=lambda one: 1000.0 * one.total("voc_g"),
        bottom=lambda one: _volume(one) - one.total("water_ml") - one.total("exempt_ml"),
    )


def _cost_per_kg(options: Options) -> Quantity:
    return Quantity(part=_part(options), top=lambda one: 1000.0 * one.total("cost"), bottom=_mass)


def _cost_per_litre(options: Options) -> Quantity:
    return Quantity(part=_part(options), top=lambda one: 1000.0 * one.total("cost"), bottom=_volume)


def _hydrophilic_load(options: Options) -> Quantity:
    return Quantity(
        part=_part(options),
        top=lambda one: 100.0 * one.hydrophilic_g(),
        bottom=lambda one: one.total("solids_g"),
    )


def _active(options: Options) -> Quantity:
    return Quantity(part=_part(options), top=lambda one: 100.0 * one.package_g, bottom=_mass)


def _active_on_solids(options: Options) -> Quantity:
    return Quantity(
        part=_part(options),
        top=lambda one: 100.0 * one.package_g,
        bottom=lambda one: one.total("solids_g"),
    )


QUANTITIES: Mapping[str, Callable[[Options], Quantity]] = {
    "density of the mill base": _mill_base_density,
    "density of the paint": _paint_density,
    "pigment volume fraction": _pigment_fraction,
    "pigment volume concentration": _pvc,
    "critical pigment volume concentration": _cpvc,
    "reduced pigment volume concentration": _reduced_pvc,
    "volume solids": _volume_solids,
    "solids of the recipe": _solids,
    "spreading rate": _spreading_rate,
    "VOC of the recipe": _voc,
    "VOC of the recipe less water": _voc_less_water,
    "cost per kg": _cost_per_kg,
    "cost per litre": _cost_per_litre,
    "hydrophilic load": _hydrophilic_load,
    "active on paint": _active,
    "active on film solids": _active_on_solids,
}
