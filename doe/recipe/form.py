"""A quantity of the recipe over all settings at once, exact: value and slope.

At fixed levels of named choices every gram of a recipe is linear in the amounts dose × share: the
package grows with them and the balance gives way. So a quantity is

    y = (t₀ + Σ tᵢ aᵢ) / (b₀ + Σ bᵢ aᵢ),    aᵢ = dose × shareᵢ,

and its t and b are read off the recipe itself, once without additives and once with each alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doe.recipe.batch_recipe import ZERO_G, weigh_batch
from doe.recipe.composition import compose
from doe.recipe.package import dosed_choice
from doe.recipe.quantities import Quantity
from doe.recipe.titration import SettingsRow
from doe.study.brief import Factor, Study
from doe.study.level_ranges import own_ranges
from doe.study.settings import BoolArray, FloatArray, frozen_array

# % active on pigment at which each additive is looked at alone. A power of two, so that dividing
# by it rounds nothing; small, so that even a weak additive leaves room for the balance.
PROBE_DOSE = 0.125


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecipeForm:
    """One quantity as a ratio of two linear sums over q amounts, for each of L levels.

    Attributes:
        shares: Columns of the q shares in a table of settings; empty without a package.
        dose: Column of the dose; None where it is held or there is none.
        held_dose: Its value where it is held, 0 without one.
        may_lack: Whether a row without a dose has none, rather than an open one.
        choice: Column of the choice whose levels are dosed; None where the recipe hangs on none.
        top: Shape (L, 1 + q), t above.
        bottom: Shape (L, 1 + q), b above.
        balance_g: Shape (L, 1 + q), grams of balance; where it is negative, nothing can be made.
    """

    shares: tuple[int, ...]
    dose: int | None
    held_dose: float
    may_lack: bool
    choice: int | None
    top: FloatArray
    bottom: FloatArray
    balance_g: FloatArray

    def __post_init__(self) -> None:
        for name in ("top", "bottom", "balance_g"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    def values(self, settings: FloatArray) -> FloatArray:
        """Compute the quantity: (n, k), lab units, to (n,); NaN where no recipe can be made."""
        top, bottom, room = self._sums(settings, self._amounts(settings))
        with np.errstate(divide="ignore", invalid="ignore"):
            found: FloatArray = np.where(room & (bottom > 0.0), top / bottom, np.nan)
        return found

    def gradient(self, settings: FloatArray) -> FloatArray:
        """Give the slopes, (n, k) per lab unit; 0 along all that does not enter the recipe."""
        amounts = self._amounts(settings)
        top, bottom, _ = self._sums(settings, amounts)
        level = self._levels(settings)
        with np.errstate(divide="ignore", invalid="ignore"):
            y = top / bottom
            # dy/da = (t − y b) / (b₀ + Σ b a).
            by_amount = (self.top[level, 1:] - y[:, None] * self.bottom[level, 1:]) / bottom[
                :, None
            ]
        slopes = np.zeros(settings.shape)
        shares, dose = self._shares(settings), self._dose(settings)
        for i, column in enumerate(self.shares):
            slopes[:, column] = by_amount[:, i] * dose
        if self.dose is not None:
            slopes[:, self.dose] = (by_amount * shares).sum(axis=1)
        return slopes

    def _sums(
        self, settings: FloatArray, amounts: FloatArray
    ) -> tuple[FloatArray, FloatArray, BoolArray]:
        level = self._levels(settings)
        top, bottom, balance = (
            table[level, 0] + (table[level, 1:] * amounts).sum(axis=1)
            for table in (self.top, self.bottom, self.balance_g)
        )
        return top, bottom, balance >= -ZERO_G

    def _levels(self, settings: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
        if self.choice is None:
            return np.zeros(len(settings), dtype=np.intp)
        return np.rint(np.nan_to_num(settings[:, self.choice])).astype(np.intp)

    def _amounts(self, settings: FloatArray) -> FloatArray:
        amounts: FloatArray = self._dose(settings)[:, None] * self._shares(settings)
        return amounts

    def _shares(self, settings: FloatArray) -> FloatArray:
        """Give the q shares, (n, q); the whole where a dose has no package, an open one as 0."""
        if not self.shares:
            return np.ones((len(settings), self.top.shape[1] - 1))
        return np.nan_to_num(settings[:, list(self.shares)])

    def _dose(self, settings: FloatArray) -> FloatArray:
        if self.dose is None:
            return np.full(len(settings), self.held_dose)
        dose = settings[:, self.dose]
        return np.nan_to_num(dose) if self.may_lack else dose


def make_form(study: Study, quantity: Quantity) -> RecipeForm:
    """Read a quantity off the recipe of a study, for all its settings.

    Args:
        study: The brief; columns are those of `study.setting_names`.
        quantity: What to compute.

    Raises:
        PlanError: Nothing can be weighed out; see `weigh_batch`.
        StudyError: Data of raw materials are missing; every key that would give them.
    """
    names = study.setting_names
    choice = dosed_choice(study)
    column = names.index(choice) if choice in names else None
    levels = _levels(study, choice) if column is not None else ({},)
    probes = [[_probe(study, quantity, row) for row in _rows(study, level)] for level in levels]
    dose = study.dose
    held = dose.value if dose and isinstance(dose.value, int | float) else 0.0
    tables = np.array([_linear(rows) for rows in probes])
    return RecipeForm(
        shares=tuple(names.index(one.name) for one in study.additives),
        dose=names.index(dose.name) if dose and dose.name in names else None,
        held_dose=float(held),
        may_lack=bool(dose and dose.ranges),
        choice=column,
        top=tables[:, 0],
        bottom=tables[:, 1],
        balance_g=tables[:, 2],
    )


def _levels(study: Study, choice: str | None) -> tuple[Mapping[str, str], ...]:
    factor = next(one for one in study.factors if one.name == choice)
    return tuple({factor.name: str(level)} for level in factor.levels)


def _rows(study: Study, level: Mapping[str, str]) -> list[SettingsRow]:
    """List the rows to look at: without additives, and with each alone at the probe dose."""
    dose = study.dose
    if dose is None:
        return [level]
    none: SettingsRow = {**level, dose.name: 0.0}
    if study.additives:
        return [none, *(_alone(dose, {**level, one.name: 1.0}) for one in study.additives)]
    return [none, none if _lacks_dose(study, level) else _alone(dose, level)]


def _alone(dose: Factor, row: SettingsRow) -> SettingsRow:
    return {**row, dose.name: PROBE_DOSE}


def _lacks_dose(study: Study, level: Mapping[str, str]) -> bool:
    ranges = own_ranges(study, study.dose) if study.dose else {}
    return any(ranges.get(name, 0) is None for name in level.values())


def _probe(study: Study, quantity: Quantity, row: SettingsRow) -> tuple[float, float, float]:
    composition = compose(study, row, quantity.part)
    balance_g = weigh_batch(study, row).water_to_weigh_g
    return quantity.top(composition), quantity.bottom(composition), balance_g


def _linear(probes: Sequence[tuple[float, float, float]]) -> FloatArray:
    """Turn sums at the probes, (1 + q, 3), into t, b and balance: shape (3, 1 + q)."""
    sums = np.array(probes)
    found = np.vstack([sums[:1], (sums[1:] - sums[:1]) / PROBE_DOSE])
    linear: FloatArray = found.T
    return linear
