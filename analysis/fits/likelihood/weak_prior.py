"""A weak prior that holds coefficients where the likelihood has no top; nowhere else is it used.

It says how far the fitted values of the runs may spread, whatever the coding, the terms or the
units; what all runs have in common is left free.
"""

from __future__ import annotations

from doe.study.settings import FloatArray

# Standard deviation of the fitted values over the runs, in units of the scatter that the family has
# (σ of a reading off the scale; the logistic curve of a rating, where 5 leads from 1 % to 99 % and
# back; ln counts). Our own choice, wide enough to leave any effect room that data could show.
PRIOR_SPREAD = 5.0


def prior_of(X: FloatArray, spread: float) -> FloatArray:
    """Give the precision, shape (p, p), of a prior on coefficients.

    Args:
        X: Shape (n, p), columns that the coefficients belong to.
        spread: Standard deviation that a mean run may have from the mean of all.
    """
    about = X - X.mean(axis=0)
    precision: FloatArray = about.T @ about / (len(X) * spread**2)
    return precision
