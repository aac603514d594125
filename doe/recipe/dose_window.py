"""Where to start with the dose: from the pigment's surface, its oil absorption, its class.

Each way gives an estimate with its source and mark; the suggested range says what it rests on.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from doe.errors import Fault, StudyError
from doe.recipe.dose_tables import CLASSES, COVERAGES, FAMILIES, OIL_RULES, Family, PigmentClass
from doe.recipe.dosing import dose_from_coverage
from doe.study.brief import Pigment, Study
from doe.study.finding import Finding
from doe.study.names import fold

Basis = Literal["specific surface", "oil absorption", "pigment class"]

# Estimates whose middles differ by more than this ratio disagree. Ours: half to double is as close
# as rules of thumb come.
DISAGREE = 2.0
USER_MARK = "given by the user"


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowOptions:
    """What the user sets in place of the defaults.

    Attributes:
        coverage: mg/m², lowest and highest.
        oil_factor: % on pigment a g/100 g of oil absorption.
        family: Chemistry of the main dispersant; None where it is not said.
        pigment_class: Name of a class; None to go by the brief.
    """

    coverage: tuple[float, float] | None = None
    oil_factor: float | None = None
    family: Family | None = None
    pigment_class: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """One starting dose.

    Attributes:
        basis: What it rests on.
        family: The chemistry that it holds for; None for any.
        low: Lowest dose, % active on pigment.
        high: Highest dose; equal to the lowest where the rule gives one figure.
        how: The arithmetic, with its numbers.
        source: Where the rule comes from.
        mark: How sure that is.
    """

    basis: Basis
    family: Family | None
    low: float
    high: float
    how: str
    source: str
    mark: str

    @property
    def middle(self) -> float:
        """Geometric middle."""
        return float((self.low * self.high) ** 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseWindow:
    """The estimates of a study, and the range that they suggest.

    Attributes:
        estimates: All of them.
        low: Lowest dose suggested, % active on pigment; None without an estimate.
        high: Highest dose suggested.
        reason: Why this range.
        pigment_class: The class that was taken; None if none fits.
        findings: Where they disagree, and what is missing.
    """

    estimates: tuple[Estimate, ...]
    low: float | None
    high: float | None
    reason: str
    pigment_class: str | None
    findings: tuple[Finding, ...]


def dose_window(study: Study, options: WindowOptions | None = None) -> DoseWindow:
    """Estimate the dose in every way that the brief allows.

    Raises:
        StudyError: There is no class of the name given.
    """
    options = options or WindowOptions()
    pigment = study.pigment
    chosen = _class_of(pigment, options.pigment_class)
    estimates = (
        *_by_surface(pigment, options),
        *_by_oil(pigment, options),
        *_by_class(chosen, options),
    )
    findings = [*_class_findings(chosen, options), *_missing(pigment, estimates)]
    low, high, reason = _suggested(estimates)
    findings += _disagreements(estimates, options)
    return DoseWindow(
        estimates=estimates, low=low, high=high, reason=reason,
        pigment_class=chosen.name if chosen else None, findings=tuple(findings),
    )  # fmt: skip


def refuse_without_data(window: DoseWindow, where: str) -> None:
    """Refuse to go on where nothing gives a starting dose.

    Raises:
        StudyError: Says what is missing and where to write it.
    """
    if window.low is not None:
        return
    raise StudyError.from_faults(
        [
            Fault(
                what="the pigment has neither a specific surface, nor an oil absorption, nor a "
                "kind or class that has a usual dose",
                where=f"{where}, [pigment]",
                allowed="one of specific_surface_m2_per_g = 11.0, oil_absorption_g_per_100g = "
                '22.0, kind = "inorganic"',
                do="Write what the pigment's data sheet says, or give the range: "
                "'--ladder --from LOW --to HIGH'.",
            )
        ]
    )


def _families(options: WindowOptions) -> tuple[Family, ...]:
    return (options.family,) if options.family else FAMILIES


def _by_surface(pigment: Pigment | None, options: WindowOptions) -> list[Estimate]:
    surface = pigment.specific_surface_m2_per_g if pigment else None
    if surface is None:
        return []
    if options.coverage is not None:
        return [_surface_estimate(surface, options.coverage, options.family, "", USER_MARK)]
    return [
        _surface_estimate(surface, rule.coverage, rule.family, rule.source, rule.mark)
        for rule in COVERAGES
        if rule.family in _families(options)
    ]


def _surface_estimate(
    surface: float, coverage: tuple[float, float], family: Family | None, source: str, mark: str
) -> Estimate:
    low, high = (dose_from_coverage(one, surface) for one in coverage)
    return Estimate(
        basis="specific surface", family=family, low=low, high=high, source=source, mark=mark,
        how=f"{coverage[0]:g} to {coverage[1]:g} mg/m² on {surface:g} m²/g",
    )  # fmt: skip


def _by_oil(pigment: Pigment | None, options: WindowOptions) -> list[Estimate]:
    oil = pigment.oil_absorption_g_per_100g if pigment else None
    if pigment is None or oil is None:
        return []
    if options.oil_factor is not None:
        return [_oil_estimate(oil, options.oil_factor, "", USER_MARK)]
    return [
        _oil_estimate(oil, rule.factor, rule.source, rule.mark)
        for rule in OIL_RULES
        if pigment.kind in rule.kinds
    ]


def _oil_estimate(oil: float, factor: float, source: str, mark: str) -> Estimate:
    return Estimate(
        basis="oil absorption", family=None, low=factor * oil, high=factor * oil,
        how=f"{factor:g} × {oil:g} g/100 g", source=source, mark=mark,
    )  # fmt: skip


def _by_class(chosen: PigmentClass | None, options: WindowOptions) -> list[Estimate]:
    if chosen is None:
        return []
    return [
        Estimate(
            basis="pigment class", family=family, low=low, high=high,
            how=f"usual for {chosen.name}: {low:g} to {high:g} %", source="Doses usual for the "
            f"class '{chosen.name}'.", mark=chosen.mark,
        )
        for family, (low, high) in chosen.doses.items()
        if family in _families(options)
    ]  # fmt: skip


def _class_of(pigment: Pigment | None, asked: str | None) -> PigmentClass | None:
    if asked is not None:
        named = next((one for one in CLASSES if fold(one.name) == fold(asked)), None)
        if named is None:
            raise StudyError(
                f"there is no pigment class '{asked}'",
                where="--class",
                allowed=", ".join(one.name for one in CLASSES),
            )
        return named
    if pigment is None:
        return None
    words = set(re.findall(r"\w+", fold(pigment.name)))
    return next(
        (
            one
            for one in CLASSES
            if pigment.kind in (None, *one.kinds)
            if any(words.issuperset(some) for some in one.words)
            or (not one.words and pigment.kind in one.kinds)
        ),
        None,
    )


def _suggested(estimates: tuple[Estimate, ...]) -> tuple[float | None, float | None, str]:
    """Span the estimates from this pigment's own data; its class only where there are none."""
    own = [one for one in estimates if one.basis != "pigment class"]
    if own:
        names = " and ".join(dict.fromkeys(one.basis for one in own))
        reason = f"spans the estimates from the pigment's own {names}"
        usual = [one for one in estimates if one.basis == "pigment class"]
        if usual:
            ends = min(one.low for one in usual), max(one.high for one in usual)
            reason += f"; doses usual for its class ({ends[0]:g} to {ends[1]:g} %) stand beside it"
        return min(one.low for one in own), max(one.high for one in own), f"It {reason}."
    if estimates:
        return (
            min(one.low for one in estimates),
            max(one.high for one in estimates),
            "It is what is usual for the class; the pigment's own surface or oil absorption would "
            "narrow it.",
        )
    return None, None, ""


