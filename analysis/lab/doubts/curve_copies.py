"""A curve kept under two units: equal at every wavelength or shear rate."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.lab.doubts.bench import Bench
from analysis.lab.raw_grouping import unit_label
from doe.methods.raw_columns import bench_tests
from doe.study.curves import Curve
from doe.study.doubt import Doubt
from doe.study.finding import Finding

# Five different values: two readings of one film agree in none of them to four digits, as a rule.
# Common practice, no source.
LEAST_VALUES = 5
# Whoever files one reading for all days does so on purpose, as a rule.
_ONE_STANDARD = "one reading kept for all, so that drift from day to day does not show."


def copied_curves(bench: Bench) -> Iterator[Doubt]:
    """Find curves of different units, or repeats of one, that are equal at every place."""
    served: dict[str, list[str]] = {}
    for test in bench_tests(bench.study):
        if test.table.curve is not None:
            served.setdefault(test.table.curve, []).extend(one.name for one in test.responses)
    for kind, responses in served.items():
        alike: dict[tuple[tuple[float, ...], tuple[float, ...]], list[Curve]] = {}
        for curve in bench.raw.current_curves(kind):
            if len(set(curve.y)) >= LEAST_VALUES:
                alike.setdefault((curve.x, curve.y), []).append(curve)
        groups = [sorted(group, key=_order) for group in alike.values() if len(group) > 1]
        for group in sorted(groups, key=lambda one: _order(one[0])):
            yield _doubt(bench, kind, group, tuple(dict.fromkeys(responses)))


def curve_label(curve: Curve) -> str:
    """Name a curve in a message.

    Example:
        >>> curve_label(Curve(subject="standard", day=2, x=(400.0,), y=(0.1,)))
        'standard of day 2'
    """
    if curve.run is not None:
        name = unit_label((curve.run, curve.panel, curve.age_d, curve.repeat))
    else:
        name = curve.subject if curve.day is None else f"{curve.subject} of day {curve.day}"
    return f"{name}, {curve.what}" if curve.what else name


def _order(curve: Curve) -> tuple[int, int, str, str]:
    return (curve.run or 0, curve.day or 0, curve_label(curve), curve.source)


def _doubt(bench: Bench, kind: str, group: Sequence[Curve], responses: tuple[str, ...]) -> Doubt:
    units = " and ".join(curve_label(curve) for curve in group)
    runs = tuple(dict.fromkeys(one.run for one in group if one.run is not None))
    days = tuple(dict.fromkeys(one.day for one in group if one.run is None and one.day is not None))
    named = f"--run {runs[-1]}" if runs else f"--day {days[-1]}" if days else "--run …"
    return Doubt(
        finding=Finding(
            level="caution" if runs else "note",
            what=f"The {kind} curves of {units} are equal at all {len(group[0].x)} places: "
            + ("was one of them copied?" if runs else _ONE_STANDARD),
            evidence={"curve": kind, "places": len(group[0].x)},
            advice="Look in the instrument's own record; correct the copied one and enter it "
            f"again, or note that it stands: 'millbase note STUDY {named} --says stands "
            "--because …'.",
            source="Equal in five or more different values: common practice, no source.",
        ),
        responses=responses,
        runs=runs,
        batches=bench.batches_of(runs),
        days=days,
        sources=tuple(dict.fromkeys(curve.source for curve in group)),
    )
