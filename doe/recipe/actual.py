"""From grams really weighed back to dose and shares, and what the scales say of the weigher."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

from doe.recipe.batch_recipe import pigment_name, weigh_batch
from doe.recipe.letdown import weigh_sample
from doe.recipe.package import bare_dose_name, dosed_material, package_stage
from doe.recipe.recipe import RecipeLine
from doe.recipe.titration import SettingsRow
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.names import fold

# Twice the 0.5 to 1 % that a laboratory keeps for additives; common practice, no citable source.
WEIGHING_TOLERANCE = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class ActualPackage:
    """What was really dosed.

    Attributes:
        dose: Active matter on pigment, %; None where grams are missing.
        shares: Share of active matter by additive; empty where grams are missing.
    """

    dose: float | None
    shares: Mapping[str, float]


def actual_package(
    study: Study, grams: Mapping[str, float], planned: SettingsRow | None = None
) -> ActualPackage:
    """Turn grams weighed into the dose and the shares that they make.

    Args:
        study: The brief.
        grams: Grams as supplied by name of additive, and of the pigment; names compared as
            everywhere, others ignored.
        planned: The planned settings of the batch: a material without grams counts as weighed to
            plan. Without them every additive is needed, and the pigment stands as planned.

    Returns:
        Dose and shares; open where grams are missing or no additive was weighed.
    """
    if study.millbase is None:
        return ActualPackage(dose=None, shares={})
    if not study.additives:
        return ActualPackage(dose=_bare_dose(study, grams, planned), shares={})
    weighed = {fold(name): value for name, value in grams.items()}
    supplied: dict[str, float] = {}
    if planned is not None:
        supplied = {fold(line.name): line.as_supplied_g for line in _planned_lines(study, planned)}
    supplied |= weighed
    additives = {item.name: item.active_percent / 100 for item in study.additives}
    if not all(fold(name) in supplied for name in additives):
        return ActualPackage(dose=None, shares={})
    active_g = {name: supplied[fold(name)] * active for name, active in additives.items()}
    paste_g = study.millbase.batch_g
    if package_stage(study) == "sample":
        paste_g = study.letdown.millbase_g if study.letdown else paste_g
    pigment_g = supplied.get(
        fold(pigment_name(study)), paste_g * study.millbase.pigment_percent / 100
    )
    total_g = sum(active_g.values())
    return ActualPackage(
        dose=100 * total_g / pigment_g if pigment_g > 0 else None,
        shares={name: value / total_g for name, value in active_g.items()} if total_g > 0 else {},
    )


def actual_settings(
    study: Study, grams: Mapping[str, float], planned: SettingsRow | None = None
) -> dict[str, float]:
    """Give the settings that grams really weighed stand for, by setting name.

    Only what the plan varies is returned (`Study.setting_names`), and only what the grams tell;
    for all else the planned value stands. See `actual_package` for the arguments.

    Example:
        >>> from doe.study.brief import Study
        >>> study = Study.model_validate({
        ...     "study": {"title": "t"},
        ...     "millbase": {"batch_g": 1000, "pigment_percent": 60},
        ...     "package": {"additive": [{"name": "x", "low": 1, "high": 1, "active_percent": 40}]},
        ...     "factor": [{"name": "dose", "role": "dose", "low": 1, "high": 3}],
        ... })
        >>> actual_settings(study, {"x": 27.0})
        {'x': 1.0, 'dose': 1.8}
    """
    if not _names_package(study, grams, planned):
        return {}
    actual = actual_package(study, grams, planned)
    settings = dict(actual.shares)
    if study.dose is not None and actual.dose is not None:
        settings[study.dose.name] = actual.dose
    names = set(study.setting_names)
    return {name: value for name, value in settings.items() if name in names}


def check_weighing(
    lines: Iterable[RecipeLine], grams: Mapping[str, float], *, unit: str
) -> tuple[Finding, ...]:
    """Compare grams weighed with their targets.

    Two materials whose grams fit when they are swapped give one finding of their own, in place of
    the two of a miss.

    Args:
        lines: The lines of the weigh-out.
        grams: Grams as supplied, by name of material; the balance is left out, as a titration
            changes it.
        unit: The batch, such as `batch 3`.

    Returns:
        A caution for every pair swapped and every weighing off by more than 2 % of its target.
    """
    weighed = {fold(name): value for name, value in grams.items()}
    missed = [
        (line, weighed[fold(line.name)])
        for line in lines
        if line.kind != "balance" and fold(line.name) in weighed
        if not _on_target(weighed[fold(line.name)], line.as_supplied_g)
    ]
    swapped = [
        (one, other)
        for one, other in combinations(missed, 2)
        if _on_target(one[1], other[0].as_supplied_g) and _on_target(other[1], one[0].as_supplied_g)
    ]
    in_swap = {line.name for pair in swapped for line, _ in pair}
    return (
        *(_swap_finding(*pair, unit) for pair in swapped),
        *(_miss_finding(line, value, unit) for line, value in missed if line.name not in in_swap),
    )


def _planned_lines(study: Study, planned: SettingsRow) -> tuple[RecipeLine, ...]:
    """Give the weigh-out in which the additives stand."""
    if package_stage(study) == "sample":
        return weigh_sample(study, planned).letdown
    return weigh_batch(study, planned).lines


def _bare_dose(
    study: Study, grams: Mapping[str, float], planned: SettingsRow | None
) -> float | None:
    """Give the dose of a study without a package; None if unknown."""
    if planned is None or study.dose is None or planned.get(study.dose.name) is None:
        return None
    weighed = {fold(name): value for name, value in grams.items()}
    lines = {line.name: line.as_supplied_g for line in _planned_lines(study, planned)}
    supplied = {name: weighed.get(fold(name), target) for name, target in lines.items()}
    pigment_g = supplied.get(pigment_name(study), 0.0)
    supplied_g = supplied.get(bare_dose_name(study, planned))
    material = dosed_material(study, planned)
    active_fraction = material.active_percent / 100 if material else 1.0
    if supplied_g is None or pigment_g <= 0:
        return None
    return 100 * supplied_g * active_fraction / pigment_g


def _names_package(study: Study, grams: Mapping[str, float], planned: SettingsRow | None) -> bool:
    """Tell whether any of the grams bears on dose or shares."""
    named = {fold(item.name) for item in study.additives} | {fold(pigment_name(study))}
    if not study.additives and planned is not None:
        named.add(fold(bare_dose_name(study, planned)))
    return any(fold(name) in named for name in grams)


def _on_target(grams: float, target_g: float) -> bool:
    return abs(grams - target_g) <= WEIGHING_TOLERANCE * target_g


def _swap_finding(
    one: tuple[RecipeLine, float], other: tuple[RecipeLine, float], unit: str
) -> Finding:
    (line, grams), (other_line, other_grams) = one, other
    return Finding(
        level="caution",
        what=f"{unit}: '{line.name}' and '{other_line.name}' look transposed: each grams fits the "
        "other's target.",
        evidence={
            f"{line.name}, target g": round(line.as_supplied_g, 3),
            f"{line.name}, actual g": grams,
            f"{other_line.name}, target g": round(other_line.as_supplied_g, 3),
            f"{other_line.name}, actual g": other_grams,
        },
        advice="Ask who weighed: if only the two lines were swapped on paper, correct the entry "
        "with a reason; if the materials were swapped, the actual shares and dose are right as "
        "they stand.",
    )


def _miss_finding(line: RecipeLine, grams: float, unit: str) -> Finding:
    evidence: dict[str, float | int | str] = {
        "target, g": round(line.as_supplied_g, 3),
        "actual, g": grams,
    }
    how_far = ""
    if line.as_supplied_g > 0:
        off_percent = 100 * (grams / line.as_supplied_g - 1)
        evidence["off target, %"] = round(off_percent, 1)
        how_far = f" ({off_percent:+.1f} %)"
    return Finding(
        level="caution",
        what=f"{unit}: {grams:g} g of '{line.name}' were weighed for "
        f"{line.as_supplied_g:.4g} g{how_far}.",
        evidence=evidence,
        advice="The actual dose and shares are used in the fit; check the entry against the card.",
        source=f"Tolerance {100 * WEIGHING_TOLERANCE:g} % of target: common practice.",
    )
