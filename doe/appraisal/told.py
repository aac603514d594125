"""What a plan tells about each term and each setting: standard error, stratum, power.

Source:
    DESIGN.md, section 5, "Power": the effect is the difference between the ends of a range;
    noncentral t or F with the degrees of freedom of the stratum in which the term varies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from doe.appraisal.contrasts import cox_contrast, effect_patterns
from doe.appraisal.effects import SettingEffect
from doe.appraisal.freedom import finest
from doe.appraisal.information import Information
from doe.appraisal.power import f_power
from doe.appraisal.sought import Sought
from doe.model.column import Column
from doe.model.region import Region
from doe.model.terms import INTERCEPT, Model, Term, is_blend, term_label
from doe.study.settings import FloatArray

# A direction of a contrast that the runs tell nothing of.
_UNTOLD = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a plan tells about one term or setting.

    Attributes:
        name: Label of the term, or name of the setting.
        stratum: Where it varies: a random stratum, or `residual`.
        df: Degrees of freedom of the error there.
        std_error: Largest standard error among its coefficients (of a term), or of the difference
            between the ends (of a setting), in residual standard deviations; None where it can't
            be told.
        power: Least over the responses; None where it can't be tested.
        power_by_response: By name of the response; one entry under "" where one stands for all.
    """

    name: str
    stratum: str
    df: int
    std_error: float | None
    power: float | None
    power_by_response: Mapping[str, float | None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judge:
    """What terms and settings are judged by.

    Attributes:
        information: What the plan tells.
        columns: Columns of the model.
        strata: Stratum in which each column varies, p entries.
        order: Names of the random strata, coarsest first.
        df: Residual degrees of freedom by stratum.
        region: The settings allowed.
        sought: Effects by response.
        alpha: Chance of a false alarm.
    """

    information: Information
    columns: tuple[Column, ...]
    strata: tuple[str, ...]
    order: tuple[str, ...]
    df: Mapping[str, int]
    region: Region
    sought: tuple[Sought, ...]
    alpha: float

    def terms(self, model: Model) -> tuple[Told, ...]:
        """Judge every term of a model."""
        return tuple(self._term(term) for term in model.terms)

    def settings(self, effects: Sequence[SettingEffect]) -> tuple[Told, ...]:
        """Judge the effects of the settings."""
        return tuple(self._setting(effect) for effect in effects)

    def _term(self, term: Term) -> Told:
        own = [j for j, column in enumerate(self.columns) if column.term == term]
        known = all(self.information.estimable[j] for j in own)
        errors = np.sqrt((self.information.root[own] ** 2).sum(axis=1))
        error = float(errors.max()) if known else None
        contrasts, patterns = self._contrasts_of(term, own)
        return self._told(term_label(term), contrasts, patterns, error, term != INTERCEPT)

    def _contrasts_of(
        self, term: Term, own: Sequence[int]
    ) -> tuple[FloatArray, tuple[FloatArray, ...]]:
        """Give what is tested of a term, shape (c, p), and how an effect of one unit may look."""
        p = len(self.columns)
        if term == INTERCEPT:
            return np.eye(p)[own], ()
        shares = {axis.name for axis in self.region.coding.shares}
        if is_blend(self.region.coding) and sum(name in shares for name, _ in term.powers) == 1:
            # A linear blending term, alone or times factors, moves with its whole package.
            contrast = cox_contrast(term, self.columns, self.region)
            return contrast[None, :], (np.ones(1),)
        patterns = tuple(
            pattern
            for pattern in effect_patterns(term, self.columns, self.region)
            if np.any(pattern != 0)
        )
        return np.eye(p)[own], patterns

    def _setting(self, effect: SettingEffect) -> Told:
        contrasts = np.asarray(effect.contrasts)
        told = self._can_tell(contrasts)
        spread = contrasts @ self.information.root
        # Of a choice: the pair of levels whose difference is known least well.
        worst = max(float(np.linalg.norm(pair @ spread)) for pair in effect.pairs)
        return self._told(
            effect.setting, contrasts, effect.patterns, worst if told else None, testable=True
        )

    def _told(
        self,
        name: str,
        contrasts: FloatArray,
        patterns: tuple[FloatArray, ...],
        error: float | None,
        testable: bool,
    ) -> Told:
        touched = np.flatnonzero(np.abs(contrasts).max(axis=0, initial=0.0) > 0)
        names = tuple(self.strata[j] for j in touched) or (self.strata[0],)
        stratum = finest(names, self.order)
        df = self.df.get(stratum, 0)
        powers: dict[str, float | None] = {}
        size = self._least_size(contrasts, patterns) if testable and df > 0 else None
        for sought in self.sought:
            powers[sought.response] = (
                None
                if size is None
                else f_power(sought.ratio**2 * size, len(contrasts), df, self.alpha)
            )
        known = [power for power in powers.values() if power is not None]
        return Told(
            name=name, stratum=stratum, df=df, std_error=error,
            power=min(known) if known else None, power_by_response=powers,
        )  # fmt: skip

    def _least_size(self, contrasts: FloatArray, patterns: tuple[FloatArray, ...]) -> float | None:
        """Give the noncentrality of the least favourable effect of one standard deviation."""
        if not patterns or not self._can_tell(contrasts):
            return None
        spread = contrasts @ self.information.root
        covariance = spread @ spread.T
        if np.linalg.eigvalsh(covariance)[0] <= _UNTOLD * np.trace(covariance):
            return None
        precision = np.linalg.inv(covariance)
        return min(float(pattern @ precision @ pattern) for pattern in patterns)

    def _can_tell(self, contrasts: FloatArray) -> bool:
        """Tell whether the runs can estimate contrasts: each in the row space of the runs."""
        if self.information.is_full:
            return True
        touched = np.flatnonzero(np.abs(contrasts).max(axis=0) > 0)
        return all(self.information.estimable[j] for j in touched)
