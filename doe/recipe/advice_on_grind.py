"""Advice on the grind: what leaves a warm mill, what competes in it, where its pH is set."""

from __future__ import annotations

from collections.abc import Iterator

from doe.recipe.chemistry_scene import Ends, Scene, quoted, reading
from doe.recipe.name_reading import reads_as
from doe.recipe.neutralisation import AMMONIUM_PKA, free_ammonia_share
from doe.study.brief import Factor
from doe.study.finding import Finding

# A charge above this loses water and volatile base, and drifts; common practice, no source.
HOT_MILL_C = 45.0
# A grind as long as this counts as long for a volatile base; common practice, no source.
LONG_GRIND_MIN = 45.0
# More than half of the ammonia is free above its pKa: more of it can leave than is held.
MOSTLY_FREE = 0.5
# Disperser rule of the trade, 4800 to 5200 ft/min (read): its upper end in m/s.
FASTEST_TIP_M_PER_S = 26.42
# A drift in production is looked at so many standard deviations above its mean.
DRIFT_SDS = 2.0

_LOSS_SOURCE = (
    f"Free share 1/(1 + 10^({AMMONIUM_PKA:g} - pH)), pKa at 25 °C from memory; loss of volatile "
    "base: a trade textbook page (read); times and temperatures: common practice, no source."
)


def ammonia_loss(scene: Scene) -> Iterator[Finding]:
    """Say how much ammonia is free to leave, and what drives it out."""
    names = scene.reading_as("ammonia")
    if not names:
        return
    ph = _grind_ph(scene, names)
    evidence: dict[str, float | int | str] = {"names read": quoted(names)}
    share = 0.0
    said = "the brief has no pH to say how much of it is free"
    if ph is not None:
        share = free_ammonia_share(ph[1])
        evidence |= {"highest pH": ph[1], "free share": round(share, 3)}
        said = f"at pH {ph[1]:g} {100 * share:.0f} % of it is free to leave"
    drivers, numbers = _drivers(scene)
    evidence |= numbers
    driven = f", and {' and '.join(drivers)} drives it out" if drivers else ""
    if ph is None and not drivers:
        return
    yield Finding(
        level="caution" if share > MOSTLY_FREE or drivers else "note",
        what=f"{reading(names, 'ammonia')}: {said}{driven}. The pH falls as it goes, in the mill "
        "and in the can.",
        evidence=evidence,
        advice="Cover and cool the mill, read the pH at the start and at the end of the grind and "
        "a day later, and enter what it was.",
        source=_LOSS_SOURCE,
    )


def _grind_ph(scene: Scene, names: tuple[str, ...]) -> Ends | None:
    """Give the pH range that ammonia meets, at its own level where it is one of a choice."""
    for factor in scene.factors("pH"):
        if reads_as(factor.name, "paint stage"):
            continue
        for choice in scene.study.factors:
            level = next((one for one in choice.levels if one in names), None)
            if isinstance(level, str):
                return scene.ends(factor, choice.name, level)
        return scene.ends(factor)
    return None


def _drivers(scene: Scene) -> tuple[list[str], dict[str, float]]:
    """Give what drives a volatile base out, as phrases and numbers."""
    drivers, numbers = [], {}
    for factor in scene.factors("grind"):
        ends = scene.ends(factor)
        is_time = factor.unit.strip().casefold() in ("min", "minutes", "minute")
        if ends is not None and is_time and ends[1] >= LONG_GRIND_MIN:
            drivers.append(f"a grind of {ends[1]:g} min")
            numbers["longest grind, min"] = ends[1]
    hot = _hottest(scene)
    if hot is not None and hot[1] > HOT_MILL_C:
        drivers.append(f"a mill at {hot[1]:g} °C")
        numbers["hottest mill, °C"] = hot[1]
    return drivers, numbers


# --- heat and speed ------------------------------------------------------------------------------


def hot_mill(scene: Scene) -> Iterator[Finding]:
    """Say where the charge gets hotter than a waterborne grind likes."""
    hot = _hottest(scene)
    if hot is None or hot[1] <= HOT_MILL_C:
        return
    factor, highest = hot
    yield Finding(
        level="caution",
        what=f"'{factor.name}' reaches {highest:g} °C; above about {HOT_MILL_C:g} °C water and "
        "volatile base leave the charge, so that solids and pH drift with the temperature.",
        evidence={"highest, °C": highest, "usual limit, °C": HOT_MILL_C},
        advice="Cool the mill, weigh the charge before and after the grind, and enter start, "
        "highest and end temperature.",
        source="Common practice, no source.",
    )


