"""Test methods of the family: water, wet scrubbing."""

from __future__ import annotations

from doe.methods.method import Method, Option, RawColumn, RawTable

MASS_BEFORE, AFTER_200, AFTER_40 = "mass before", "mass after 200 cycles", "mass after 40 cycles"
CYCLES = "cycles to failure"

SCRUB = RawTable(
    name="wet scrub",
    columns=(
        RawColumn(name=MASS_BEFORE, unit="g", low=0, hint="panel and film, dry"),
        RawColumn(name=AFTER_200, unit="g", low=0, hint="rinsed and dried as before"),
        RawColumn(
            name=AFTER_40, unit="g", low=0, is_needed=False,
            hint="another panel or stop; only where 70 µm or more go in 200",
        ),
    ),
)  # fmt: skip
CYCLES_TABLE = RawTable(
    name="scrub cycles",
    columns=(RawColumn(name=CYCLES, low=0, hint="> 1200 where it still holds at the end"),),
)

_SIZE = (
    Option(name="area", low=0, unit="m²", meaning="scrubbed area, or say stroke and width"),
    Option(name="stroke", low=0, unit="mm", meaning="length of stroke, in place of area"),
    Option(name="width", low=0, unit="mm", meaning="width of the pad, in place of area"),
)
_AREA_OR_STROKE = (("area",), ("stroke", "width"))
_DENSITY = Option(
    name="density", low=0, unit="g/mL", meaning="of the dry film, not of the paint",
    is_needed=True,
)  # fmt: skip
_AGE = "The film age of 28 d is from memory."
_CLASSES = (
    "Classes of EN 13300, an older edition: 1 below 5 µm, 2 below 20, 3 below 70 at 200 cycles "
    "(read); 4 below 70 µm at 40 cycles, 5 more (from memory). The 2022 edition may differ."
)
# The sheet computes where the brief gives the area itself.
_L = "({mass before}-{mass after 200 cycles})/{option:area}"

METHODS: tuple[Method, ...] = (
    Method(
        name="wet-scrub loss",
        gives="dry film thickness lost in 200 cycles",
        unit="µm",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ISO 11998:2006",
        typical=(1, 70),
        film_age_d=28,
        per="panel",
        table=SCRUB,
        options=(*_SIZE, _DENSITY),
        needs_one_of=_AREA_OR_STROKE,
        formula=f"{_L}/{{option:density}}",
        notes=(_CLASSES, "The density of the dry film enters in full: compute it once.", _AGE),
    ),
    Method(
        name="wet-scrub loss by mass",
        gives="mass lost by scrubbed area in 200 cycles",
        unit="g/m²",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ISO 11998:2006",
        film_age_d=28,
        per="panel",
        table=SCRUB,
        options=_SIZE,
        needs_one_of=_AREA_OR_STROKE,
        formula=_L,
        notes=(_AGE,),
    ),
    Method(
        name="wet-scrub class",
        gives="class of wet scrub, 1 (best) to 5",
        unit="",
        direction="low",
        scale_type="rating",
        bounds=(1, 5),
        standard="EN 13300; ISO 11998:2006",
        film_age_d=28,
        per="panel",
        table=SCRUB,
        options=(*_SIZE, _DENSITY),
        needs_one_of=_AREA_OR_STROKE,
        notes=(
            _CLASSES,
            "A class is ordinal and coarse: means need care; fit the loss itself where you can.",
            _AGE,
        ),
    ),
    Method(
        name="scrub cycles to failure",
        gives="cycles until the film is worn through",
        unit="cycles",
        direction="high",
        scale_type="count",
        scale="log",
        standard="ASTM D2486, method A",
        film_age_d=7,
        per="panel",
        table=CYCLES_TABLE,
        formula="{cycles to failure}",
        notes=(
            "Films that still hold at the end count as above the cycles run.",
            "The film age of 7 d is from memory.",
        ),
    ),
)
