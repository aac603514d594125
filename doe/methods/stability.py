"""Test methods of the family: stability, and what is read of the liquid before and after."""

from __future__ import annotations

from doe.methods.method import Method, Option, RawColumn, RawTable

SETTLING = "settling rating"
CLEAR, HEIGHT = "clear layer", "height of filling"
FOAMED, DEAERATED = "density foamed", "density de-aerated"
CUP_EMPTY, CUP_FILLED = "cup empty", "cup filled"
DISH, DISH_WET, DISH_DRY = "dish", "dish and sample", "dish and residue"

SETTLED = RawTable(
    name="settling",
    columns=(
        RawColumn(
            name=SETTLING,
            ratings={str(n): n for n in range(11)},
            low=0,
            high=10,
            hint="10 perfect suspension … 0 cannot be remixed; odd for in between",
        ),
    ),
    cautions=("A can from the oven may be under pressure: let it cool before you open it.",),
)
SYNERESIS = RawTable(
    name="syneresis",
    columns=(
        RawColumn(name=CLEAR, unit="mm", low=0, hint="clear on top, before any stirring"),
        RawColumn(name=HEIGHT, unit="mm", low=0, hint="bottom to surface"),
    ),
)
FOAM = RawTable(
    name="foam",
    columns=(
        RawColumn(name=FOAMED, unit="g/mL", low=0, hint="as it is"),
        RawColumn(name=DEAERATED, unit="g/mL", low=0, hint="same liquid, air drawn off, same °C"),
    ),
    cautions=("Glass under vacuum may burst: wear goggles.",),
)
DENSITY = RawTable(
    name="density cup",
    columns=(
        RawColumn(name=CUP_EMPTY, unit="g", low=0, hint="cup and lid"),
        RawColumn(name=CUP_FILLED, unit="g", low=0, hint="overflow wiped off, no air"),
    ),
)
NON_VOLATILE = RawTable(
    name="non-volatile",
    columns=(
        RawColumn(name=DISH, unit="g", low=0),
        RawColumn(name=DISH_WET, unit="g", low=0, hint="weighed at once, it dries on the balance"),
        RawColumn(name=DISH_DRY, unit="g", low=0, hint="cooled in a desiccator"),
    ),
    cautions=("Dishes come hot out of the oven, and vapours with them: draw them off.",),
)

_OF = Option(name="of", meaning="the response that is read at both ages", is_needed=True)
_START = Option(name="start_d", default=1, low=0, unit="d", meaning="the first age")
_END = Option(name="end_d", low=0, unit="d", meaning="the later age", is_needed=True)
_AS = Option(
    name="as",
    default="difference",
    words=("difference", "percent", "ratio"),
    meaning="end less start in its unit, per cent of the start, or end over start",
)
_SAME_BATCH = (
    "Both ages are of one batch: two batches are never differenced. The sign is kept.",
    "An oven screens; no days of shelf follow from days in it.",
)

METHODS: tuple[Method, ...] = (
    Method(
        name="change after storage",
        gives="signed change of another response between two ages of one batch",
        unit="",
        direction="target",
        scale_type="difference",
        standard="ASTM D1849-95(2019)",
        options=(_OF, _START, _END, _AS),
        gathers="two ages",
        notes=(*_SAME_BATCH, "A ratio is better fitted on the scale log."),
    ),
    Method(
        name="pH drift",
        gives="signed change of pH between two ages of one batch",
        unit="",
        direction="target",
        scale_type="difference",
        standard="ISO 19396-1; ASTM E70 (both from memory)",
        options=(_OF, _START, _END),
        gathers="two ages",
        notes=(*_SAME_BATCH, "pH is a logarithm already; only its difference means something."),
    ),
    Method(
        name=SETTLING,
        gives="settling, 10 (perfect suspension) to 0 (cannot be remixed)",
        unit="",
        direction="high",
        scale_type="rating",
        bounds=(0, 10),
        standard="ASTM D869-21",
        table=SETTLED,
        notes=(
            "Very subjective, says the standard (read): one rater for all cans. Six months are its "
            "default (read); say the age.",
            "A rating is ordinal: means need care; report medians and counts.",
        ),
    ),
    Method(
        name="syneresis",
        gives="clear layer on top, part of the height of filling",
        unit="%",
        direction="low",
        scale_type="bounded",
        scale="square root",
        bounds=(0, 100),
        standard="shop practice, no standard",
        table=SYNERESIS,
        formula="100*{clear layer}/{height of filling}",
        notes=("Same can and filling for all; zero is common, so neither log nor logit fits.",),
    ),
    Method(
        name="air content",
        gives="air in the liquid, part of its volume",
        unit="% v/v",
        direction="low",
        scale_type="bounded",
        bounds=(0, 100),
        standard="by density, ISO 2811-1; ASTM D1475 (both from memory)",
        table=FOAM,
        options=(
            Option(
                name="limit", default=3, low=0, high=100, unit="% v/v",
                meaning="air above which volumes mislead",
            ),
        ),
        formula="100*(1-{density foamed}/{density de-aerated})",
        notes=("A difference of two near densities: small air is mostly scatter.",),
    ),
    Method(
        name="density",
        gives="density of the liquid",
        unit="g/mL",
        direction="target",
        scale_type="ratio",
        standard="ISO 2811-1; ASTM D1475 (both from memory)",
        table=DENSITY,
        options=(
            Option(
                name="volume", default=100, low=0, unit="mL", meaning="of the cup, calibrated"
            ),
        ),
        formula="({cup filled}-{cup empty})/{option:volume}",
        notes=("Air lowers it: de-air first, and keep the temperature.",),
    ),
    Method(
        name="non-volatile",
        gives="what stays after drying",
        unit="% m/m",
        direction="target",
        scale_type="bounded",
        bounds=(0, 100),
        standard="ISO 3251; ASTM D2369 (both from memory)",
        table=NON_VOLATILE,
        formula="100*({dish and residue}-{dish})/({dish and sample}-{dish})",
        notes=(
            "Temperature, time and mass of sample are by agreement, and the number hangs on them.",
        ),
    ),
)  # fmt: skip
