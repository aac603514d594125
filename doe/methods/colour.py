"""Test methods of the family: colour."""

from __future__ import annotations

from doe.methods import gloss
from doe.methods.colour_parts import (
    DAYLIGHT,
    DEFINITION,
    FORMULA,
    HIDING_CARD,
    HIDING_CURVES,
    MASS_RATIO,
    MASS_TONE,
    ONE_WAVELENGTH,
    RUB_OUT,
    RUB_OUT_FORMULA,
    RUB_OUT_READINGS,
    STRENGTH_OPTIONS,
    SUBTRACT_WHITE,
    SURFACE,
    TINTED_DRAWDOWN,
    UNDERTONE_AS,
    VIEWING,
)
from doe.methods.method import Method, Option, RawTable

_STRENGTH_STANDARD = "ISO 18314-2:2023, ISO 787-24:1985"
_LAB_STANDARD = "ISO/CIE 11664-4, ASTM E308"
_STRENGTH_NOTES = (
    "Relative to a standard drawn and measured the same day, on the same card.",
    "Equal pigment mass and equal paste mass are two bases: where the dose changes the pigment in "
    "the paste, say the ratio.",
    "Not suited where the tints differ markedly in hue.",
)
_RANGE_NOTE = "From 400 to 700 nm by 10 nm, for the sample as for the white."
_SIGN_NOTE = "Rubbed darker: the coloured pigment was flocculated or floated; lighter: the white."


def _strength(name: str, gives: str, table: RawTable, options: tuple[Option, ...]) -> Method:
    return Method(
        name=name,
        gives=gives,
        unit="%",
        direction="high",
        scale_type="percent of standard",
        scale="log",
        standard=_STRENGTH_STANDARD,
        film_age_d=1.0,
        table=table,
        options=options,
        notes=_STRENGTH_NOTES,
    )


def _of_lab(name: str, gives: str, unit: str = "") -> Method:
    return Method(
        name=name,
        gives=gives,
        unit=unit,
        direction="target",
        scale_type="interval",
        standard=_LAB_STANDARD,
        film_age_d=1.0,
        table=TINTED_DRAWDOWN,
        options=VIEWING,
        notes=(_RANGE_NOTE,),
    )


def _difference(name: str, gives: str) -> Method:
    return Method(
        name=name,
        gives=gives,
        unit="",
        direction="target",
        scale_type="difference",
        standard=f"{_LAB_STANDARD}, ASTM D2244-22",
        film_age_d=1.0,
        table=TINTED_DRAWDOWN,
        options=VIEWING,
        notes=("Sample less standard, with its sign.", _RANGE_NOTE),
    )


def _distance(
    name: str, gives: str, standard: str, table: RawTable, options: tuple[Option, ...],
    notes: tuple[str, ...],
) -> Method:  # fmt: skip
    return Method(
        name=name,
        gives=gives,
        unit="",
        direction="low",
        scale_type="distance",
        scale="square root",
        standard=standard,
        film_age_d=1.0,
        table=table,
        options=options,
        notes=notes,
    )


def _index(name: str, gives: str) -> Method:
    return Method(
        name=name,
        gives=gives,
        unit="",
        direction="target",
        scale_type="interval",
        standard="ASTM E313",
        film_age_d=1.0,
        table=TINTED_DRAWDOWN,
        options=DAYLIGHT,
        notes=("For whites and near whites alone.", _RANGE_NOTE),
    )


def _contrast(name: str, table: RawTable, options: tuple[Option, ...], formula: str) -> Method:
    return Method(
        name=name,
        gives="Y over black as part of Y over white",
        unit="%",
        direction="high",
        scale_type="bounded",
        scale="logit",
        bounds=(0.0, 100.0),
        standard="ISO 6504-3, ASTM D2805-11",
        film_age_d=1.0,
        per="panel",
        table=table,
        options=options,
        formula=formula,
        notes=("Holds for the film thickness or spreading rate of the card alone.",),
    )


def _rub_out_lightness(name: str, table: RawTable, options: tuple[Option, ...]) -> Method:
    return Method(
        name=name,
        gives="ΔL*, rubbed less plain part",
        unit="",
        direction="target",
        scale_type="difference",
        standard="ASTM D5326-22",
        film_age_d=1.0,
        table=table,
        options=options,
        formula="" if options else "{L* rubbed}-{L* plain}",
        notes=(_SIGN_NOTE,),
    )


