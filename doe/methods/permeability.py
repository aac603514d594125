"""Test methods of the family: water, through films."""

from __future__ import annotations

from doe.methods.method import Method, Option, RawColumn, RawTable

MASS_START, MASS_END = "mass before", "mass after"
CUP_START, CUP_END, CUP_DAYS = "cup mass at start", "cup mass at end", "days between"

CAPILLARY = RawTable(
    name="capillary uptake",
    columns=(
        RawColumn(name=MASS_START, unit="g", low=0, hint="conditioned block, sealed sides, 0.1 g"),
        RawColumn(name=MASS_END, unit="g", low=0, hint="5-10 mm under water, then blotted, 0.1 g"),
    ),
)
CUP = RawTable(
    name="water vapour",
    columns=(
        RawColumn(name=CUP_START, unit="g", low=0, hint="once the rate is steady"),
        RawColumn(name=CUP_END, unit="g", low=0),
        RawColumn(name=CUP_DAYS, unit="d", low=0, hint="between both weighings"),
    ),
    cautions=("Some salts and desiccants of such cups harm: read their safety data sheets.",),
)

_AREA = Option(name="area", low=0, unit="m²", meaning="face open to water", is_needed=True)
_HOURS = Option(name="hours", default=24, low=0, unit="h", meaning="time under water", mark="read")
_CUP = Option(
    name="cup", default="wet", words=("wet", "dry"), meaning="a wet cup loses, a dry cup gains"
)
_SD_TIMES_V = Option(
    name="sd_times_v", default=21, low=0, unit="g/(m·d)", mark="calculated",
    meaning="product of sd and V, from the class limits of EN 1062-1",
)  # fmt: skip
_CAPILLARY_OPTIONS = (_AREA, _HOURS)
_W = "({mass after}-{mass before})/1000/({option:area}*SQRT({option:hours}))"
# A wet cup loses mass and a dry one gains it: what went through is above 0 in both.
_V = (
    'IF({option:cup}="dry",1,-1)*({cup mass at end}-{cup mass at start})'
    "/({days between}*{option:area})"
)
_W_CLASSES = (
    "Classes of EN 1062-1 (read): W1 above 0.5, W2 above 0.1, W3 at most 0.1 kg/(m²·h^0.5); "
    "above 0.5 is not quantified."
)
_V_CLASSES = (
    "Classes of EN 1062-1 (read): V1 above 150, V2 15 to 150, V3 below 15 g/(m²·d). "
    "Which way is better is for the brief to say."
)
_AGE = "The film age of 28 d is common practice, no source."
_ORDINAL = "A class is ordinal and coarse: means need care; fit the number itself where you can."

METHODS: tuple[Method, ...] = (
    Method(
        name="capillary water coefficient",
        gives="coefficient w of liquid water drawn in through the film",
        unit="kg/(m²·h^0.5)",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="EN 1062-3:2008",
        typical=(0.01, 0.5),
        film_age_d=28,
        per="panel",
        table=CAPILLARY,
        options=_CAPILLARY_OPTIONS,
        formula=_W,
        notes=(_W_CLASSES, _AGE),
    ),
    Method(
        name="capillary water class",
        gives="class of liquid water, 1 (W1) to 3 (W3, least water)",
        unit="",
        direction="high",
        scale_type="rating",
        bounds=(1, 3),
        standard="EN 1062-1",
        film_age_d=28,
        per="panel",
        table=CAPILLARY,
        options=_CAPILLARY_OPTIONS,
        formula=f"IF({_W}>0.5,1,IF({_W}>0.1,2,3))",
        notes=(_W_CLASSES, _ORDINAL, _AGE),
    ),
    Method(
        name="water vapour transmission",
        gives="rate V of water vapour through the film",
        unit="g/(m²·d)",
        direction="high",
        scale_type="ratio",
        scale="log",
        standard="ASTM D1653; ISO 7783",
        typical=(5, 300),
        film_age_d=28,
        per="panel",
        table=CUP,
        options=(_AREA, _CUP),
        formula=_V,
        notes=(_V_CLASSES, "The substrate holds vapour back too.", _AGE),
    ),
    Method(
        name="water vapour class",
        gives="class of water vapour, 1 (V1, most open) to 3 (V3)",
        unit="",
        direction="low",
        scale_type="rating",
        bounds=(1, 3),
        standard="EN 1062-1",
        film_age_d=28,
        per="panel",
        table=CUP,
        options=(_AREA, _CUP),
        formula=f"IF({_V}>150,1,IF({_V}<15,3,2))",
        notes=(_V_CLASSES, _ORDINAL, _AGE),
    ),
    Method(
        name="equivalent air layer",
        gives="sd, the layer of still air that holds vapour back as much",
        unit="m",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="EN 1062-1; ISO 7783",
        typical=(0.07, 4.2),
        typical_mark="calculated",
        film_age_d=28,
        per="panel",
        table=CUP,
        options=(_AREA, _CUP, _SD_TIMES_V),
        # Where nothing went through, the division by nought says so.
        formula=f"{{option:sd_times_v}}/IF({_V}>0,{_V},0)",
        notes=("V1 lies below 0.14 m, V3 from 1.4 m up (read).", _AGE),
    ),
)
