"""Errors of grams, carried through the recipe into shares and dose.

With active grams a_i = P × dose / 100 × share_i and relative errors e of everything weighed,

    share_i = a_i (1 + e_i) / Σ a_j (1 + e_j),    dose = 100 Σ a_j (1 + e_j) / (P (1 + e_P)):

the size of the batch and the active fractions fall out. Additives that are let down with a sample
are dosed on the pigment of the mill base let down, which is P (1 + e_P) / (B + P e_P) of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from doe.study.settings import FloatArray, frozen_array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighing:
    """What is weighed with an error; one column of draws each, in this order.

    Attributes:
        shares: Columns of the q shares in a table of settings; empty without a package.
        dose: Column of the dose; None where it is held or there is none.
        weighed: Places among the shares of those with an error; of a dose without a package (0,).
        relative_sd: Shape (w,), of those, as a part of their grams.
        pigment_sd: The same of the pigment; None where none is stated.
        part_of_batch: Pigment over batch where additives are set per sample; 0 where per batch.
        choice: Column of the choice whose levels are dosed without a package; None without one.
        sd_by_level: Relative sd by level of that choice, shape (L,).
    """

    shares: tuple[int, ...]
    dose: int | None
    weighed: tuple[int, ...]
    relative_sd: FloatArray
    pigment_sd: float | None = None
    part_of_batch: float = 0.0
    choice: int | None = None
    sd_by_level: FloatArray | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "relative_sd", frozen_array(self.relative_sd))

    @property
    def size(self) -> int:
        """How many columns of draws it takes."""
        return len(self.weighed) + int(self.pigment_sd is not None)

    def make(self, values: FloatArray, z: FloatArray) -> FloatArray:
        """Weigh out: settings as set, (n, k), and draws, (n, size), to as made, (n, k)."""
        amounts, grown = self._shares(values, z)
        return self._values(values, amounts, grown, self._pigment(z))

    def _shares(self, values: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give active amounts, (n, q), and what the dose is multiplied by, (n,)."""
        if self.shares:
            nominal = values[:, list(self.shares)]
            factor = np.ones_like(nominal)
            errors = self.relative_sd * z[:, : len(self.weighed)]
            factor[:, list(self.weighed)] = np.maximum(1.0 + errors, 0.0)
            amounts = nominal * factor
            nominal_sum = nominal.sum(axis=1)
            with np.errstate(divide="ignore", invalid="ignore"):
                grown = amounts.sum(axis=1) / nominal_sum
            return amounts, np.where(nominal_sum > 0.0, grown, 1.0)
        grown = np.ones(len(values))
        if self.weighed:
            grown = np.maximum(1.0 + self._bare_sd(values) * z[:, 0], 0.0)
        return np.zeros((len(values), 0)), grown

    def _values(
        self, values: FloatArray, amounts: FloatArray, grown: FloatArray, pigment: FloatArray
    ) -> FloatArray:
        """Put shares and dose as they came out into settings, (n, k)."""
        found = values.copy()
        if self.shares:
            total = amounts.sum(axis=1, keepdims=True)
            nominal_sum = values[:, list(self.shares)].sum(axis=1, keepdims=True)
            with np.errstate(divide="ignore", invalid="ignore"):
                shares = amounts / total * nominal_sum
            found[:, list(self.shares)] = np.where(total > 0.0, shares, amounts)
        if self.dose is not None:
            found[:, self.dose] = values[:, self.dose] * grown / pigment
        return found

    def _pigment(self, z: FloatArray) -> FloatArray:
        """Give the pigment as weighed over the nominal, shape (n,)."""
        if self.pigment_sd is None:
            return np.ones(len(z))
        error = np.maximum(self.pigment_sd * z[:, len(self.weighed)], -0.99)
        pigment: FloatArray = (1.0 + error) / (1.0 + self.part_of_batch * error)
        return pigment

    def _bare_sd(self, values: FloatArray) -> FloatArray:
        if self.choice is None or self.sd_by_level is None:
            return np.full(len(values), float(self.relative_sd[0]))
        level = np.rint(np.nan_to_num(values[:, self.choice])).astype(np.intp)
        sd: FloatArray = np.asarray(self.sd_by_level)[level]
        return sd
