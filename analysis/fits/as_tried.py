"""What the runs of a study never tried, and what can be told all the same.

Settings that never varied, levels never run, factors that always moved together: no model can tell
what they do, and the others can still be told.

Source:
    Draper and Smith (1998), Applied Regression Analysis, 3rd ed., section 20.4, on columns that are
    sums of others (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.fits.gaps import Gap, NeverMet, OffLine, outside_gaps
from analysis.fits.least_squares import dependent_groups
from doe.errors import StudyError
from doe.model.coding import Axis, ChoiceAxis, Coding, NumericAxis, ShareAxis
from doe.model.column import model_columns
from doe.model.matrix import model_matrix
from doe.model.region import Region, make_region, region_of
from doe.model.set_later import without_settings
from doe.model.statements import HalfSpace, statements_of
from doe.model.term import Model
from doe.model.terms import make_model
from doe.study.brief import Study
from doe.study.finding import Finding
from doe.study.settings import BoolArray, FloatArray

# Values nearer than this part of a range are one: tables are typed with fewer digits.
_SAME = 1e-6
# A recipe this part of a range away from the line of the runs still counts as on it.
_ON_LINE = 0.01
_KEEPS = "every run keeps to "
_EXTEND = "'millbase extend --for model --model linear' places runs that tell"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AsTried:
    """A study, narrowed to what its runs speak for.

    Attributes:
        coding: The settings, with levels never run named and settings never varied at their value.
        region: What the brief allows and the runs speak for.
        untold: Settings that are to be in no term.
        gaps: Where nothing can be said.
        findings: What was never tried, in words, with what to do.
    """

    coding: Coding
    region: Region
    untold: tuple[str, ...] = ()
    gaps: tuple[Gap, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(slots=True)
class _Found:
    axes: list[Axis]
    not_read: tuple[str, ...] = ()
    untold: list[str] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def coding(self) -> Coding:
        return Coding(axes=tuple(self.axes))


def as_tried(
    study: Study, coding: Coding, rows: FloatArray, read: BoolArray | None = None
) -> AsTried:
    """Find what the runs never tried, and narrow coding and region to the rest.

    Args:
        study: The brief.
        coding: Its settings.
        rows: Settings of the runs with a reading, controls left out, shape (n, k), lab units.
        read: Where a reading can show the setting, shape (n, k): what is set after every reading is
            not judged. None where all of them can.
    """
    if not len(rows):
        return AsTried(coding=coding, region=region_of(study))
    read = np.ones(rows.shape, dtype=np.bool_) if read is None else read
    not_read = tuple(name for j, name in enumerate(coding.names) if not read[:, j].any())
    found = _Found(axes=list(coding.axes), not_read=not_read)
    seen = np.where(read, rows, np.nan)
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            _levels(found, j, axis, seen)
        else:
            _value(found, j, axis, seen)
    _ties(found, rows)
    if not found.findings:
        return AsTried(coding=coding, region=region_of(study))
    return AsTried(
        coding=found.coding,
        region=_region(study, found),
        untold=tuple(found.untold),
        gaps=tuple(found.gaps),
        findings=tuple(found.findings),
    )


def met_levels(columns: Sequence[int], coding: Coding, rows: FloatArray) -> NeverMet | None:
    """Find combinations of levels that no run has; None where every one is there.

    Args:
        columns: The choices, as columns of the settings.
        coding: The settings; levels never run at all are told elsewhere.
        rows: Settings of the runs, shape (n, k).
    """
    axes = [axis for j in columns if isinstance(axis := coding.axes[j], ChoiceAxis)]
    met = frozenset(
        tuple(int(i) for i in row) for row in rows[:, list(columns)] if np.isfinite(row).all()
    )
    there = [sorted({combination[i] for combination in met}) for i in range(len(axes))]
    cells = np.stack(np.meshgrid(*there, indexing="ij"), axis=-1).reshape(-1, len(axes))
    missing = [cell for cell in cells.tolist() if tuple(cell) not in met]
    if not missing:
        return None
    said = [
        " with ".join(f"'{a.name}' {a.levels[i]}" for a, i in zip(axes, cell, strict=True))
        for cell in missing
    ]
    more = f" and {len(said) - 3} more" if len(said) > 3 else ""
    words = f"no run has {', none '.join(said[:3])}{more}"
    return NeverMet(columns=tuple(columns), met=met, words=words)


def _levels(found: _Found, j: int, axis: ChoiceAxis, rows: FloatArray) -> None:
    """Note the levels of a choice that no run has."""
    there = sorted({int(i) for i in rows[:, j] if np.isfinite(i)})
    idle = tuple(level for i, level in enumerate(axis.levels) if i not in there)
    if not idle or not there or axis.noise:
        return
    found.axes[j] = replace(axis, never=idle)
    words = f"no run with a reading has '{axis.name}' at {' or '.join(idle)}"
    met = frozenset((i,) for i in there)
    found.gaps.append(NeverMet(columns=(j,), met=met, words=words))
    one = len(there) == 1
    rest = "what it does cannot be told" if one else "its other levels are compared"
    if one:
        found.untold.append(axis.name)
    found.findings.append(
        Finding(
            level="caution",
            what=f"{words[0].upper()}{words[1:]}: nothing can be said of it there, and no recipe "
            f"is looked for there; {rest}.",
            evidence={"factor": axis.name, "levels never run": ", ".join(idle)},
            advice=f"Make runs there ({_EXTEND}), or take the level out of the brief.",
        )
    )


def _value(found: _Found, j: int, axis: NumericAxis | ShareAxis, rows: FloatArray) -> None:
    """Note a range of which every run has the same value."""
    own = rows[:, j][np.isfinite(rows[:, j])]
    width = axis.high - axis.low
    ranged = isinstance(axis, NumericAxis) and bool(axis.ranges)
    if not len(own) or ranged or width <= 0 or np.ptp(own) > _SAME * width:
        return
    value = float(np.median(own))
    found.untold.append(axis.name)
    share = "the share of " if isinstance(axis, ShareAxis) else ""
    shown = _shown(value, axis)
    words = f"{share}'{axis.name}' was {shown} in every run"
    a = np.zeros(rows.shape[1])
    a[j] = 1.0
    if not (isinstance(axis, NumericAxis) and axis.noise):
        found.gaps.append(OffLine(a=a, b=value, slack=_ON_LINE * width, words=words))
        if isinstance(axis, NumericAxis):
            found.axes[j] = replace(axis, levels=(value,))
    found.findings.append(
        Finding(
            level="caution",
            what=f"{words[0].upper()}{words[1:]}: what it does cannot be told, it is in no model, "
            f"and what is said of the other settings holds at {shown} only.",
            evidence={"factor": axis.name, "value": value},
            advice=f"Make runs at another value ({_EXTEND}), or hold it in the brief "
            f"(value = {value:g}).",
        )
    )


def _ties(found: _Found, rows: FloatArray) -> None:
    """Take out settings, one after the other, until each of the rest can be told from the others.

    Of settings that moved together the later of the brief goes.
    """
    shares = [axis.name for axis in found.axes if isinstance(axis, ShareAxis)]
    if shares and not set(shares) - set(found.untold):
        # The package as a whole stands for the intercept.
        found.untold.remove(shares[0])
    while True:
        coding = found.coding
        whole = without_settings(make_model("linear", coding), found.not_read, coding)
        kept = tuple(term for term in whole.terms if not set(term.names) & set(found.untold))
        model = Model(name="linear", terms=kept)
        groups = dependent_groups(model_matrix(rows, coding, model))
        columns = model_columns(model, coding)
        tied = [[columns[j].term.names for j in group] for group in groups]
        # A column tied with the intercept alone is a level that is told of elsewhere.
        named = [names for names in tied if names[-1]]
        if not named:
            return
        last = _the_one(named[0][-1], coding)
        others = dict.fromkeys(name for names in named[0] for name in names if name != last)
        found.untold.append(last)
        _tie(found, last, tuple(others), rows, len(rows) < len(columns))


def _the_one(names: Sequence[str], coding: Coding) -> str:
    """Name the factor of a main effect, which is crossed with a choice where that ranges it."""
    numeric = [n for n in names if not isinstance(coding.axes[coding.index(n)], ChoiceAxis)]
    return (numeric or list(names))[0]


def _tie(found: _Found, last: str, others: tuple[str, ...], rows: FloatArray, few: bool) -> None:
    """Note that a setting cannot be told from others, and where the runs lie for it."""
    gap = _line(found.coding, last, others, rows)
    if gap is not None:
        found.gaps.append(gap)
    named = " and ".join(f"'{name}'" for name in others) or "the middle of all runs"
    moved = f"{len(rows)} runs are too few to tell '{last}' from {named}"
    if not few:
        moved = f"'{last}' moved together with {named} in every run"
    where = f" ({gap.words.removeprefix(_KEEPS)})" if gap is not None else ""
    stands = (
        f"no model holds '{last}', and what is said of {named} is what they do together"
        if others
        else f"no model holds '{last}'"
    )
    found.findings.append(
        Finding(
            level="caution",
            what=f"{moved}{where}: which of them did what cannot be told. So {stands}; predictions "
            "hold only where they move together as they did.",
            evidence={"left out": last, "not told from": ", ".join(others)},
            advice=f"Make runs in which they move apart ({_EXTEND}), before you move one alone.",
        )
    )


def _line(coding: Coding, last: str, others: tuple[str, ...], rows: FloatArray) -> Gap | None:
    """Give where the runs of tied settings lie; None where it is no line and no set of levels."""
    columns = [coding.index(name) for name in (*others, last)]
    axes = [coding.axes[j] for j in columns]
    if all(isinstance(axis, ChoiceAxis) for axis in axes):
        return met_levels(columns, coding, rows) if others else None
    straight = all(
        isinstance(a, ShareAxis)
        or (isinstance(a, NumericAxis) and a.spacing == "even" and not a.ranges)
        for a in axes
    )
    if not straight or not np.isfinite(rows[:, columns]).all():
        return None
    of_others = np.column_stack([np.ones(len(rows)), rows[:, columns[:-1]]])
    own = rows[:, columns[-1]]
    weights = np.linalg.lstsq(of_others, own, rcond=None)[0]
    axis = axes[-1]
    assert not isinstance(axis, ChoiceAxis)
    if np.abs(of_others @ weights - own).max() > _SAME * (axis.high - axis.low):
        return None
    a = np.zeros(len(coding.axes))
    a[columns[:-1]], a[columns[-1]] = -weights[1:], 1.0
    return OffLine(
        a=a,
        b=float(weights[0]),
        slack=_ON_LINE * (axis.high - axis.low),
        words=f"{_KEEPS}{_equation(last, others, np.asarray(weights, np.float64))}",
    )


def _equation(last: str, others: Sequence[str], weights: FloatArray) -> str:
    size = float(np.abs(weights).max())
    said = [f"{weights[0]:.4g}"] if abs(weights[0]) > _SAME * size else []
    for name, weight in zip(others, weights[1:], strict=True):
        sign = "−" if weight < 0 else "+" if said else ""
        said.append(f"{sign} {abs(weight):.4g} × {name}".strip())
    return f"{last} = {' '.join(said)}"


def _region(study: Study, found: _Found) -> Region:
    """Narrow the region to where the runs lie; where that leaves nothing, it stays as it is."""
    coding = found.coding
    statements = statements_of(study, coding)
    lines = tuple(
        HalfSpace(a=sign * gap.a, b=sign * gap.b, words=gap.words)
        for gap in found.gaps
        if isinstance(gap, OffLine) and not _is_level(gap, coding)
        for sign in (1.0, -1.0)
    )
    try:
        region = make_region(coding, replace(statements, limits=(*statements.limits, *lines)))
    except StudyError:
        region = make_region(coding, statements)
    never = [gap for gap in found.gaps if isinstance(gap, NeverMet)]
    # What the brief cannot reach is one thing, what the runs never tried another.
    return replace(outside_gaps(region, never), findings=region_of(study).findings)


def _is_level(gap: OffLine, coding: Coding) -> bool:
    """Tell whether a numeric setting is held at its value by its levels already."""
    on = np.flatnonzero(gap.a)
    return len(on) == 1 and isinstance(coding.axes[on[0]], NumericAxis)


def _shown(value: float, axis: NumericAxis | ShareAxis) -> str:
    unit = axis.unit if isinstance(axis, NumericAxis) else ""
    return f"{value:.6g} {unit}".rstrip()
