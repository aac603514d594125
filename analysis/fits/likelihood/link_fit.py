"""What maximum likelihood finds for ratings and counts, on the scale of their link."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.fits.likelihood.maximise import Maximum
from doe.study.settings import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LinkFit:
    """Parameters of a fit whose likelihood is not normal.

    Attributes:
        parameters: The family's own, in the family's order.
        covariance: Inverse observed information; the batch's sd last where it is above zero.
        robust: The same by clusters; None where they are too few.
        batch_sd: Between batches, scale of the link; 0 where none is seen, None without batches.
        log_likelihood: Without penalty.
        maximum: The search.
        runs_off: Direction of the parameters along which the likelihood rises for ever; None where
            it has a top. With one, a weak prior holds them.
    """

    parameters: FloatArray
    covariance: FloatArray
    robust: FloatArray | None
    batch_sd: float | None
    log_likelihood: float
    maximum: Maximum
    runs_off: FloatArray | None
