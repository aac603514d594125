"""Advice on the pigment's surface: its charge, how much it carries, what holds on to it."""

from __future__ import annotations

from collections.abc import Iterator

from doe.recipe.chemistry_scene import Ends, Scene, quoted, reading, span
from doe.recipe.dose_tables import COVERAGES, Family
from doe.recipe.dosing import coverage_of
from doe.recipe.name_reading import reads_as
from doe.recipe.package import dosed_choice
from doe.study.brief import Factor
from doe.study.finding import Finding

# Half-width of the pH window about the isoelectric point in which bare particles are usually
# unstable; read in a published article on zeta-potential titrations of alumina and rutile.
UNSTABLE_WITHIN_PH = 2.0
_IEP_SOURCE = (
    "An article on zeta-potential titrations (read): alumina is unstable from pH 7 to 11, rutile "
    "from 2 to 6, two units about the isoelectric point."
)
# "Far" from a monolayer is half of it or double; ours, as close as rules of thumb for it come.
FAR = 2.0


def isoelectric_ph(scene: Scene) -> Iterator[Finding]:
    """Say where the pH of the grind comes near the pigment's isoelectric point."""
    pigment = scene.study.pigment
    if pigment is not None and pigment.kind in ("organic", "carbon black", "effect"):
        return  # Charge of their own surface is not what holds such pigments apart.
    iep = pigment.isoelectric_ph if pigment else None
    for factor in scene.factors("pH"):
        ends = scene.ends(factor)
        if ends is None or reads_as(factor.name, "paint stage"):
            continue
        if iep is None:
            yield _missing_iep(factor, ends)
        elif (distance := _distance(iep, ends)) < UNSTABLE_WITHIN_PH:
            yield _near_iep(factor, ends, iep, distance)


def _distance(point: float, ends: Ends) -> float:
    return max(ends[0] - point, point - ends[1], 0.0)


def _missing_iep(factor: Factor, ends: Ends) -> Finding:
    return Finding(
        level="note",
        what=f"'{factor.name}' is {span(ends)}, and the brief does not say at "
        "which pH the pigment has no charge, so that nothing tells how near it comes.",
        evidence={"lowest pH": ends[0], "highest pH": ends[1]},
        advice="Ask the supplier for the isoelectric pH of this grade, coated as it comes, and "
        "write isoelectric_ph = … under [pigment]: no table of oxides can stand for it.",
        source=_IEP_SOURCE,
    )


def _near_iep(factor: Factor, ends: Ends, iep: float, distance: float) -> Finding:
    is_in = distance == 0.0
    where = "reaches" if is_in else f"comes within {distance:.2g} units of"
    return Finding(
        level="caution" if is_in else "note",
        what=f"'{factor.name}' ({span(ends)}) {where} the pigment's isoelectric pH "
        f"of {iep:g}; within {UNSTABLE_WITHIN_PH:g} units of it bare particles usually "
        "flocculate.",
        evidence={
            "isoelectric pH": iep, "lowest pH": ends[0], "highest pH": ends[1],
            "distance": round(distance, 6),
        },
        advice="An anionic dispersant moves that pH down, and less of it adsorbs as the pH rises: "
        "look at pH together with the dose, and at the scarce end first.",
        source=_IEP_SOURCE,
    )  # fmt: skip


# --- how much the surface carries ----------------------------------------------------------------


def monolayer(scene: Scene) -> Iterator[Finding]:
    """Say where the dose lies far from what covers the pigment's surface."""
    study = scene.study
    surface = study.pigment.specific_surface_m2_per_g if study.pigment else None
    dose = study.dose
    if dose is None or surface is None:
        return
    choice = dosed_choice(study) or ""
    levels = next((one.levels for one in study.factors if one.name == choice), ()) or ("",)
    for level in map(str, levels):
        ends = scene.ends(dose, choice, level) if level else scene.ends(dose)
        if ends is not None and ends[0] > 0:
            covered = coverage_of(ends[0], surface), coverage_of(ends[1], surface)
            yield from _coverage(dose, level or _carrier(scene), ends, covered)


def family_of(name: str) -> Family | None:
    """Read the family of a dispersant out of its name; None where the name does not tell."""
    if reads_as(name, "steric polymer") or reads_as(name, "hydrophobic additive"):
        return "polymeric"
    return "polyacrylate" if reads_as(name, "polyacrylate") else None


def _carrier(scene: Scene) -> str:
    """Name the additive that may have the greatest share: it covers most of the surface."""
    additives = scene.study.additives
    return max(additives, key=lambda one: one.high).name if additives else ""