_STRENGTHS = (
    _strength(
        "colour strength",
        "absorption of the tint as part of the standard's",
        TINTED_DRAWDOWN,
        (DEFINITION, *STRENGTH_OPTIONS),
    ),
    _strength(
        "colour strength at the absorption maximum",
        "absorption where the standard absorbs most, as part of the standard's",
        TINTED_DRAWDOWN,
        STRENGTH_OPTIONS,
    ),
    _strength(
        "colour strength, plain sum",
        "absorption over all wavelengths alike, as part of the standard's",
        TINTED_DRAWDOWN,
        STRENGTH_OPTIONS,
    ),
    _strength(
        "colour strength from reflectance at one wavelength",
        "absorption at the wavelength read, as part of the standard's",
        ONE_WAVELENGTH,
        (MASS_RATIO, *SURFACE, SUBTRACT_WHITE),
    ),
)
_DISTANCES = (
    _distance(
        "residual colour difference",
        "colour difference to the standard at equal strength",
        _STRENGTH_STANDARD,
        TINTED_DRAWDOWN,
        (FORMULA, DEFINITION, *SURFACE, SUBTRACT_WHITE, *VIEWING),
        ("What no change of dose can take away: a shift of hue or purity.", _RANGE_NOTE),
    ),
    _distance(
        "colour difference to the standard",
        "colour difference to the standard as drawn",
        "ISO/CIE 11664-6, ISO/CIE 11664-4",
        TINTED_DRAWDOWN,
        (FORMULA, *VIEWING),
        ("A distance has no sign: keep the differences in L*, a* and b* beside it.", _RANGE_NOTE),
    ),
    _distance(
        "rub-out difference",
        "colour difference between the rubbed and the plain part",
        "ASTM D5326-22",
        RUB_OUT,
        (RUB_OUT_FORMULA, *VIEWING),
        (_SIGN_NOTE, "Finger rub-outs vary widely within and between operators.", _RANGE_NOTE),
    ),
    _distance(
        "rub-out difference from L*a*b* readings",
        "colour difference between the rubbed and the plain part",
        "ASTM D5326-22",
        RUB_OUT_READINGS,
        (RUB_OUT_FORMULA,),
        (_SIGN_NOTE, "Finger rub-outs vary widely within and between operators."),
    ),
)
_UNDERTONE = Method(
    name="undertone",
    gives="hue of the tint against the mass tone",
    unit="",
    direction="target",
    scale_type="difference",
    standard=_LAB_STANDARD,
    film_age_d=1.0,
    table=MASS_TONE,
    options=(UNDERTONE_AS, *VIEWING),
    notes=("Tint less mass tone: degrees of hue angle, or Δb*.", _RANGE_NOTE),
)

METHODS: tuple[Method, ...] = (
    *_STRENGTHS,
    *_DISTANCES,
    _of_lab("lightness L*", "lightness, 0 black to 100 white"),
    _of_lab("a*", "green below 0, red above"),
    _of_lab("b*", "blue below 0, yellow above"),
    _of_lab("chroma C*", "distance from grey"),
    _of_lab("hue angle", "0 red, 90 yellow, 180 green, 270 blue", "°"),
    _difference("lightness difference", "ΔL*, above 0 lighter than the standard"),
    _difference("a* difference", "Δa*, above 0 redder or less green"),
    _difference("b* difference", "Δb*, above 0 yellower or less blue"),
    _difference("chroma difference", "ΔC*, above 0 more colourful"),
    _difference("hue difference", "ΔH*, above 0 where the hue angle grew"),
    _rub_out_lightness("rub-out lightness difference", RUB_OUT, VIEWING),
    _rub_out_lightness("rub-out lightness difference from L*a*b* readings", RUB_OUT_READINGS, ()),
    _contrast("contrast ratio", HIDING_CARD, (), "100*{Y over black}/{Y over white}"),
    _contrast("contrast ratio from curves", HIDING_CURVES, VIEWING, ""),
    _index("whiteness", "whiteness index WI"),
    _index("yellowness", "yellowness index YI"),
    _UNDERTONE,
    *gloss.METHODS,
)