def _class_findings(chosen: PigmentClass | None, options: WindowOptions) -> list[Finding]:
    if chosen is None:
        return []
    findings = []
    if not chosen.is_milled:
        findings.append(
            Finding(
                level="caution",
                what=f"Pigments of the class '{chosen.name}' must not be milled: it breaks the "
                "flakes and the effect is lost.",
                advice="Stir them in at low shear; take the doses for stirred pots.",
                source="Common practice, no source.",
            )
        )
    if options.family and options.family not in chosen.doses:
        findings.append(
            Finding(
                level="caution",
                what=f"No usual dose of a {options.family} is known for the class '{chosen.name}'. "
                + chosen.note,
                advice="Try a polymeric dispersant beside it.",
                source=f"Table of classes: {chosen.mark}.",
            )
        )
    elif chosen.note and chosen.is_milled:
        findings.append(Finding(level="note", what=chosen.note, source=chosen.mark))
    return findings


def _missing(pigment: Pigment | None, estimates: tuple[Estimate, ...]) -> list[Finding]:
    if not estimates:
        return []
    gaps = [
        (key, said)
        for key, said, value in (
            (
                "specific_surface_m2_per_g",
                "specific surface",
                pigment and pigment.specific_surface_m2_per_g,
            ),
            (
                "oil_absorption_g_per_100g",
                "oil absorption",
                pigment and pigment.oil_absorption_g_per_100g,
            ),
        )
        if value is None
    ]
    return [
        Finding(
            level="note",
            what=f"The brief has no {said}, which would give an estimate of its own.",
            advice=f"Write {key} = … under [pigment] in study.toml.",
        )
        for key, said in gaps
    ]


def _disagreements(estimates: tuple[Estimate, ...], options: WindowOptions) -> list[Finding]:
    findings = []
    by_family: list[Family | None] = [options.family] if options.family else [*FAMILIES]
    for family in by_family:
        held = [one for one in estimates if one.family in (None, family)]
        if len({one.basis for one in held}) < 2:
            continue
        least = min(held, key=lambda one: one.middle)
        most = max(held, key=lambda one: one.middle)
        if most.middle > DISAGREE * least.middle:
            findings.append(
                Finding(
                    level="caution",
                    what=f"For a {family} dispersant the estimates disagree: {least.basis} says "
                    f"about {least.middle:.2g} %, {most.basis} about {most.middle:.2g} %.",
                    evidence={least.basis: least.middle, most.basis: most.middle},
                    advice="Let a ladder decide, from below the least to above the greatest.",
                )
            )
    families = {one.family for one in estimates} - {None}
    if options.family is None and len(families) > 1:
        findings.append(
            Finding(
                level="caution",
                what="The chemistry of the main dispersant is not said, so the range covers small "
                "polyacrylates as well as polymeric dispersants.",
                advice="Narrow it with --family polyacrylate or --family polymeric.",
            )
        )
    return findings
