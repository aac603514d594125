"""Newton's method with safeguards, the choice among starts, and the check of the nodes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.fits.likelihood.marginal import Evaluation, LikelihoodTask, evaluate
from doe.study.settings import FloatArray

# Half the rise that the next step promises, in units of the log-likelihood.
_CLOSE = 1e-12
_STEPS, _HALVINGS = 100, 40
# With too few nodes value and slope disagree by this little; more nodes then go on from there.
_GAIN_OF_ROUNDING, _PROMISE_OF_ROUNDING = 1e-9, 1e-5
# More nodes must change the log-likelihood by less than this.
NODES_AGREE = 1e-8
_NODES = (31, 61, 121, 241)
# Curvatures below this part of the largest count as this much: flat directions take long steps.
_FLAT = 1e-10
# Batches that differ by less than this part of the rows' scatter do not differ.
_NO_SPREAD = 1e-4
_SPREAD_STARTS = (0.5, 1.5)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Maximum:
    """Where a likelihood is highest.

    Attributes:
        at: The parameters; with batches τ is the last and zero or more.
        evaluation: The likelihood there.
        is_found: Whether the search came to rest.
        has_spread: Whether τ is a parameter and above zero.
        nodes: Nodes of the quadrature that sufficed; 0 without batches.
        nodes_change: What twice the nodes change of the log-likelihood.
    """

    at: FloatArray
    evaluation: Evaluation
    is_found: bool
    has_spread: bool = False
    nodes: int = 0
    nodes_change: float = 0.0

    @property
    def information(self) -> FloatArray:
        """Observed information of the parameters that are free; τ at zero is not."""
        q = len(self.at) if self.has_spread or not self.nodes else len(self.at) - 1
        information: FloatArray = -self.evaluation.hessian[:q, :q]
        return information


def maximise(task: LikelihoodTask, start: FloatArray) -> Maximum | None:
    """Find the highest likelihood.

    With batches it is looked for from no difference between them and from two sizes of it, as zero
    can be a lower top beside a higher one.

    Args:
        task: The likelihood.
        start: Shape (q,), inside the domain.

    Returns:
        None where the start has no likelihood.
    """
    plain = _climb(replace(task, batch=None), start, 0)
    if plain is None or task.batch is None:
        return plain
    nodes = _NODES[0]
    tops = [_climb(task, np.append(plain.at, tau), nodes) for tau in _SPREAD_STARTS]
    zero = evaluate(task, np.append(plain.at, 0.0), nodes)
    if zero is not None:
        tops.append(Maximum(at=np.append(plain.at, 0.0), evaluation=zero, is_found=plain.is_found))
    found = [top for top in tops if top is not None]
    best = max(found, key=lambda top: top.evaluation.value)
    if zero is not None and best.evaluation.value <= zero.value + NODES_AGREE:
        best = found[-1]
    return _checked(task, best)


def _checked(task: LikelihoodTask, best: Maximum) -> Maximum:
    """Take more nodes until twice as many change nothing."""
    if abs(best.at[-1]) < _NO_SPREAD:
        at = np.append(best.at[:-1], 0.0)
        return replace(best, at=at, has_spread=False, nodes=_NODES[0])
    for nodes, more in pairwise(_NODES):
        here, there = evaluate(task, best.at, nodes), evaluate(task, best.at, more)
        change = abs(there.value - here.value) if here and there else np.inf
        if change < NODES_AGREE or more == _NODES[-1]:
            break
        best = _climb(task, best.at, more) or best
    # The likelihood is the same at −τ.
    at = np.append(best.at[:-1], abs(best.at[-1]))
    evaluation = evaluate(task, at, nodes) or best.evaluation
    return replace(
        best, at=at, evaluation=evaluation, has_spread=True, nodes=nodes, nodes_change=float(change)
    )


def _climb(task: LikelihoodTask, start: FloatArray, nodes: int) -> Maximum | None:
    at, here = start.astype(np.float64), evaluate(task, start, nodes)
    if here is None:
        return None
    for _ in range(_STEPS):
        step = _step(here)
        promise = float(here.gradient @ step)
        if promise < _CLOSE:
            # One step more, whose gain is below the rounding of the value.
            last = evaluate(task, at + step, nodes)
            at, here = (at + step, last) if last is not None else (at, here)
            return Maximum(at=at, evaluation=here, is_found=True, nodes=nodes)
        size, there = 1.0, None
        for _ in range(_HALVINGS):
            there = evaluate(task, at + size * step, nodes)
            if there is not None and there.value >= here.value + 1e-4 * size * promise:
                break
            # Where the promise is below the rounding of the value, the slope must do.
            if there is not None and _is_flatter(there, here, promise):
                break
            size, there = size / 2.0, None
        if there is None:
            at_rest = promise < 1e-7
            return Maximum(at=at, evaluation=here, is_found=at_rest, nodes=nodes)
        gain = there.value - here.value
        at, here = at + size * step, there
        if gain < _GAIN_OF_ROUNDING and size < 1.0 and promise < _PROMISE_OF_ROUNDING:
            return Maximum(at=at, evaluation=here, is_found=True, nodes=nodes)
    return Maximum(at=at, evaluation=here, is_found=False, nodes=nodes)


def _is_flatter(there: Evaluation, here: Evaluation, promise: float) -> bool:
    rounding = 64 * float(np.finfo(np.float64).eps) * max(1.0, abs(here.value))
    smaller = np.abs(there.gradient).max() < np.abs(here.gradient).max()
    return bool(promise < rounding and smaller and there.value >= here.value - rounding)


def _step(here: Evaluation) -> FloatArray:
    # Scaled to unit diagonal; negative curvatures are turned about, so that every step rises.
    H = -here.hessian
    scale = 1.0 / np.sqrt(np.maximum(np.abs(np.diag(H)), 1e-300))
    values, vectors = np.linalg.eigh(H * np.outer(scale, scale))
    bend = np.maximum(np.abs(values), _FLAT * np.abs(values).max())
    step: FloatArray = scale * (vectors @ ((vectors.T @ (scale * here.gradient)) / bend))
    return step
