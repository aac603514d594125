"""What the colour methods share: raw tables and options."""

from __future__ import annotations

from doe.methods.method import Option, RawColumn, RawTable

TINTED_DRAWDOWN = RawTable(
    name="tinted drawdown",
    columns=(
        RawColumn(
            name="pigment mass",
            unit="g",
            low=0.0,
            is_needed=False,
            hint="pigment in the tint, where it is not that of the plan",
        ),
    ),
    curve="reflectance",
    curves=("",),
    references=("standard", "white"),
)
MASS_TONE = RawTable(
    name="tint and mass tone",
    curve="reflectance",
    curves=("", "masstone"),
)
RUB_OUT = RawTable(name="rub-out", curve="reflectance", curves=("", "rubbed"))
RUB_OUT_READINGS = RawTable(
    name="rub-out readings",
    columns=tuple(
        RawColumn(name=f"{letter}* {part}", hint=f"of the {part} part")
        if letter != "L"
        else RawColumn(name=f"L* {part}", low=0.0, high=110.0, hint=f"of the {part} part")
        for part in ("plain", "rubbed")
        for letter in "Lab"
    ),
)
ONE_WAVELENGTH = RawTable(
    name="reflectance at one wavelength",
    columns=(
        RawColumn(name="reflectance", unit="%", low=0.0, high=120.0, hint="of the sample's tint"),
        RawColumn(
            name="standard reflectance",
            unit="%",
            low=0.0,
            high=120.0,
            hint="of the standard's tint, same card",
        ),
        RawColumn(
            name="white reflectance",
            unit="%",
            low=0.0,
            high=120.0,
            is_needed=False,
            hint="of the white alone, where its own absorption counts",
        ),
    ),
)
HIDING_CARD = RawTable(
    name="hiding card",
    columns=(
        RawColumn(name="Y over black", unit="%", low=0.0, high=110.0, hint="tristimulus Y"),
        RawColumn(name="Y over white", unit="%", low=0.0, high=110.0, hint="tristimulus Y"),
    ),
)
HIDING_CURVES = RawTable(
    name="hiding card curves", curve="reflectance", curves=("over black", "over white")
)
GLOSS = RawTable(
    name="gloss",
    columns=(
        *(
            RawColumn(name=f"gloss {angle}", unit="GU", low=0.0, high=2000.0, is_needed=False)
            for angle in ("20°", "60°", "85°")
        ),
        RawColumn(
            name="linear haze",
            low=0.0,
            is_needed=False,
            hint="as the instrument reads it beside 20°, not its logarithm",
        ),
    ),
)

DEFINITION = Option(
    name="definition",
    default="weighted",
    words=("weighted", "maximum", "sum"),
    meaning="over the spectrum by what the eye takes, at the standard's absorption maximum, or "
    "every wavelength alike",
    mark="from memory",
)
MASS_RATIO = Option(
    name="pigment_mass_ratio",
    default=1.0,
    low=0.01,
    high=100.0,
    meaning="pigment in the standard's tint over pigment in the sample's",
    mark="calculated",
)
STANDARD_MASS = Option(
    name="standard_pigment_mass",
    low=0.0,
    unit="g",
    meaning="pigment in the standard's tint; used where the pigment mass of a sample is read",
)
SURFACE = (
    Option(
        name="saunderson",
        default="yes",
        words=("yes", "no"),
        meaning="whether the film's surface is taken off the reflectance",
        mark="from memory",
    ),
    Option(
        name="k1",
        default=0.04,
        low=0.0,
        high=0.2,
        meaning="part that the surface reflects from outside; 0.04 for a refractive index of 1.5",
        mark="calculated",
    ),
    Option(
        name="k2",
        default=0.6,
        low=0.0,
        high=0.95,
        meaning="part that the surface throws back from inside; 0.4 to 0.6 as a rule",
        mark="read",
    ),
    Option(
        name="specular",
        default="included",
        words=("included", "excluded"),
        meaning="whether the instrument catches the gloss of the surface",
    ),
)
SUBTRACT_WHITE = Option(
    name="subtract_white",
    default="no",
    words=("yes", "no"),
    meaning="whether the absorption of the white alone is taken off",
    mark="from memory",
)
OBSERVER = Option(
    name="observer",
    default="10",
    words=("10", "2"),
    unit="°",
    meaning="whose eye: 10° or 2°",
    mark="read",
)
ILLUMINANT = Option(
    name="illuminant",
    default="D65",
    words=("D65", "A", "C"),
    meaning="under which light",
    mark="read",
)
VIEWING = (ILLUMINANT, OBSERVER)
# The indices of whiteness and yellowness are defined for daylight alone.
DAYLIGHT = (
    Option(
        name="illuminant",
        default="D65",
        words=("D65", "C"),
        meaning="under which daylight",
        mark="read",
    ),
    OBSERVER,
)
FORMULA = Option(
    name="formula",
    default="CIEDE2000",
    words=("CIEDE2000", "CIELAB"),
    meaning="ΔE00 or ΔE*ab",
    mark="read",
)
# ASTM D5326-22 takes ΔE*ab between the sheared and the unsheared part [read].
RUB_OUT_FORMULA = Option(
    name="formula",
    default="CIELAB",
    words=("CIELAB", "CIEDE2000"),
    meaning="ΔE*ab or ΔE00",
    mark="read",
)
UNDERTONE_AS = Option(
    name="as",
    default="hue angle",
    words=("hue angle", "b*"),
    meaning="tint less mass tone, as a turn of the hue angle or as Δb*",
)
STRENGTH_OPTIONS = (MASS_RATIO, STANDARD_MASS, *SURFACE, SUBTRACT_WHITE, *VIEWING)