def _hottest(scene: Scene) -> tuple[Factor, float] | None:
    found: list[tuple[Factor, float]] = []
    for factor in scene.factors("mill temperature"):
        ends = scene.ends(factor)
        if ends is None or factor.unit.strip().casefold() not in ("°c", "c", "degc", "deg c", ""):
            continue
        drift = factor.production
        drifted = drift.mean + DRIFT_SDS * drift.sd if drift else ends[1]
        found.append((factor, max(ends[1], drifted)))
    return max(found, key=lambda pair: pair[1], default=None)


def tip_speed(scene: Scene) -> Iterator[Finding]:
    """Say where a disc runs faster than dispersers are run."""
    for factor in scene.factors("tip speed"):
        ends = scene.ends(factor)
        is_metric = factor.unit.strip().casefold().startswith("m/s")
        if ends is not None and is_metric and ends[1] > FASTEST_TIP_M_PER_S:
            yield Finding(
                level="caution",
                what=f"'{factor.name}' reaches {ends[1]:g} m/s; dispersers run at up to about "
                f"{FASTEST_TIP_M_PER_S:.3g} m/s. Beyond it the charge heats and takes in air.",
                evidence={"highest, m/s": ends[1], "usual limit, m/s": FASTEST_TIP_M_PER_S},
                advice="Look at the speed again (π × diameter of the disc × turns a second).",
                source="Disperser rule of the trade, 4800 to 5200 ft/min (read).",
            )


# --- what competes for the surface ---------------------------------------------------------------


def resin_in_grind(scene: Scene) -> Iterator[Finding]:
    """Say that binder in the mill base competes for the surface, and what to vary for it."""
    study = scene.study
    parts = study.millbase.ingredients if study.millbase else ()
    binders = tuple(p.name for p in parts if p.kind == "binder" or _reads_as_binder(p.name, p.kind))
    shares = tuple(
        f.name
        for f in study.factors
        if f.kind != "choice" and f.set_per in ("day", "batch") and reads_as(f.name, "binder")
    )
    if not binders and not shares:
        return
    missing = []
    if not scene.factors("order of addition"):
        missing.append("the order of addition")
    if study.dose is None or study.dose.kind == "held":
        missing.append("the dose")
    evidence: dict[str, float | int | str] = {"names read": quoted((*binders, *shares))}
    evidence |= {f"{p.name}, % of the batch": p.percent for p in parts if p.name in binders}
    yield Finding(
        level="caution" if missing else "note",
        what=f"{reading((*binders, *shares), 'binder in the grind')}: it competes with the package "
        "for the pigment's surface and raises the dose that is needed"
        + (f"; the brief does not vary {' and '.join(missing)}." if missing else "."),
        evidence=evidence,
        advice="Put the package in before the pigment, give it time to wet, and the binder last; "
        + ("vary both with the binder, " if missing else "compare the orders at equal dose, ")
        + "as no equilibrium formula tells who arrives first.",
        source="Common practice, no source: polymer adsorbs slowly and partly for good.",
    )


def _reads_as_binder(name: str, kind: str | None) -> bool:
    return kind is None and reads_as(name, "binder")


def ph_after_the_grind(scene: Scene) -> Iterator[Finding]:
    """Say where the name of a pH and the stage at which it is set do not fit."""
    for factor in scene.factors("pH"):
        is_late = factor.set_per in ("sample", "panel")
        is_paint = reads_as(factor.name, "paint stage")
        if factor.kind == "held" or is_late == is_paint:
            continue
        stage = {"stage": factor.set_per}
        if is_late:
            yield Finding(
                level="caution" if reads_as(factor.name, "grind") else "note",
                what=f"'{factor.name}' is set per {factor.set_per}, after the grind: it tells "
                "nothing about the pH at which the pigment was ground.",
                evidence=stage,
                advice="Call it the pH of the paint, or set it per batch before the pigment goes "
                "in.",
                source="Common practice, no source.",
            )
        else:
            yield Finding(
                level="note",
                what=f"'{factor.name}' reads as a pH after the grind, and it is set per "
                f"{factor.set_per}: the plan takes it for one of the grind.",
                evidence=stage,
                advice='Write set_per = "sample" if it is set at the let-down.',
                source="Common practice, no source.",
            )
