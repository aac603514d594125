"""Settings that are reached by titration, and the value that a row gives a factor."""

from __future__ import annotations

from collections.abc import Mapping

from doe.recipe.recipe import Titration
from doe.study.brief import Factor, Study
from doe.study.names import fold

SettingsRow = Mapping[str, float | str | None]


def titrations(
    study: Study, settings_row: SettingsRow, *, stages: tuple[str, ...]
) -> tuple[Titration, ...]:
    """List what is titrated at these stages: the factors with `set_by` that have a value.

    A `set_by` that names a choice is read as the level of that choice.
    """
    return tuple(
        Titration(
            factor=factor.name,
            unit=factor.unit,
            target=float(value),
            titrant=_titrant(study, factor, settings_row),
        )
        for factor in study.factors
        if factor.set_by and factor.set_per in stages
        if isinstance(value := setting(factor, settings_row), (int, float))
    )


def setting(factor: Factor, settings_row: SettingsRow) -> float | str | None:
    """Give a factor's value in a row; the held value where the row is silent."""
    value = settings_row.get(factor.name)
    return factor.value if value is None else value


def _titrant(study: Study, factor: Factor, row: SettingsRow) -> str:
    named = fold(factor.set_by or "")
    for other in study.factors:
        if fold(other.name) == named and isinstance(level := setting(other, row), str):
            return level
    return factor.set_by or ""
