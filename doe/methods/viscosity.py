"""Test methods of the family: viscosity and flow."""

from __future__ import annotations

from doe.methods.flow_curve import METHODS as FLOW_CURVE
from doe.methods.method import Method, Option, RawColumn, RawTable, Repeatability

LOAD, KREBS, TEMPERATURE = "load", "Krebs units", "temperature"
VISCOSITY, SECOND = "viscosity", "second viscosity"
AT_LOW, AT_HIGH = "viscosity at low speed", "viscosity at high speed"
DRAIN_TIME = "drain time"

# As `analysis.lab.efflux_cups` holds their relations.
CUPS = (
    "ISO 3 mm", "ISO 4 mm", "ISO 5 mm", "ISO 6 mm",
    "Ford 1", "Ford 2", "Ford 3", "Ford 4", "Ford 5",
)  # fmt: skip

_TEMPERATURE = RawColumn(
    name=TEMPERATURE, unit="°C", low=0, high=100, is_needed=False, hint="of the sample, when read"
)


def _mpas(name: str, hint: str, *, is_needed: bool = True) -> RawColumn:
    return RawColumn(name=name, unit="mPa·s", low=0, is_needed=is_needed, hint=hint)


STORMER = RawTable(
    name="Stormer consistency",
    columns=(
        RawColumn(name=LOAD, unit="g", low=0, hint="that holds 200 turns a minute"),
        _TEMPERATURE,
    ),
)
KREBS_TABLE = RawTable(
    name="Krebs units", columns=(RawColumn(name=KREBS, unit="KU", low=0), _TEMPERATURE)
)
ROTATIONAL = RawTable(
    name="rotational viscosity",
    columns=(_mpas(VISCOSITY, "same spindle, speed and time for all; stir and rest alike"),
             _TEMPERATURE),
)  # fmt: skip
TWO_SPEED = RawTable(
    name="two-speed viscosity",
    columns=(
        _mpas(AT_LOW, "low speed first, same spindle"),
        _mpas(AT_HIGH, "then the high one, after the same time"),
        _TEMPERATURE,
    ),
)
HIGH_SHEAR = RawTable(
    name="high-shear viscosity",
    columns=(
        _mpas(VISCOSITY, "cone and plate"),
        _mpas(SECOND, "a second filling, where one is read", is_needed=False),
    ),
)
EFFLUX = RawTable(
    name="efflux time",
    columns=(RawColumn(name=DRAIN_TIME, unit="s", low=0, hint="to the first break of the stream"),),
    cautions=("Catch and cover what drains: volatile bases and solvents reach the air.",),
)

_CUP = Option(
    name="cup", words=CUPS, is_needed=True, meaning="the cup that was used", mark="read"
)  # fmt: skip
_SPEED = Option(
    name="speed", default="low", words=("low", "high"), meaning="the speed whose value is taken"
)
_READ_AT = Option(
    name="temperature", default=25.0, low=0.0, high=100.0, unit="°C",
    meaning="at which all samples are read; say here which, where it is not the standard's 25",
    mark="read",
)  # fmt: skip
_SPEED_RATIO = Option(
    name="speed ratio", default=10.0, low=1.001, meaning="high speed over low speed", mark="read"
)
_NO_CONVERSION = (
    "Krebs units, rotational and high-shear viscosity are three responses at three shear rates: "
    "none is turned into another."
)
_KREBS_NOTES = (
    "Krebs units are never turned into mPa·s: such relations do not agree with each other.",
    _NO_CONVERSION,
)
_NEWTONIAN = "Cups suit Newtonian and near-Newtonian liquids only (ISO 2431, ASTM D1200, read)."
_CUP_RELATIONS = (
    "The relations of Ford 1 and 2 are read in ASTM D1200-94(2005), those of Ford 3 to 5 and of "
    "the ISO cups are from memory; drain times 20 to 100 s (Ford 3 to 5), 40 to 100 s (2), 55 to "
    "100 s (1) read, 30 to 100 s (ISO) from memory."
)
_DIP_CUPS = Repeatability(
    sd=0.037,
    is_relative=True,
    source="ASTM D4212, dip cups, within-laboratory coefficient of variation, read",
)

