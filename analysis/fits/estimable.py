"""Which models the runs can carry, and what to say when the one asked for is too large."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from analysis.fits.fit_table import FitTable
from analysis.fits.least_squares import DependentColumnsError, dependent_groups
from doe.errors import FitError
from doe.model.coding import ChoiceAxis, Coding
from doe.model.matrix import column_label, model_columns, model_matrix
from doe.model.set_later import without_settings
from doe.model.terms import Model, make_model, model_names, unambiguous_label
from doe.study.settings import FloatArray


def surface_columns(
    settings: FloatArray, control: Sequence[str | None], coding: Coding, model: Model
) -> FloatArray:
    """Expand the settings of runs, shape (n, s); zeros for controls, which have their own means."""
    planned = np.array([name is None for name in control])
    surface = np.zeros((len(control), len(model_columns(model, coding))))
    if planned.any():
        surface[planned] = model_matrix(settings[planned], coding, model)
    return surface


def largest_model(
    settings: FloatArray,
    control: Sequence[str | None],
    coding: Coding,
    *,
    beside: FloatArray | None = None,
    without: Collection[str] = (),
    least_df: int = 1,
) -> str | None:
    """Find the largest named model that the runs can carry.

    Args:
        settings: As made, shape (n, k), lab units.
        control: Control of each run.
        coding: The settings' coding.
        beside: Columns fitted beside the model (controls, blocks), shape (n, c).
        without: Settings that it is to have in no term.
        least_df: Degrees of freedom that must stay for the error.

    Returns:
        Its name, or None when not even the smallest can be fitted.
    """
    others = beside if beside is not None else np.zeros((len(control), 0))
    for name in reversed(model_names(coding)):
        model = without_settings(make_model(name, coding), without, coding)
        surface = surface_columns(settings, control, coding, model)
        X = np.hstack([surface, others])
        if X.shape[0] - X.shape[1] >= least_df and not dependent_groups(X):
            return name
    return None


def refuse_too_large(
    error: DependentColumnsError,
    table: FitTable,
    settings: FloatArray,
    coding: Coding,
    model: Model,
    response: str,
) -> FitError:
    """Put into words why a model cannot be fitted, and which smaller one can."""
    n, p = table.matrix.shape
    labels = table.all_labels
    beside = table.beside
    smaller = largest_model(
        settings, table.control, coding, beside=beside, without=_absent(model, coding)
    )
    n_beside = beside.shape[1]
    named = "controls and blocks" if table.drift is None else "controls, drift and blocks"
    more = f" ({n_beside} of them for {named})" if n_beside else ""
    if n < p:
        what = f"the {model.name} model has {p} coefficients{more}, but {n} runs can be fitted"
        drop = ""
    else:
        what = f"the {model.name} model cannot be fitted: {_ties(error, labels)}"
        drop = _drop_words(error, table, coding)
        idle = _idle_levels(settings, table, coding)
        if idle:
            what = f"the {model.name} model cannot be fitted: {idle}"
            drop = f"{drop}, make runs there or take the level out of the brief" if drop else ""
    return FitError(
        what,
        where=f"response '{response}'",
        allowed="models whose terms these runs can tell apart",
        do=_what_would_work(smaller, model, drop),
    )


def _absent(model: Model, coding: Coding) -> tuple[str, ...]:
    """Name the factors that a model has in no term, for whatever reason: a smaller one has not."""
    there = {name for term in model.terms for name in term.names}
    return tuple(axis.name for axis in coding.factors if axis.name not in there)


def labels_of(model: Model, coding: Coding) -> tuple[str, ...]:
    """Name the columns of a model as tables show them."""
    return tuple(column_label(column) for column in model_columns(model, coding))


def _ties(error: DependentColumnsError, labels: Sequence[str]) -> str:
    sentences = []
    for group in error.groups[:3]:
        last, others = labels[group[-1]], [labels[j] for j in group[:-1]]
        if not others:
            sentences.append(f"'{last}' never varies in these runs")
        else:
            named = " and ".join(f"'{word}'" for word in others[:3])
            named += f" and {len(others) - 3} more" if len(others) > 3 else ""
            sentences.append(f"'{last}' cannot be told from {named} in these runs")
    more = len(error.groups) - 3
    return "; ".join(sentences) + (f"; and {more} more such ties" if more > 0 else "")


def _drop_words(error: DependentColumnsError, table: FitTable, coding: Coding) -> str:
    """Name the terms whose columns are tied, as `--drop` takes them."""
    columns = table.columns
    last = [columns[group[-1]].term for group in error.groups if group[-1] < len(columns)]
    terms = list(dict.fromkeys(unambiguous_label(term, coding) for term in last))
    return " and ".join(f"'{term}'" for term in terms) if len(terms) < 4 else ""


def _idle_levels(settings: FloatArray, table: FitTable, coding: Coding) -> str:
    """Name levels of choices that no run of the plan has; empty where all are there."""
    planned = settings[np.array(table.is_planned)]
    said = []
    for j, axis in enumerate(coding.axes):
        if isinstance(axis, ChoiceAxis):
            there = {int(i) for i in planned[:, j] if np.isfinite(i)}
            idle = [level for i, level in enumerate(axis.levels) if i not in there]
            said += [f"no run has '{axis.name}' at {', '.join(idle)}"] if idle else []
    return "; ".join(said)


def _what_would_work(smaller: str | None, model: Model, drop: str) -> str:
    ways = [f"drop {drop}"] if drop else []
    if smaller is not None and smaller != model.name:
        ways.append(
            f"fit the {smaller} model, the largest named one that leaves something to judge it by"
        )
    if not ways:
        return "Make more runs: these carry no model at all."
    sentence = ", or ".join(ways)
    return f"{sentence[0].upper()}{sentence[1:]}."
