"""What each method of the family makes of raw readings: viscosity."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from analysis.lab.computing import flow_curve
from analysis.lab.computing.doubts import doubt, lacking, number_option
from analysis.lab.efflux_cups import CUPS, is_meant_for, kinematic_viscosity
from analysis.lab.monotone import monotone_result
from analysis.lab.raw_unit import Compute, Computed, OptionValues, RawUnit
from analysis.lab.rotational import (
    DUPLICATE_LIMIT,
    index_from_speeds,
    relative_difference,
    shear_thinning_index,
)
from analysis.lab.stormer import KREBS_UNITS, LOADS_G, krebs_units
from doe.methods.viscosity import (
    AT_HIGH,
    AT_LOW,
    DRAIN_TIME,
    KREBS,
    LOAD,
    SECOND,
    TEMPERATURE,
    VISCOSITY,
)
from doe.study.finding import Finding

# What the temperature of a sample may be off: read.
_D562, _D2196 = (0.2, "ASTM D562-10(2018), read"), (0.5, "ASTM D2196-20, read")


def _stormer(unit: RawUnit, options: OptionValues) -> Computed:
    done = monotone_result(
        unit,
        {LOAD: True},
        lambda raw: float(krebs_units(np.array([raw[LOAD]]))[0]),
        _off_temperature(unit, options, *_D562),
    )
    load = unit.values.get(LOAD)
    if load is None or LOADS_G[0] <= load <= LOADS_G[-1]:
        return done
    outside = doubt(
        "the load lies outside the table of loads and Krebs units, and none follows.",
        advice="Give 'load' as '> 500' or '< 70': the value then counts as off the scale.",
        source="ASTM D562-10(2018), table from memory",
        load_g=load,
        least_load_g=LOADS_G[0],
        greatest_load_g=LOADS_G[-1],
    )
    return Computed(value=None, findings=(outside,))


def _krebs(unit: RawUnit, options: OptionValues) -> Computed:
    findings = _off_temperature(unit, options, *_D562)
    read = unit.values.get(KREBS)
    if read is not None and not KREBS_UNITS[0] <= read <= KREBS_UNITS[-1]:
        findings += (
            doubt(
                "the reading lies outside the Krebs units of the standard's table.",
                source="ASTM D562-10(2018), table from memory",
                Krebs_units=read,
            ),
        )
    return monotone_result(unit, {KREBS: True}, lambda raw: raw[KREBS], findings)


def _rotational(unit: RawUnit, options: OptionValues) -> Computed:
    return _as_read(unit, options, VISCOSITY)


def _two_speed(unit: RawUnit, options: OptionValues) -> Computed:
    column = AT_HIGH if options.get("speed") == "high" else AT_LOW
    return _as_read(unit, options, column)


def _as_read(unit: RawUnit, options: OptionValues, column: str) -> Computed:
    findings = _off_temperature(unit, options, *_D2196)
    done = monotone_result(unit, {column: True}, lambda raw: raw[column], findings)
    return _above_zero(done)


def _thinning(unit: RawUnit, options: OptionValues) -> Computed:
    if (nothing := _no_ratio(unit)) is not None:
        return nothing
    done = monotone_result(
        unit,
        {AT_LOW: True, AT_HIGH: False},
        lambda raw: float(shear_thinning_index(*_speeds(raw))[0]),
        _off_temperature(unit, options, *_D2196),
    )
    return _thickening(done, done.value is not None and done.flag == "ok" and done.value < 1.0)


def _index(unit: RawUnit, options: OptionValues) -> Computed:
    ratio = number_option(options, "speed ratio")
    if (nothing := _no_ratio(unit)) is not None:
        return nothing
    done = monotone_result(
        unit,
        {AT_LOW: False, AT_HIGH: True},
        lambda raw: float(index_from_speeds(*_speeds(raw), ratio)[0]),
        _off_temperature(unit, options, *_D2196),
    )
    return _thickening(done, done.value is not None and done.flag == "ok" and done.value > 1.0)


def _high_shear(unit: RawUnit, options: OptionValues) -> Computed:
    first, second = unit.values.get(VISCOSITY), unit.values.get(SECOND)
    findings: tuple[Finding, ...] = ()
    if first and second and (apart := relative_difference(first, second)) >= DUPLICATE_LIMIT:
        findings = (
            doubt(
                "the duplicates lie further apart than such readings do; their mean is taken.",
                advice="Fill the gap anew and read both again.",
                source="ASTM D4287-00(2005): less than 7 % apart, read",
                apart_percent=100.0 * apart,
            ),
        )
    done = monotone_result(
        unit,
        {VISCOSITY: True, SECOND: True},
        lambda raw: sum(raw.values()) / len(raw),
        findings,
    )
    return _above_zero(done)


def _efflux(unit: RawUnit, options: OptionValues) -> Computed:
    if (nothing := _no_time(unit)) is not None:
        return nothing
    findings = _off_time(unit, str(options.get("cup", "")))
    return monotone_result(unit, {DRAIN_TIME: True}, lambda raw: raw[DRAIN_TIME], findings)


def _kinematic(unit: RawUnit, options: OptionValues) -> Computed:
    name = str(options.get("cup", ""))
    if name not in CUPS:
        return _no_cup()
    if (nothing := _no_time(unit)) is not None:
        return nothing
    time = unit.values.get(DRAIN_TIME)
    if (
        time is not None
        and time > 0
        and np.isnan(kinematic_viscosity(np.array([time]), CUPS[name]))
    ):
        short = doubt(
            "the cup drains too fast for its relation, and no viscosity follows.",
            advice="Take a cup with a smaller hole.",
            source=f"{CUPS[name].standard}, {CUPS[name].mark}",
            drain_time_s=time,
        )
        return Computed(value=None, findings=(short,))
    return monotone_result(
        unit,
        {DRAIN_TIME: True},
        lambda raw: float(kinematic_viscosity(np.array([raw[DRAIN_TIME]]), CUPS[name])[0]),
        _off_time(unit, name),
    )


def _no_time(unit: RawUnit) -> Computed | None:
    """Refuse a drain time of nothing; None where there is one, or none yet."""
    return lacking(unit, (), above_zero=(DRAIN_TIME,)) if DRAIN_TIME in unit.values else None


def _no_cup() -> Computed:
    advice = "Set with = { cup = … }."
    return Computed(value=None, findings=(doubt("the brief names no cup.", advice=advice),))


def _off_time(unit: RawUnit, name: str) -> tuple[Finding, ...]:
    time, cup = unit.values.get(DRAIN_TIME), CUPS.get(name)
    if time is None or cup is None or is_meant_for(time, cup):
        return ()
    hole = "smaller" if time < cup.shortest_s else "larger"
    return (
        doubt(
            "the drain time lies outside the times that the cup is meant for.",
            advice=f"Take a cup with a {hole} hole, for all runs.",
            source=f"{cup.standard}, times {cup.mark_of_times}",
            drain_time_s=time,
            shortest_s=cup.shortest_s,
            longest_s=cup.longest_s,
        ),
    )


def _off_temperature(
    unit: RawUnit, options: OptionValues, within: float, source: str
) -> tuple[Finding, ...]:
    found, due = unit.values.get(TEMPERATURE), number_option(options, "temperature")
    # The rounding of a decimal must not count as off.
    if found is None or abs(found - due) <= within + 1e-9:
        return ()
    return (
        doubt(
            f"the sample was read at {found:g} °C, where {due:g} ± {within:g} °C is due.",
            advice="Read all runs at one temperature, as viscosity changes by some per cent a "
            "degree; where all are read at another one, say so in the brief: "
            f"with = {{ temperature = {found:g} }}.",
            source=source,
            temperature_c=found,
            due_c=due,
            within_c=within,
        ),
    )


def _speeds(raw: Mapping[str, float]) -> tuple[np.ndarray, np.ndarray]:
    return np.array([raw[AT_LOW]]), np.array([raw[AT_HIGH]])


def _no_ratio(unit: RawUnit) -> Computed | None:
    """Refuse what cannot be divided: no viscosity is 0."""
    bounds = [one.value for one in unit.off_scale.values()]
    readings = [unit.values.get(AT_LOW), unit.values.get(AT_HIGH), *bounds]
    if all(value is None or value > 0.0 for value in readings):
        return None
    why = doubt("a viscosity of 0 or less makes no ratio.", advice="Read again, or note it lost.")
    return Computed(value=None, findings=(why,))


def _above_zero(done: Computed) -> Computed:
    if done.value is None or done.value > 0.0 or done.flag == "above":
        return done
    why = doubt(
        "a viscosity of 0 or less cannot be.",
        advice="Give what the instrument can tell at least, such as '< 10'.",
    )
    return Computed(value=None, findings=(*done.findings, why))


def _thickening(done: Computed, is_thickening: bool) -> Computed:
    if not is_thickening:
        return done
    note = Finding(
        level="note",
        what="it thickens under shear, as a crowded mill base does.",
        advice="Look at pigment content and dose before grinding it longer.",
    )
    return Computed(value=done.value, findings=(*done.findings, note))


COMPUTE: Mapping[str, Compute] = MappingProxyType(
    {
        "Stormer consistency": _stormer,
        "Krebs units as read": _krebs,
        "rotational viscosity": _rotational,
        "two-speed viscosity": _two_speed,
        "shear-thinning index": _thinning,
        "flow index from two speeds": _index,
        "high-shear viscosity": _high_shear,
        "efflux time": _efflux,
        "kinematic viscosity from efflux": _kinematic,
        **flow_curve.COMPUTE,
    }
)
