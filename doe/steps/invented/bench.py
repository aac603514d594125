"""An invented bench: readings for the demo, from a deterministic model and seeded scatter.

Nothing here is knowledge of a real pigment. The shapes (steep fall and slow rise of viscosity with
dose, first-order gain of strength, water uptake that keeps rising) are what the trade would expect;
every number is made up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

GEL_LIMIT_MPAS = 5000.0  # above it the invented viscometer gives no reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What was really in the pot.

    Attributes:
        dose: % active on pigment.
        wetting: Share of the wetting agent, active matter; the three shares add to 1.
        dispersant: Share of the dispersant.
        hydrophobic: Share of the hydrophobic co-additive.
        ph: pH of the grind.
        time: Grind time, min.
    """

    dose: float
    wetting: float
    dispersant: float
    hydrophobic: float
    ph: float
    time: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueValues:
    """What a reading without scatter would give: mPa·s, % of standard, % by mass."""

    viscosity: float
    strength: float
    uptake: float


def true_values(c: Conditions) -> TrueValues:
    """Compute the responses of the invented millbase without scatter.

    Source:
        Invented for the demo of millbase; no measurement stands behind it.

    Example:
        >>> made = true_values(Conditions(dose=1.8, wetting=0.18, dispersant=0.55,
        ...                               hydrophobic=0.27, ph=9.0, time=35.0))
        >>> round(made.viscosity, 2), round(made.strength, 3), round(made.uptake, 4)
        (315.35, 98.858, 6.4635)
    """
    x = _coverage(c)
    under = math.exp(-2.6 * x)
    over = _soft_plus(x - 1.45, 0.12)
    ln_viscosity = 5.60 + 4.2 * under + 0.55 * over + 0.08 * (c.ph - 8.8) ** 2
    speed = 0.075 * (0.75 + 0.25 * (1.0 - math.exp(-c.wetting / 0.08))) * (1.0 - 0.75 * under)
    rate = speed / (1.0 + math.exp((ln_viscosity - 7.8) / 0.35))
    strength = 52.0 + (52.0 - 26.0 * under - 4.0 * over) * (1.0 - math.exp(-rate * c.time))
    free = c.dose * (1.0 - 1.0 / x) if x > 1.0 else 0.0
    hydrophilic = c.dispersant + 1.9 * c.wetting - 0.55 * c.hydrophobic
    uptake = 4.2 + 1.05 * c.dose * hydrophilic + 1.3 * free + 2.4 * under
    return TrueValues(viscosity=math.exp(ln_viscosity), strength=strength, uptake=uptake)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawBatch:
    """What the invented bench wrote down of one batch.

    Attributes:
        viscosity: At low and high speed, mPa·s; empty where the batch gelled.
        strength: What the reflectance curve of the tint stands for, % of the day's standard.
        films: Grams of each film before and after a day in water, and re-dried.
    """

    viscosity: tuple[float, ...] = ()
    strength: float = float("nan")
    films: tuple[tuple[float, float, float], ...] = ()


def read_batch(
    conditions: Conditions, day: Mapping[str, float], rng: np.random.Generator
) -> RawBatch:
    """Read one invented batch as the bench would write it down.

    Args:
        conditions: What was in the pot.
        day: Shift of the day, from `day_shifts`.
        rng: Source of the scatter.
    """
    true = true_values(conditions)
    # Batch errors of ln viscosity (0.05) and strength (0.9), correlated by −0.4; written out, as a
    # factorisation may turn its signs on another machine.
    first, second = rng.normal(size=2)
    batch = 0.05 * first
    strength_batch = 0.9 * (-0.4 * first + math.sqrt(1.0 - 0.4**2) * second)
    ln_viscosity = math.log(true.viscosity) + day["viscosity"] + batch + rng.normal(0.0, 0.036)
    viscosity = math.exp(ln_viscosity)
    strength = true.strength + day["strength"] + strength_batch + rng.normal(0.0, 0.8)
    uptake_batch = true.uptake + day["uptake"] + rng.normal(0.0, 0.25)
    films = tuple(_film(uptake_batch + rng.normal(0.0, 0.3), rng) for _ in range(2))
    if viscosity > GEL_LIMIT_MPAS:
        # What has set in the mill can be neither let down nor drawn.
        return RawBatch()
    # The worse the pigment is dispersed, the more the millbase thins under shear.
    thinning = 1.2 + 0.35 * max(0.0, ln_viscosity - 5.6) + 0.02 * rng.normal()
    return RawBatch(
        viscosity=(_three_digits(viscosity), _three_digits(viscosity / thinning)),
        strength=float(strength),
        films=films,
    )


def _film(uptake_percent: float, rng: np.random.Generator) -> tuple[float, float, float]:
    """Weigh a film of about half a gram to a tenth of a milligram: dry, wet, re-dried."""
    dry = round(0.5 + 0.03 * float(rng.normal()), 4)
    leached = 0.4 + 0.08 * uptake_percent
    return dry, round(dry * (1 + uptake_percent / 100), 4), round(dry * (1 - leached / 100), 4)


def day_shifts(rng: np.random.Generator) -> dict[str, float]:
    """Draw how far one invented day lies off, on the scale each response scatters on."""
    return {
        "viscosity": float(rng.normal(0.0, 0.03)),
        "strength": float(rng.normal(0.0, 0.6)),
        "uptake": float(rng.normal(0.0, 0.10)),
    }


def _coverage(c: Conditions) -> float:
    """How far the surface is covered; 1 = just covered."""
    blend = 0.20 * c.wetting + c.dispersant + 0.75 * c.hydrophobic
    affinity = blend + 0.90 * c.dispersant * c.hydrophobic + 0.50 * c.wetting * c.hydrophobic
    charge = math.exp(-0.5 * ((c.ph - 9.0) / 1.1) ** 2)
    opened = 1.20 * (0.70 + 0.30 * (1.0 - math.exp(-c.time / 25.0)))
    return c.dose * affinity * charge / opened


def _soft_plus(z: float, s: float) -> float:
    return s * math.log1p(math.exp(z / s))


def _three_digits(value: float) -> float:
    return round(value, 2 - math.floor(math.log10(value)))
