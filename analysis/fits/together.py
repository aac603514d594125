"""How the scatter of several responses goes together: correlations in each stratum.

A batch that came out thin may come out dull as well. With e_a = M_a y_a, what is left of a response
beside its own model, and quadratic forms Q_k, one a stratum,

    E[e_a' Q_k e_b] = Σ_l σ_ab,l tr(Q_k M_a G_l M_b'),

so that the covariances σ_ab,l solve as many equations as there are strata. With one model and no
strata this is E'E/(n − p). Variances are those of each response's own fit.

Source:
    Multivariate form of the moments of Henderson (1953), Biometrics 9, 226-252, method 3, as in
    Searle, Casella and McCulloch (1992), Variance Components, chapter 5; nearest correlation matrix
    after Higham (2002), IMA Journal of Numerical Analysis 22, 329-343. All from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import linalg

from analysis.fits.fit import Fit
from analysis.fits.fitted_response import FittedResponse, table_of
from analysis.fits.readings_on_scale import averaged
from analysis.fits.reml import whitening
from analysis.fits.strata_of_data import RUN, strata_of_data
from analysis.lab.response_data import ResponseData
from doe.model.strata import RESIDUAL, Stratum, make_strata
from doe.study.settings import FloatArray, IntArray, frozen_array

# Of the largest of the equations' singular values: below, the runs cannot tell strata apart.
_TOLD = 1e-8
# Steps of alternating projections, and the change at which they stand still.
_MOST_STEPS = 1000
_STILL = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Together:
    """The m responses that scatter in one stratum.

    Attributes:
        stratum: Its name; `residual` is what single runs scatter by, readings included.
        responses: Their names.
        sd: Of each, fitted scale, shape (m,): the root of its own component.
        correlation: Shape (m, m), positive semidefinite; 0 where nothing tells it.
        n: Runs that tell each pair, shape (m, m); 0 where it is not told.
    """

    stratum: str
    responses: tuple[str, ...]
    sd: FloatArray
    correlation: FloatArray
    n: IntArray

    def __post_init__(self) -> None:
        m = len(self.responses)
        if self.correlation.shape != (m, m) or self.sd.shape != (m,) or self.n.shape != (m, m):
            raise ValueError(f"{m} responses, correlation of shape {self.correlation.shape}")
        for name in ("sd", "correlation"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def covariance(self) -> FloatArray:
        """Covariance on the fitted scales, shape (m, m)."""
        covariance: FloatArray = self.correlation * np.outer(self.sd, self.sd)
        return covariance


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Part:
    """One response over its runs: columns, values, strata and the variances found."""

    run: tuple[int, ...]
    X: FloatArray
    y: FloatArray
    units: Mapping[str, IntArray]
    variances: Mapping[str, float]

    def told(self) -> tuple[str, ...]:
        """Name the strata in which it scatters."""
        return tuple(name for name, value in self.variances.items() if value > 0)


def responses_together(
    data: Mapping[str, ResponseData], fitted: Mapping[str, FittedResponse]
) -> dict[str, Together]:
    """Find the correlations of all responses that were fitted by least squares or REML.

    Args:
        data: Readings by response.
        fitted: Models by response. Ratings, counts and responses with readings off the scale are
            left out, as their runs have no residual on a scale of their own.

    Returns:
        By stratum, coarsest first; a stratum in which fewer than two responses scatter is left
        out. Responses with different strata (one per batch, one per sample) are not told together.
    """
    parts = {
        name: _part(data[name], one.fit)
        for name, one in fitted.items()
        if one.fit.method != "ml" and name in data
    }
    found: dict[tuple[str, str], tuple[int, dict[str, float]]] = {}
    for a, b in combinations(parts, 2):
        found[a, b] = _covariances(parts[a], parts[b])
    names = dict.fromkeys(name for part in parts.values() for name in part.variances)
    order = [*(name for name in names if name != RESIDUAL), RESIDUAL]
    every = {name: _together(name, parts, found) for name in order}
    return {name: one for name, one in every.items() if len(one.responses) > 1}


def coefficients_together(
    data: Mapping[str, ResponseData], fitted: Mapping[str, FittedResponse]
) -> dict[tuple[str, str, str], FloatArray]:
    """Find how the coefficients of two responses hang together, as they rest on the same units.

    With b = A y for each response and a scatter of covariance σ_ab in a stratum,

        Cov(b_a, b_b) = Σ_k σ_ab,k A_a Z_a,k Z_b,k' A_b'.

    Args:
        data: Readings by response.
        fitted: Models by response; those fitted by likelihood are left out.

    Returns:
        A_a Z_a,k Z_b,k' A_b', shape (p_a, p_b), surfaces alone, by (a, b, stratum), a before b.
    """
    parts = {
        name: _part(data[name], one.fit)
        for name, one in fitted.items()
        if one.fit.method != "ml" and name in data
    }
    solving = {
        name: _solving(part, len(fitted[name].fit.columns))
        for name, part in parts.items()
        if RESIDUAL in part.told()
    }
    found: dict[tuple[str, str, str], FloatArray] = {}
    for a, b in combinations(solving, 2):
        for stratum in parts[a].variances:
            if stratum in parts[b].variances:
                shared = _shared(parts[a], parts[b], stratum)
                found[a, b, stratum] = solving[a] @ shared @ solving[b].T
    return found


def nearest_correlation(matrix: FloatArray) -> FloatArray:
    """Find the correlation matrix that is nearest to a symmetric one with ones on its diagonal.

    Args:
        matrix: Shape (m, m).

    Returns:
        Symmetric, positive semidefinite, diagonal 1; the matrix itself where it is all that.

    Source:
        Higham (2002), algorithm 3.3, weights 1.

    Example:
        >>> nearest_correlation(np.array([[1.0, -2.0], [-2.0, 1.0]])).round(6)
        array([[ 1., -1.],
               [-1.,  1.]])
    """
    Y = (matrix + matrix.T) / 2
    if linalg.eigvalsh(Y)[0] >= 0 and np.all(np.diag(Y) == 1.0):
        return Y
    correction = np.zeros_like(Y)
    for _ in range(_MOST_STEPS):
        R = Y - correction
        X = _without_negative(R)
        correction = X - R
        last, Y = Y, X.copy()
        np.fill_diagonal(Y, 1.0)
        if np.abs(Y - last).max() <= _STILL:
            break
    # What is left of negative eigenvalues is rounding: scaling keeps the diagonal and the sign.
    X = _without_negative(Y)
    size = np.sqrt(np.diag(X))
    nearest: FloatArray = X / np.outer(size, size)
    np.fill_diagonal(nearest, 1.0)
    return (nearest + nearest.T) / 2


def _without_negative(matrix: FloatArray) -> FloatArray:
    values, vectors = linalg.eigh((matrix + matrix.T) / 2)
    clipped: FloatArray = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return clipped


def _part(data: ResponseData, fit: Fit) -> _Part:
    table, _, _ = table_of(data, fit.coding, fit.model)
    strata = strata_of_data(data)
    # Rows of single readings: each run stands by its first, as its units are the same.
    first = np.array([int(np.flatnonzero(strata.rows == i)[0]) for i in range(len(data))])
    units = {one.name: one.unit[first] for one in strata.strata.random if one.name != RUN}
    weights = fit.new_run_weights
    variances = {name: fit.components[name] for name in units if name in fit.components}
    # Scatter of single runs: of their own and of the mean of their readings.
    own = [name for name in fit.components if name not in units]
    variances[RESIDUAL] = sum(weights[name] * fit.components[name] for name in own)
    return _Part(
        run=data.run,
        X=table.matrix,
        y=averaged(data, fit.scale),
        units={name: unit for name, unit in units.items() if name in variances},
        variances=variances,
    )


def _covariances(a: _Part, b: _Part) -> tuple[int, dict[str, float]]:
    """Give how many runs two responses have in common, and their covariance by stratum."""
    common = [run for run in a.run if run in b.run]
    told = a.told()
    if set(a.variances) != set(b.variances) or RESIDUAL not in told or RESIDUAL not in b.told():
        return 0, {}
    rows_a = np.array([a.run.index(run) for run in common], dtype=np.int64)
    rows_b = np.array([b.run.index(run) for run in common], dtype=np.int64)
    shared = [name for name in told if name != RESIDUAL and name in b.told()]
    n = len(common)
    units = make_strata(n, [Stratum(name=k, unit=a.units[k][rows_a]) for k in shared]).random
    if {one.name for one in units} != set(shared) or n == 0:
        return 0, {}
    e_a, M_a = _left(a, rows_a, units)
    e_b, M_b = _left(b, rows_b, units)
    members = [(one.unit[:, None] == one.unit[None, :]).astype(np.float64) for one in units]
    G = [*members, np.eye(n)]
    # Means of units, and every run: forms that tell coarse strata from fine ones.
    Q = [*(one / one.sum(axis=1, keepdims=True) for one in members), np.eye(n)]
    system = np.array([[float(np.trace(q @ M_a @ g @ M_b.T)) for g in G] for q in Q])
    size = linalg.svdvals(system)
    if size[-1] <= _TOLD * size[0] or size[0] <= _TOLD:
        return 0, {}
    solved = linalg.solve(system, np.array([float(e_a @ q @ e_b) for q in Q]))
    return n, dict(zip((*(one.name for one in units), RESIDUAL), map(float, solved), strict=True))


def _left(part: _Part, rows: IntArray, units: Sequence[Stratum]) -> tuple[FloatArray, FloatArray]:
    """Give what the model leaves of some runs, shape (n,), and the projection M, shape (n, n)."""
    ratios = [part.variances[one.name] / part.variances[RESIDUAL] for one in units]
    root = whitening(units, np.array(ratios, dtype=np.float64), len(rows))
    X = part.X[rows]
    M = np.eye(len(rows)) - X @ linalg.pinv(root @ X) @ root
    return M @ part.y[rows], M


def _solving(part: _Part, n_surface: int) -> FloatArray:
    """Give A of b = A y, the coefficients of the surface alone, shape (p, n)."""
    n = len(part.run)
    told = [name for name in part.told() if name in part.units]
    strata = [Stratum(name=name, unit=part.units[name]) for name in told]
    ratios = [part.variances[name] / part.variances[RESIDUAL] for name in told]
    root = whitening(strata, np.array(ratios, dtype=np.float64), n)
    solving = np.asarray(linalg.pinv(root @ part.X) @ root, dtype=np.float64)
    return solving[:n_surface]


def _shared(a: _Part, b: _Part, stratum: str) -> FloatArray:
    """Tell which runs of one response share a unit with which of the other, shape (n_a, n_b)."""
    if stratum == RESIDUAL:
        return np.array([[float(one == other) for other in b.run] for one in a.run])
    unit_a, unit_b = a.units[stratum], b.units[stratum]
    # Units are numbered apart for each response: runs that both have tell which is which.
    place = {run: i for i, run in enumerate(b.run)}
    same = {int(unit_a[i]): int(unit_b[place[r]]) for i, r in enumerate(a.run) if r in place}
    alike = np.array([same.get(int(unit), -1) for unit in unit_a])
    shared: FloatArray = (alike[:, None] == unit_b[None, :]).astype(np.float64)
    return shared


def _together(
    stratum: str,
    parts: Mapping[str, _Part],
    found: Mapping[tuple[str, str], tuple[int, Mapping[str, float]]],
) -> Together:
    names = tuple(name for name, part in parts.items() if stratum in part.told())
    sd = np.array([parts[name].variances[stratum] ** 0.5 for name in names], dtype=np.float64)
    raw, n = np.eye(len(names)), np.diag([len(parts[name].run) for name in names])
    for (i, a), (j, b) in combinations(enumerate(names), 2):
        count, covariances = found[a, b]
        if stratum in covariances:
            r = covariances[stratum] / (sd[i] * sd[j])
            raw[i, j] = raw[j, i] = np.clip(r, -1.0, 1.0)
            n[i, j] = n[j, i] = count
    correlation = nearest_correlation(raw) if len(names) > 1 else raw
    return Together(
        stratum=stratum,
        responses=names,
        sd=sd,
        correlation=correlation,
        n=n.astype(np.int64).reshape(len(names), len(names)),
    )
