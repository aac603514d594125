"""Test methods of the family: viscosity, from whole flow curves."""

from __future__ import annotations

from doe.methods.method import Method, Option, RawTable

# As `analysis.lab.flow_curves` holds them.
POWER_LAW, BINGHAM, CASSON, HERSCHEL_BULKLEY = (
    "power law", "Bingham", "Casson", "Herschel-Bulkley",
)  # fmt: skip
AUTO, BETWEEN_POINTS = "auto", "between points"

FLOW_CURVE = RawTable(
    name="flow curve",
    curve="flow curve",
    curves=("",),
    cautions=("A spinning cone or cylinder holds fingers and sleeves: stop it before cleaning.",),
)


def _model(default: str, *words: str) -> Option:
    return Option(
        name="model",
        default=default,
        words=(AUTO, *words),
        meaning="the flow model, one for all runs; auto takes the one of least AICc, curve by "
        "curve, and then runs need not compare",
    )


_ERRORS = Option(
    name="errors",
    default="relative",
    words=("relative", "even"),
    meaning="whether a stress is as sure as a part of itself (fits its logarithm) or in Pa",
)
_RATE = Option(
    name="rate", low=1e-6, unit="1/s", is_needed=True, meaning="shear rate of the viscosity"
)
_STANDARD = "ISO 3219-1 and -2:2021 (numbers from memory)"
_ONE_MODEL = (
    "One model judges all runs, {model} without a word (common practice, no source): numbers of "
    "different models do not compare, so auto is for looking at curves."
)
_EXTENT = "At least five shear rates (common practice, no source), spread over two decades."
_FLOCCULATED = (
    "A yield stress in an unthickened mill base is a sign of flocculation; in a thickened paint it "
    "tells nothing of the pigment (common practice, no source)."
)

METHODS: tuple[Method, ...] = (
    Method(
        name="yield stress",
        gives="stress below which the model does not flow",
        unit="Pa",
        direction="low",
        scale_type="ratio",
        scale="square root",
        standard=_STANDARD,
        typical=(0, 50),
        table=FLOW_CURVE,
        options=(_model(HERSCHEL_BULKLEY, POWER_LAW, BINGHAM, CASSON, HERSCHEL_BULKLEY), _ERRORS),
        notes=(
            _FLOCCULATED,
            "It is extrapolated to no flow: the lowest shear rates carry it.",
            _ONE_MODEL.format(model=HERSCHEL_BULKLEY),
            _EXTENT,
        ),
    ),
    Method(
        name="plastic viscosity",
        gives="viscosity that the model approaches at high shear rates",
        unit="mPa·s",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard=_STANDARD,
        table=FLOW_CURVE,
        options=(_model(BINGHAM, BINGHAM, CASSON), _ERRORS),
        notes=(
            "Bingham's and Casson's are two quantities.",
            _ONE_MODEL.format(model=BINGHAM),
            _EXTENT,
        ),
    ),
    Method(
        name="consistency index",
        gives="stress at 1 1/s above the yield stress",
        unit="Pa·sⁿ",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard=_STANDARD,
        table=FLOW_CURVE,
        options=(_model(POWER_LAW, POWER_LAW, HERSCHEL_BULKLEY), _ERRORS),
        notes=(
            "Its unit changes with the flow index: it compares between runs of like index only.",
            _ONE_MODEL.format(model=POWER_LAW),
            _EXTENT,
        ),
    ),
    Method(
        name="flow index",
        gives="power of the shear rate in the stress",
        unit="",
        direction="high",
        scale_type="ratio",
        standard=_STANDARD,
        typical=(0.2, 1.1),
        table=FLOW_CURVE,
        options=(_model(POWER_LAW, POWER_LAW, HERSCHEL_BULKLEY), _ERRORS),
        notes=(
            "1 is Newtonian, less is shear-thinning, more is thickening under shear.",
            _ONE_MODEL.format(model=POWER_LAW),
            _EXTENT,
        ),
    ),
    Method(
        name="apparent viscosity at a shear rate",
        gives="stress over rate at one shear rate, from the whole curve",
        unit="mPa·s",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard=_STANDARD,
        typical=(10, 100_000),
        table=FLOW_CURVE,
        options=(
            _RATE,
            _model(HERSCHEL_BULKLEY, POWER_LAW, BINGHAM, CASSON, HERSCHEL_BULKLEY, BETWEEN_POINTS),
            _ERRORS,
        ),
        notes=("Between points: straight between two measured rates, on log scales.", _EXTENT),
    ),
)
