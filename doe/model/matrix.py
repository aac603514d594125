"""The model matrix: settings in, columns out."""

from __future__ import annotations

from doe.model.coding import Coding, code
from doe.model.column import Column, column_label, model_columns
from doe.model.expansion import Expansion, compile_columns, compile_model
from doe.model.term import Model
from doe.study.settings import FloatArray

__all__ = [
    "Column",
    "Expansion",
    "column_label",
    "compile_columns",
    "compile_model",
    "model_columns",
    "model_matrix",
]


def model_matrix(values: FloatArray, coding: Coding, model: Model) -> FloatArray:
    """Expand lab settings into the model matrix.

    Args:
        values: Shape (n, k), lab units, a named choice as the index of its level.
        coding: The settings.
        model: The terms.

    Returns:
        Shape (n, p), one column for each of `model_columns(model, coding)`.
    """
    return compile_model(coding, model).matrix(code(values, coding))
