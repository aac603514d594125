"""What the settings give through the recipe, without a reading: densities, PVC, VOC, cost, load.

Every material that enters needs its data in the brief; what is missing is named, never assumed.
"""

from __future__ import annotations

from doe.methods.method import Direction, Method, Option

_PART = Option(
    name="part",
    default="paint",
    words=("paint", "mill base", "white reduction"),
    meaning="what it is computed of: the paint let down, the mill base, or the white reduction",
    mark="common practice, no source",
)
_ADDITIVES = Option(
    name="additives",
    default="left out",
    words=("left out", "counted"),
    meaning="whether the solids of additives count as part of the film",
    mark="common practice, no source",
)
_OIL = Option(
    name="oil_density_g_per_ml",
    default=0.935,
    low=0.7,
    high=1.2,
    unit="g/mL",
    meaning="density of the oil that the oil absorption was read with; linseed oil",
    mark="from memory",
)
_FILM = Option(
    name="film_thickness_um",
    low=0.1,
    high=10_000.0,
    unit="µm",
    meaning="thickness of the dry film",
    mark="common practice, no source",
    is_needed=True,
)
_IDEAL = "Volumes are taken to add up; a measured density tells whether air or mixing shifts it."
_CPVC_NOTES = (
    "From the oil absorption of pigment and fillers, each by its volume; binders that are "
    "dispersions pack less well, and their critical concentration is lower.",
)


def _method(
    name: str,
    gives: str,
    unit: str,
    direction: Direction,
    standard: str,
    *options: Option,
    notes: tuple[str, ...] = (),
) -> Method:
    return Method(
        name=name,
        gives=gives,
        unit=unit,
        direction=direction,
        scale_type="ratio",
        standard=standard,
        options=options,
        gathers="recipe",
        notes=(*notes, "Computed from the settings: it has no readings and no error of its own."),
    )


_DEFINITION = "definition"

METHODS: tuple[Method, ...] = (
    _method(
        "density of the mill base", "mass over volume of the mill base", "g/mL", "target",
        "definition; ISO 2811-1 and ASTM D1475 measure it", notes=(_IDEAL,),
    ),
    _method(
        "density of the paint", "mass over volume of the paint", "g/mL", "target",
        "definition; ISO 2811-1 and ASTM D1475 measure it", notes=(_IDEAL,),
    ),
    _method(
        "pigment volume fraction", "pigment and filler in the wet part, by volume", "%", "high",
        _DEFINITION, _PART, notes=(_IDEAL,),
    ),
    _method(
        "pigment volume concentration", "pigment and filler in the dry film, by volume", "%",
        "target", "calculated in the manner of ISO 4618", _PART, _ADDITIVES,
    ),
    _method(
        "critical pigment volume concentration",
        "pigment volume concentration at which binder just fills the gaps", "%", "high",
        "1 / (1 + OA ρ / K), K = 100 × density of the oil", _PART, _OIL, notes=_CPVC_NOTES,
    ),
    _method(
        "reduced pigment volume concentration",
        "pigment volume concentration over the critical one", "", "target",
        "Bierwagen and Hay (1975)", _PART, _ADDITIVES, _OIL, notes=_CPVC_NOTES,
    ),
    _method(
        "volume solids", "what stays in the film, by volume", "%", "high",
        "definition; ISO 3233 and ASTM D2697 measure it", _PART, notes=(_IDEAL,),
    ),
    _method(
        "solids of the recipe", "what stays in the film, by mass", "%", "high",
        "definition; ISO 3251 and ASTM D2369 measure it", _PART,
    ),
    _method(
        "spreading rate", "area that one litre covers at a dry film thickness", "m²/L", "high",
        _DEFINITION, _PART, _FILM, notes=(_IDEAL,),
    ),
    _method(
        "VOC of the recipe", "volatile organic compounds in a litre of the part as made", "g/L",
        "low", "calculated from the recipe in the manner of ASTM D3960", _PART,
        notes=("Per litre as made: the limit of a rule is on the paint ready for use.",),
    ),
    _method(
        "VOC of the recipe less water",
        "volatile organic compounds in a litre less water and exempt matter", "g/L", "low",
        "calculated from the recipe in the manner of ASTM D3960", _PART,
        notes=("Which matter is exempt is law: the brief says it by material.",),
    ),
    _method(
        "cost per kg", "raw materials of one kilogram", "", "low", _DEFINITION, _PART,
        notes=("In the currency of the brief's prices; raw materials only.",),
    ),
    _method(
        "cost per litre", "raw materials of one litre", "", "low", _DEFINITION, _PART,
        notes=("In the currency of the brief's prices; raw materials only.",),
    ),
    _method(
        "hydrophilic load", "hydrophilic part of the package on what stays in the film", "%",
        "low", "definition of this project, by the hydrophilic fractions that the brief declares",
        _PART,
    ),
    _method(
        "active on paint", "active matter of the package on the whole part", "%", "low",
        _DEFINITION, _PART,
    ),
    _method(
        "active on film solids", "active matter of the package on what stays in the film", "%",
        "low", _DEFINITION, _PART,
    ),
)  # fmt: skip
