"""How terms hang together: correlation of their estimates, aliases under the plan's covariance.

Source:
    Box and Wilson (1951), JRSS B 13, 1-45, with P in place of the identity for runs that share
    batches or blocks: A = (X'PX)^-1 X'P Z.
"""

from __future__ import annotations

import numpy as np

from doe.appraisal.aliases import Alias, alias_table
from doe.appraisal.information import Information, root_of_precision
from doe.model.column import Column, column_label, model_columns
from doe.model.information import pseudo_matrix
from doe.model.matrix import model_matrix
from doe.model.region import Region
from doe.model.terms import Model
from doe.study.settings import FloatArray


def estimate_correlations(
    information: Information, region: Region, model: Model, values: FloatArray
) -> FloatArray:
    """Give the correlations of the estimates: B scaled to a unit diagonal.

    Shares stand as L-pseudo-components, as for variance inflation: in real proportions a narrow
    range of shares would tie all blending terms together without meaning.

    Args:
        information: Of the plan, for its covariance between runs.
        region: The region, for its coding.
        model: The model.
        values: Runs of the plan, shape (n, k), lab units.

    Returns:
        Shape (p, p); of no meaning where the model can't be estimated.
    """
    W = root_of_precision(information.P)
    B = np.linalg.pinv(W @ pseudo_matrix(values, region.coding, model))
    B = B @ B.T
    size = np.sqrt(np.diag(B))
    size = np.where(size > 0, size, 1.0)
    return np.asarray(np.clip(B / np.outer(size, size), -1.0, 1.0))


def aliases_of(
    information: Information, columns: tuple[Column, ...], beyond: Model, region: Region,
    values: FloatArray,
) -> tuple[Alias, ...]:  # fmt: skip
    """Find what the estimates take up of terms outside the model, blocks and batches allowed for.

    Args:
        information: Of the plan.
        columns: Columns of the model.
        beyond: Terms outside it.
        region: The region, for its coding.
        values: Runs of the plan, shape (n, k), lab units.
    """
    W = root_of_precision(information.P)
    Z = model_matrix(values, region.coding, beyond)
    return alias_table(W @ information.X, columns, W @ Z, model_columns(beyond, region.coding))


def column_labels(columns: tuple[Column, ...]) -> tuple[str, ...]:
    """Write the columns as tables show them."""
    return tuple(column_label(column) for column in columns)
