"""The formula card as a value: one version, weighed out for a production batch of any size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.agreement.matching import Match
from analysis.agreement.standing import RoleStanding, missing_roles, objecting_roles
from analysis.agreement.weighing_box import Ends, weighing_box
from doe.study.agreement import AgreedTitration, Agreement, FormulaLine, State, Version

# A plant's scales show four digits of a load, and never finer than 0.1 g. Common practice.
DIGITS, MOST_DECIMALS = 4, 4
GRAMS_IN_KG = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One raw material on the card.

    Attributes:
        step: Place in the order of addition, from 1.
        name: What is weighed.
        kind: Its place in the recipe.
        part: Where it goes in.
        kg: As supplied; of the balance, without what is held back for the titrant.
        decimals: How many of its decimals a scale shows.
        tolerance_kg: How far off it may be, ±, to the same decimals; None where none is stated.
        tolerance_percent: The same of its own kg, as stated.
        tolerance_from: What states it.
        window_kg: From where to where its kg may lie, every additive within its own ends at
            once, so that shares and dose stay in the tolerance box; rounded inward to what a scale
            shows. None where none was sought, or where it is too narrow to weigh.
    """

    step: int
    name: str
    kind: str
    part: str
    kg: float
    decimals: int
    tolerance_kg: float | None
    tolerance_percent: float | None
    tolerance_from: str
    window_kg: tuple[float, float] | None = None

    @property
    def shown_kg(self) -> float:
        """What a scale shows: the nearest that lies within the ends of the box."""
        shown = round(self.kg, self.decimals)
        if self.window_kg is None:
            return shown
        return min(max(shown, self.window_kg[0]), self.window_kg[1])

    @property
    def is_finer_than_scale(self) -> bool:
        """Whether the tolerance is below what the scale shows."""
        return self.tolerance_kg == 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CardTitration:
    """What is titrated, with the balance held back for it."""

    titration: AgreedTitration
    balance: str
    held_back_kg: float
    decimals: int


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionLine:
    """One version in the list at the end of the card."""

    version: Version
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class FormulaCard:
    """All that the card says.

    Attributes:
        title: Of the study.
        pigment: Name of the pigment; empty where the brief has none.
        version: The version.
        state: Draft, final or superseded.
        batch_kg: Size of the batch that is weighed out.
        lines: What is weighed, in the order of addition; empty without a mill base.
        titrations: What is titrated.
        roles: What each role says.
        match: Whether the version still matches the study; None where that was not looked at.
        versions: All versions, in order.
        invented: Whether the readings are invented.
        too_narrow: Additives for which the tolerance box leaves less than a scale shows, so that
            no ends in kg are given.
    """

    title: str
    pigment: str
    version: Version
    state: State
    batch_kg: float
    lines: tuple[CardLine, ...]
    titrations: tuple[CardTitration, ...]
    roles: tuple[RoleStanding, ...]
    match: Match | None
    versions: tuple[VersionLine, ...]
    invented: bool = False
    too_narrow: tuple[str, ...] = ()

    @property
    def missing(self) -> tuple[str, ...]:
        """Roles that have not spoken."""
        return missing_roles(self.roles)

    @property
    def objecting(self) -> tuple[str, ...]:
        """Roles that object."""
        return objecting_roles(self.roles)

    @property
    def has_held_back(self) -> bool:
        """Whether some of the balance waits for the titrant."""
        return any(one.held_back_kg > 0 for one in self.titrations)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSubject:
    """Whose card it is; `dose` names the setting that is the dose."""

    title: str
    pigment: str
    agreement: Agreement
    roles: Sequence[RoleStanding]
    match: Match | None = None
    invented: bool = False
    dose: str = ""


def make_card(subject: CardSubject, version: Version, batch_kg: float | None = None) -> FormulaCard:
    """Weigh a version out for one production batch.

    Args:
        subject: The agreement it belongs to.
        version: One of its versions.
        batch_kg: Size of the batch, kg of mill base; None for that of the version.

    Returns:
        The card. Its kilograms are rounded only where they are printed; with the titrant they add
        to the batch.
    """
    size = version.batch_kg if batch_kg is None else batch_kg
    weighed = [(one, size * one.percent / 100.0) for one in version.formula]
    box = weighing_box(
        version, subject.dose, [(one, kg, scale_decimals(kg)) for one, kg in weighed]
    )
    balance = next((one.name for one in version.formula if one.kind == "balance"), "")
    return FormulaCard(
        title=subject.title,
        pigment=subject.pigment,
        version=version,
        state=subject.agreement.state(version),
        batch_kg=size,
        lines=tuple(
            _line(version, step, one, size, box.kg.get(one.name))
            for step, one in enumerate(version.formula, start=1)
        ),
        titrations=tuple(
            CardTitration(
                titration=one,
                balance=balance,
                held_back_kg=size * one.held_back_percent / 100.0,
                decimals=scale_decimals(size * one.held_back_percent / 100.0),
            )
            for one in version.titrations
        ),
        roles=tuple(subject.roles),
        match=subject.match,
        versions=tuple(
            VersionLine(version=one, state=subject.agreement.state(one))
            for one in subject.agreement.versions
        ),
        invented=subject.invented,
        too_narrow=box.too_narrow,
    )


def _line(
    version: Version, step: int, line: FormulaLine, batch_kg: float, ends: Ends | None
) -> CardLine:
    held_percent = 0.0
    if line.kind == "balance":
        held_percent = max((one.held_back_percent for one in version.titrations), default=0.0)
    kg = batch_kg * (line.percent - held_percent) / 100.0
    decimals = scale_decimals(kg)
    tolerance = None
    if line.tolerance_percent is not None:
        tolerance = round(kg * line.tolerance_percent / 100.0, decimals)
    return CardLine(
        step=step, name=line.name, kind=line.kind, part=line.part, kg=kg, decimals=decimals,
        tolerance_kg=tolerance, tolerance_percent=line.tolerance_percent,
        tolerance_from=line.tolerance_from, window_kg=ends,
    )  # fmt: skip


def scale_decimals(kg: float) -> int:
    """Give the decimals of kilograms that a scale for such a load shows.

    Example:
        >>> scale_decimals(55.0), scale_decimals(1.7875), scale_decimals(0.3)
        (2, 3, 4)
    """
    if kg <= 0.0:
        return 0
    first = math.floor(math.log10(float(f"{kg:.{DIGITS - 1}e}")))
    return min(max(DIGITS - 1 - first, 0), MOST_DECIMALS)