def _coverage(dose: Factor, carrier: str, ends: Ends, covered: Ends) -> Iterator[Finding]:
    family = family_of(carrier)
    # Where the name does not tell the family, that of a polymer is taken, and said.
    rule = next(one for one in COVERAGES if one.family == (family or "polymeric"))
    low, high = rule.coverage
    at = f", carried by '{carrier}'," if carrier else ""
    evidence = {
        "lowest dose, %": ends[0], "highest dose, %": ends[1],
        "lowest coverage, mg/m²": round(covered[0], 4),
        "highest coverage, mg/m²": round(covered[1], 4),
        "usual from, mg/m²": low, "usual to, mg/m²": high,
    }  # fmt: skip
    usual = f"a {rule.family} dispersant covers it with about {low:g} to {high:g} mg/m²"
    usual += "" if family else " (no name tells the family)"
    source = f"{rule.source} ({rule.mark})"
    run = f"'{dose.name}'{at} puts {covered[0]:.2g} to {covered[1]:.2g} mg/m² on the pigment"
    if covered[0] > high:
        yield Finding(
            level="caution", what=f"{run}, all of it beyond a monolayer: {usual}.",
            evidence=evidence, source=source,
            advice="Lower the range, or what is found is how an excess behaves: free additive "
            "thickens, foams and draws water into the film.",
        )  # fmt: skip
    elif covered[1] < low / FAR:
        yield Finding(
            level="caution", what=f"{run}, all of it below half a monolayer: {usual}.",
            evidence=evidence, source=source,
            advice="Raise the range, or run a dose ladder first: bare surface flocculates.",
        )  # fmt: skip
    elif covered[1] > FAR * high:
        yield Finding(
            level="note", what=f"{run}, the top beyond double a monolayer: {usual}.",
            evidence=evidence, source=source,
            advice="Expect the over-dose there: thicker again, foam, and water in the film.",
        )  # fmt: skip
    elif covered[0] < low / FAR:
        yield Finding(
            level="note", what=f"{run}, the low end below half a monolayer: {usual}.",
            evidence=evidence, source=source,
            advice="Expect bare surface there: thick or gelled batches. That shows the steep side; "
            "a dose ladder tells whether the range can start higher.",
        )  # fmt: skip


# --- what holds on to it -------------------------------------------------------------------------


def poor_anchor(scene: Scene) -> Iterator[Finding]:
    """Say where a small polyacrylate alone is to hold on to an organic pigment or carbon black."""
    pigment = scene.study.pigment
    if pigment is None or pigment.kind not in ("organic", "carbon black"):
        return
    names = [one.name for one in scene.study.additives]
    carriers = [name for name in names if not reads_as(name, "wetting agent")]
    choice = dosed_choice(scene.study)
    alone = [str(one) for f in scene.study.factors if f.name == choice for one in f.levels]
    if carriers and all(family_of(name) == "polyacrylate" for name in carriers):
        alone += carriers
    poor = tuple(name for name in alone if family_of(name) == "polyacrylate")
    if poor:
        yield Finding(
            level="caution",
            what=f"{reading(poor, 'a small polyacrylate')}, and nothing else in the package "
            f"would hold on to '{pigment.name}': its surface ({pigment.kind}) has few polar "
            "groups, so that an acid group alone anchors poorly.",
            evidence={"names read": quoted(poor), "kind of pigment": pigment.kind},
            advice="Try a polymer with several or aromatic anchors beside it.",
            source="Table of pigment classes: common practice, no source.",
        )


def milled_flakes(scene: Scene) -> Iterator[Finding]:
    """Warn of milling an effect pigment: it breaks the flakes."""
    pigment = scene.study.pigment
    if pigment is None or pigment.kind != "effect":
        return
    milling = tuple(one.name for one in scene.factors("grind"))
    if milling:
        yield Finding(
            level="caution",
            what=f"'{pigment.name}' is an effect pigment, and {reading(milling, 'milling')}: a "
            "mill breaks the flakes, and the effect is lost.",
            evidence={"factors": quoted(milling)},
            advice="Wet the flakes out and stir them in at low shear; name the factor for the "
            "stirring if that is what it is.",
            source="Common practice, no source.",
        )


def dose_of_nothing(scene: Scene) -> Iterator[Finding]:
    """Say where a dose of 0 leaves a choice of additives without meaning."""
    dose = scene.study.dose
    ends = scene.ends(dose) if dose else None
    choice = dosed_choice(scene.study) or ("the shares" if scene.study.additives else None)
    if dose is not None and ends is not None and ends[0] <= 0 and choice:
        yield Finding(
            level="caution",
            what=f"'{dose.name}' goes down to {ends[0]:g}, where '{choice}' means nothing: all "
            "are the same recipe there, and the model would tear them apart.",
            evidence={"lowest dose, %": ends[0]},
            advice="Start the range above 0 and run the recipe without additive as a [[control]].",
            source="Cornell (2002), Experiments with Mixtures, amount models (from memory).",
        )
