"""The settings of planned runs, read under the brief as it stands now."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from doe.errors import Fault
from doe.study.brief import Factor, Study
from doe.study.names import match_name, nearest_name
from doe.study.plan import Kind
from doe.study.settings import Settings
from doe.study.tables import Table

# A level that went through a spreadsheet keeps at least nine digits.
SAME_SETTING = 1e-9


def decode_settings(
    table: Table, study: Study, kinds: Sequence[Kind], others: frozenset[str], faults: list[Fault]
) -> Settings | None:
    """Read the columns of settings.

    Args:
        table: The plan as a table.
        study: The brief.
        kinds: Kind of each run; controls may leave settings open.
        others: Columns of the table that hold no settings.
        faults: Gathers what is wrong.

    Returns:
        The settings in the column order of the brief; None after a fault.
    """
    before = len(faults)
    names = study.setting_names
    columns = [name for name in table.names if match_name(name, others) is None]
    added = [name for name in names if match_name(name, columns) is None]
    for column in columns:
        if match_name(column, names) is None:
            faults.extend(_gone(table, column, study, added))
    faults.extend(_new(name, study, table.source) for name in added)
    values = np.full((len(table), len(names)), np.nan)
    factors = {factor.name: factor for factor in study.varied_factors}
    for k, name in enumerate(names):
        if name in added:
            continue
        factor = factors.get(name)
        if factor is not None and factor.kind == "choice":
            values[:, k] = _choice(table, factor, faults)
        else:
            values[:, k] = _numeric(table, name, factor, kinds, faults)
    if len(faults) > before:
        return None
    return Settings(names=names, values=values, labels=choice_labels(study))


def choice_labels(study: Study) -> dict[str, tuple[str, ...]]:
    """Give the levels of each named choice that the plan sets."""
    return {
        factor.name: tuple(str(level) for level in factor.levels)
        for factor in study.varied_factors
        if factor.kind == "choice"
    }


def _gone(table: Table, column: str, study: Study, added: Sequence[str]) -> list[Fault]:
    """Name a setting of the runs that the brief no longer varies."""
    held = next((one for one in study.factors if match_name(column, [one.name])), None)
    if held is not None:
        return _held(table, column, held)
    perhaps = nearest_name(column, added) or (added[0] if len(added) == 1 else None)
    renamed = f" (is it '{perhaps}' now?)" if perhaps else ""
    return [
        Fault(
            where=table.source,
            what=f"the runs set '{column}', which the brief no longer has{renamed}",
            do="Put it back into study.toml under this name, or start a new study.",
        )
    ]


def _held(table: Table, column: str, factor: Factor) -> list[Fault]:
    """Accept a factor that is held now only if every run was made at that value."""
    unlike = [i for i in range(len(table)) if not _is_value(table, i, column, factor.value)]
    if not unlike:
        return []
    return [
        Fault(
            where=table.place(unlike[0], column),
            what=f"the brief now holds '{factor.name}' at {factor.value}, but the run has "
            f"'{table.text(unlike[0], column)}'",
            do="Give the factor its range or levels back, or start a new study.",
        )
    ]


def _is_value(table: Table, i: int, column: str, value: float | str | None) -> bool:
    text = table.text(i, column)
    if isinstance(value, str):
        return match_name(text, [value]) is not None
    found = table.number(i, column, [])
    return found is not None and value is not None and math.isclose(found, value)


def _new(name: str, study: Study, source: str) -> Fault:
    is_additive = name in {additive.name for additive in study.additives}
    return Fault(
        where=source,
        what=f"existing runs have no setting for '{name}'",
        do="Take it out of the package again, or start a new study."
        if is_additive
        else "Hold it by `value = …` at what the runs had, or start a new study.",
    )


def _choice(table: Table, factor: Factor, faults: list[Fault]) -> list[float]:
    levels = [str(level) for level in factor.levels]
    found: list[float] = []
    unknown: dict[str, int] = {}
    for i in range(len(table)):
        text = table.text(i, factor.name)
        level = match_name(text, levels) if text else None
        found.append(math.nan if level is None else float(levels.index(level)))
        if text and level is None:
            unknown.setdefault(text, i)
    faults.extend(
        Fault(
            where=table.place(i, factor.name),
            what=f"the runs have the level '{text}', which '{factor.name}' no longer has",
            allowed=", ".join(f"'{level}'" for level in levels),
            do="Put the level back into study.toml under this name, or start a new study.",
        )
        for text, i in unknown.items()
    )
    return found


def _numeric(
    table: Table, name: str, factor: Factor | None, kinds: Sequence[Kind], faults: list[Fault]
) -> list[float]:
    levels = [float(level) for level in factor.levels] if factor else []
    column: list[float] = []
    for i, kind in enumerate(kinds):
        value = table.number(i, name, faults)
        column.append(math.nan if value is None else value)
        if kind == "control":
            continue
        if not table.text(i, name) and not (factor and factor.ranges):
            faults.append(Fault(where=table.place(i, name), what="the run has no setting here"))
        elif value is not None and levels and not is_level(value, levels):
            faults.append(
                Fault(
                    where=table.place(i, name),
                    what=f"the run has the level {value:g}, which '{name}' no longer has",
                    allowed=", ".join(f"{level:g}" for level in levels),
                    do="Put the level back into study.toml, or start a new study.",
                )
            )
    return column


def is_level(value: float, levels: Sequence[float]) -> bool:
    """Tell whether a value is one of the levels, as far as a spreadsheet keeps digits."""
    return any(math.isclose(value, one, rel_tol=SAME_SETTING, abs_tol=1e-12) for one in levels)
