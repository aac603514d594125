"""Test methods of the family: fineness, particle size and grind kinetics."""

from __future__ import annotations

from doe.methods.grind_kinetics import METHODS as GRIND_KINETICS
from doe.methods.method import Method, Option, RawColumn, RawTable

FINENESS, SECOND_FINENESS = "fineness", "second fineness"
HEGMAN, SECOND_HEGMAN = "Hegman", "second Hegman"
D10, D50, D90 = "D10", "D50", "D90"

GAUGE = RawTable(
    name="fineness of grind",
    columns=(
        RawColumn(name=FINENESS, unit="µm", low=0, hint="< 5 where nothing is seen above 5"),
        RawColumn(
            name=SECOND_FINENESS, unit="µm", low=0, is_needed=False, hint="a second drawdown"
        ),
    ),
)
HEGMAN_GAUGE = RawTable(
    name="Hegman",
    columns=(
        RawColumn(name=HEGMAN, low=0, high=8, hint="to a quarter; > 7.5 where nothing is seen"),
        RawColumn(name=SECOND_HEGMAN, low=0, high=8, is_needed=False, hint="a second drawdown"),
    ),
)
PARTICLE_SIZE = RawTable(
    name="particle size",
    columns=(
        RawColumn(name=D10, unit="µm", low=0, is_needed=False, hint="by volume"),
        RawColumn(name=D50, unit="µm", low=0, hint="by volume"),
        RawColumn(name=D90, unit="µm", low=0, is_needed=False, hint="by volume"),
    ),
)

_GEOMETRY = Option(
    name="geometry",
    default="exact",
    words=("exact", "rounded"),
    meaning="exact: 101.6 − 12.7 H µm, the gauge's geometry; rounded: 100 − 12.5 H, as many "
    "charts print it (common practice, no source)",
    mark="calculated",
)
_LARGEST = (
    "The gauge shows the largest particles, not the primary size, and cannot see flocs that the "
    "scraper breaks."
)
_READ = "One reading is good to 2 to 5 µm (common practice, no source): read two drawdowns."
_DILUTED = "Particle size is measured in a diluted sample: it need not be that of the grind."


def _size(name: str, gives: str, column: str) -> Method:
    return Method(
        name=name,
        gives=gives,
        unit="µm",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ISO 13320 (number from memory)",
        table=PARTICLE_SIZE,
        formula=f"{{{column}}}",
        notes=(_DILUTED,),
    )


METHODS: tuple[Method, ...] = (
    Method(
        name="fineness in micrometres",
        gives="fineness of grind on a gauge in micrometres; two readings averaged",
        unit="µm",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ISO 1524:2020",
        typical=(5, 25),
        table=GAUGE,
        notes=(_LARGEST, _READ, "Not for flake pigments (read)."),
    ),
    Method(
        name="fineness from Hegman",
        gives="fineness of grind in micrometres, read on a Hegman gauge",
        unit="µm",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ASTM D1210-05(2022)",
        typical=(5, 25),
        table=HEGMAN_GAUGE,
        options=(_GEOMETRY,),
        notes=(_LARGEST, _READ),
    ),
    Method(
        name="Hegman",
        gives="fineness of grind on the Hegman scale; two readings averaged",
        unit="",
        direction="high",
        scale_type="bounded",
        bounds=(0, 8),
        standard="ASTM D1210-05(2022)",
        typical=(6, 7.6),
        table=HEGMAN_GAUGE,
        notes=(
            _LARGEST,
            "The standard gives the average to the nearest quarter (read); it is kept unrounded.",
        ),
    ),
    _size("particle size D50", "median particle size by volume, as read", D50),
    _size("particle size D90", "size below which 90 % of the volume lies, as read", D90),
    Method(
        name="particle size span",
        gives="relative width of the size distribution, (D90 − D10) / D50",
        unit="",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ISO 13320 (number from memory)",
        table=PARTICLE_SIZE,
        formula=f"({{{D90}}}-{{{D10}}})/{{{D50}}}",
        notes=(_DILUTED,),
    ),
    *GRIND_KINETICS,
)