METHODS: tuple[Method, ...] = (
    Method(
        name="Stormer consistency",
        gives="consistency by the load of a Stormer instrument",
        unit="KU",
        direction="target",
        scale_type="interval",
        standard="ASTM D562-10(2018)",
        typical=(80, 115),
        table=STORMER,
        options=(_READ_AT,),
        notes=(
            "The table of load and Krebs units (70 to 500 g) is from memory, least sure at 340, "
            "440, 460 and 480 g: hold it against your copy of the standard.",
            *_KREBS_NOTES,
        ),
    ),
    Method(
        name="Krebs units as read",
        gives="consistency as the instrument shows it",
        unit="KU",
        direction="target",
        scale_type="interval",
        standard="ASTM D562-10(2018)",
        typical=(80, 115),
        table=KREBS_TABLE,
        options=(_READ_AT,),
        formula=f"{{{KREBS}}}",
        notes=_KREBS_NOTES,
    ),
    Method(
        name="rotational viscosity",
        gives="apparent viscosity at one speed",
        unit="mPa·s",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ASTM D2196-20, method A",
        typical=(100, 10_000),
        table=ROTATIONAL,
        options=(_READ_AT,),
        formula=f"{{{VISCOSITY}}}",
        notes=("It belongs to its spindle and speed: note both on the card.", _NO_CONVERSION),
    ),
    Method(
        name="two-speed viscosity",
        gives="apparent viscosity at the lower or the higher of two speeds",
        unit="mPa·s",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ASTM D2196-20, method B",
        typical=(100, 10_000),
        table=TWO_SPEED,
        options=(_SPEED, _READ_AT),
        notes=("It belongs to its spindle and speed: note both on the card.", _NO_CONVERSION),
    ),
    Method(
        name="shear-thinning index",
        gives="viscosity at the low speed over that at the high speed",
        unit="",
        direction="low",
        scale_type="ratio",
        scale="log",
        standard="ASTM D2196-20, method B",
        typical=(1, 8),
        table=TWO_SPEED,
        options=(_READ_AT,),
        formula=f"{{{AT_LOW}}}/{{{AT_HIGH}}}",
        notes=(
            "Near 1 in an unthickened grind speaks of good dispersion; a thickener raises it too.",
            "Indices of other speed ratios than yours do not compare; the flow index does.",
        ),
    ),
    Method(
        name="flow index from two speeds",
        gives="power-law index that two speeds imply",
        unit="",
        direction="high",
        scale_type="ratio",
        standard="ASTM D2196-20, method B",
        typical=(0.2, 1.1),
        table=TWO_SPEED,
        options=(_SPEED_RATIO, _READ_AT),
        formula=f"1-LN({{{AT_LOW}}}/{{{AT_HIGH}}})/LN({{option:speed ratio}})",
        notes=("1 is Newtonian, less is shear-thinning, more is thickening under shear.",),
    ),
    Method(
        name="high-shear viscosity",
        gives="viscosity under a cone and plate at about 12 000 1/s; duplicates averaged",
        unit="mPa·s",
        direction="target",
        scale_type="ratio",
        scale="log",
        standard="ASTM D4287-00(2005)",
        typical=(50, 250),
        repeatability=Repeatability(
            sd=0.022,
            is_relative=True,
            source="ASTM D4287-00(2005), within-laboratory coefficient of variation with 40 "
            "degrees of freedom, read",
        ),
        table=HIGH_SHEAR,
        notes=("Duplicates less than 7 % apart are averaged (read).", _NO_CONVERSION),
    ),
    Method(
        name="efflux time",
        gives="time in which a cup drains",
        unit="s",
        direction="target",
        scale_type="ratio",
        scale="log",
        standard="ISO 2431 or ASTM D1200",
        typical=(20, 100),
        repeatability=_DIP_CUPS,
        table=EFFLUX,
        options=(_CUP,),
        formula=f"{{{DRAIN_TIME}}}",
        notes=(_NEWTONIAN, _CUP_RELATIONS),
    ),
    Method(
        name="kinematic viscosity from efflux",
        gives="kinematic viscosity by the relation of the cup",
        unit="mm²/s",
        direction="target",
        scale_type="ratio",
        scale="log",
        standard="ISO 2431 or ASTM D1200",
        repeatability=_DIP_CUPS,
        table=EFFLUX,
        options=(_CUP,),
        notes=(_NEWTONIAN, _CUP_RELATIONS, "Times density (g/mL) it is the viscosity in mPa·s."),
    ),
    *FLOW_CURVE,
)
