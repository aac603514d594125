"""All modelled responses together: what one future batch gives, as uncertain as the models are.

Given its components a response at x is normal about x'b̂ with variance Σ_k σ²_k x'S_k x for the
coefficients (S_k = A G_k A' with b̂ = A y) and σ²_k for each new unit; two responses go together by

    Σ_k ρ_k σ_a,k σ_b,k x_a' A_a G_k A_b' x_b   and   ρ_k σ_a,k σ_b,k.

So each draw needs one normal a response for the models and one for each stratum, whatever the
number of terms; averaged over drawn components this is the posterior predictive distribution, and
with one stratum each response is exactly t about its prediction.

Source:
    Peterson (2004), Journal of Quality Technology 36, 139-153, for the probability over the
    posterior predictive; Zellner (1971), An Introduction to Bayesian Inference in Econometrics,
    chapter 8, for several responses. From memory. Correlations stand at their estimates; draws of
    the variances of two responses go together as those of a Wishart matrix do, by ρ².
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import linalg

from analysis.fits.together import Together
from analysis.risk.response_part import TEST, ResponsePart
from doe.model.coding import Coding, code
from doe.model.strata import RESIDUAL
from doe.study.settings import FloatArray

Pair = tuple[str, str, str]
# Below this part of its own variance, what a response has beside the others is rounding.
_NOTHING_OWN = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shared:
    """What responses have in common, from their data; empty where nothing is known of it.

    Attributes:
        together: Correlations by stratum.
        coefficients: Of coefficients, by (a, b, stratum); see `coefficients_together`.
        test_share: Which part of the lowest variance is test, by response.
    """

    together: Mapping[str, Together] = field(default_factory=dict)
    coefficients: Mapping[Pair, FloatArray] = field(default_factory=dict)
    test_share: Mapping[str, float] = field(default_factory=dict)

    def correlation(self, stratum: str, names: Sequence[str]) -> FloatArray:
        """Give the correlations of some responses in a stratum, 0 where none is known."""
        found = np.eye(len(names))
        known = self.together.get(stratum)
        if known is None:
            return found
        for i, a in enumerate(names):
            for j, b in enumerate(names):
                if a != b and a in known.responses and b in known.responses:
                    place = known.responses.index(a), known.responses.index(b)
                    found[i, j] = known.correlation[place]
        return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NewUnit:
    """One new unit of a stratum, and what it adds to each of the m responses.

    Attributes:
        stratum: Its name in the fits.
        source: What it belongs to.
        component: Shape (m,), which component of each; −1 where it has none.
        weight: Shape (m,), how much of it.
        root: Shape (m, m), R = root root'.
    """

    stratum: str
    source: str
    component: tuple[int, ...]
    weight: FloatArray
    root: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placed:
    """The models at n settings (or one, that stands for all).

    Attributes:
        centre: x'b̂, shape (n, m), fitted scales.
        own: For each response x'S_k x, shape (n, r).
        cross: For each pair i > j of responses: stratum and ρ x_i'M x_j, shape (n,).
    """

    centre: FloatArray
    own: tuple[FloatArray, ...]
    cross: Mapping[tuple[int, int], tuple[tuple[str, FloatArray], ...]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Noise:
    """What is drawn besides the settings, on the fitted scales.

    Attributes:
        models: Shape (n, m), from the coefficients.
        units: By source, shape (n, m).
    """

    models: FloatArray
    units: Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Posterior:
    """The m modelled responses.

    Attributes:
        coding: The settings.
        parts: The responses.
        shared: What they have in common.
        units: New units, coarsest first.
        strata: Names of all components, and the root of how their draws go together.
    """

    coding: Coding
    parts: tuple[ResponsePart, ...]
    shared: Shared
    units: tuple[NewUnit, ...]
    strata: Mapping[str, FloatArray]

    @property
    def columns(self) -> int:
        """How many standard normal draws it takes."""
        return len(self.parts) * (1 + len(self.units) + len(self.strata))

    @property
    def model_columns(self) -> tuple[int, ...]:
        """Columns of draws that stand for the models: coefficients and components."""
        m = len(self.parts)
        return (*range(m), *range(m * (1 + len(self.units)), self.columns))

    def unit_columns(self, source: str) -> tuple[int, ...]:
        """Columns of draws of one source of new units."""
        m = len(self.parts)
        return tuple(
            m * (1 + k) + i for k, unit in enumerate(self.units) if unit.source == source
            for i in range(m)
        )  # fmt: skip

    def test_draws(self, z: FloatArray) -> FloatArray:
        """Give the draws of the test of single runs, (n, m): ratings and counts read off them."""
        m = len(self.parts)
        for k, unit in enumerate(self.units):
            if (unit.stratum, unit.source) == (RESIDUAL, TEST):
                return z[:, m * (1 + k) : m * (2 + k)]
        return np.zeros((len(z), m))

    def place(self, values: FloatArray) -> Placed:
        """Put the models to settings, shape (n, k), lab units."""
        coded = code(values, self.coding)
        # One row a term, so that sums over terms run along memory.
        expansions = dict.fromkeys(part.expansion for part in self.parts)
        matrices = {one: np.ascontiguousarray(one.matrix(coded).T) for one in expansions}
        X = [matrices[part.expansion] for part in self.parts]
        centre = [part.fit.coefficients @ x for x, part in zip(X, self.parts, strict=True)]
        own = tuple(
            np.stack([_quadratic(x, S, x) for S in part.spread], axis=1)
            for x, part in zip(X, self.parts, strict=True)
        )
        names = [part.name for part in self.parts]
        cross: dict[tuple[int, int], tuple[tuple[str, FloatArray], ...]] = {}
        for i in range(len(X)):
            for j in range(i):
                found = [
                    (stratum, rho * _quadratic(X[i], M, X[j]))
                    for stratum, rho, M in self._pair(names[i], names[j])
                ]
                if found:
                    cross[i, j] = tuple(found)
        return Placed(centre=np.stack(centre, axis=1), own=own, cross=cross)

    def noise(self, placed: Placed, z: FloatArray, *, certain: bool = False) -> Noise:
        """Draw what the models and new units add.

        Args:
            placed: The models at n settings, or at one.
            z: Standard normal draws, shape (n, columns).
            certain: Whether to hold all components at their estimates.
        """
        m = len(self.parts)
        variances = self._variances(z, certain=certain)
        units: dict[str, FloatArray] = {}
        for k, unit in enumerate(self.units):
            standard = z[:, m * (1 + k) : m * (2 + k)] @ unit.root.T
            added = np.zeros(standard.shape)
            for i, c in enumerate(unit.component):
                if c >= 0:
                    added[:, i] = np.sqrt(unit.weight[i] * variances[i][:, c]) * standard[:, i]
            units[unit.source] = units.get(unit.source, 0.0) + added
        C = self._model_covariance(placed, variances)
        return Noise(models=_correlated(C, z[:, :m]), units=units)

    def drawn_variances(self, z: FloatArray) -> tuple[FloatArray, ...]:
        """Draw the components of each response by draws (n, columns), each of shape (n, r)."""
        return tuple(self._variances(z, certain=False))

    def covariance(
        self, placed: Placed, variances: Sequence[FloatArray], *, tested: bool = True
    ) -> list[list[FloatArray]]:
        """Give the lower half of the covariance of new batches, given their components.

        Args:
            placed: The models at n settings.
            variances: Components of each response, shape (n, r) each.
            tested: Whether the test counts as well.

        Returns:
            Row i holds entries 0 to i, each of shape (n,), fitted scales.
        """
        C = self._model_covariance(placed, variances)
        for unit in self.units:
            if unit.source == TEST and not tested:
                continue
            R = unit.root @ unit.root.T
            sds = {
                i: np.sqrt(unit.weight[i] * variances[i][:, c])
                for i, c in enumerate(unit.component)
                if c >= 0
            }
            for i, sd in sds.items():
                for j in sds:
                    if j <= i and R[i, j] != 0.0:
                        C[i][j] = C[i][j] + R[i, j] * sd * sds[j]
        return C

    def _pair(self, a: str, b: str) -> list[tuple[str, float, FloatArray]]:
        found = []
        for (one, other, stratum), M in self.shared.coefficients.items():
            if {one, other} == {a, b}:
                rho = self.shared.correlation(stratum, (a, b))[0, 1]
                if rho != 0.0:
                    found.append((stratum, float(rho), M if one == a else M.T))
        return found

    def _variances(self, z: FloatArray, *, certain: bool) -> list[FloatArray]:
        """Draw the components of each response, shape (n, r)."""
        m = len(self.parts)
        first = m * (1 + len(self.units))
        if certain:
            return [part.components.estimates[None, :] for part in self.parts]
        drawn = {
            name: z[:, first + m * k : first + m * (k + 1)] @ root.T
            for k, (name, root) in enumerate(self.strata.items())
        }
        return [
            part.components.drawn(np.stack([drawn[name][:, i] for name in part.strata], axis=1))
            for i, part in enumerate(self.parts)
        ]

    def _model_covariance(
        self, placed: Placed, variances: Sequence[FloatArray]
    ) -> list[list[FloatArray]]:
        """Give the lower half of the covariance of x'b, (m, m), entries of shape (n,) or (1,)."""
        C: list[list[FloatArray]] = []
        for i in range(len(self.parts)):
            row = []
            for j in range(i):
                entry = np.zeros(1)
                for stratum, product in placed.cross.get((i, j), ()):
                    sds = self._sd(i, stratum, variances) * self._sd(j, stratum, variances)
                    entry = entry + product * sds
                row.append(entry)
            row.append((placed.own[i] * variances[i]).sum(axis=1))
            C.append(row)
        return C

    def _sd(self, i: int, stratum: str, variances: Sequence[FloatArray]) -> FloatArray:
        """Give the standard deviation of a response in a stratum; of single runs all together."""
        part = self.parts[i]
        names = ("run", RESIDUAL) if stratum == RESIDUAL else (stratum,)
        weights = part.fit.new_run_weights
        places = [(k, weights[n]) for k, n in enumerate(part.strata) if n in names]
        return np.sqrt(sum(weight * variances[i][:, k] for k, weight in places))


def make_posterior(
    coding: Coding, parts: Sequence[ResponsePart], shared: Shared | None = None
) -> Posterior:
    """Put modelled responses together."""
    shared = shared or Shared()
    names = [part.name for part in parts]
    strata = dict.fromkeys(name for part in parts for name in part.strata)
    return Posterior(
        coding=coding,
        parts=tuple(parts),
        shared=shared,
        units=_new_units(parts, shared),
        strata={
            # Variances drawn from one Wishart matrix correlate by the square of ρ.
            name: _root(shared.correlation(name, names) ** 2)
            for name in strata
        },
    )


def _new_units(parts: Sequence[ResponsePart], shared: Shared) -> tuple[NewUnit, ...]:
    names = [part.name for part in parts]
    keys = dict.fromkeys((unit.stratum, unit.source) for part in parts for unit in part.units)
    if any(part.is_told_by_class for part in parts):
        keys.setdefault((RESIDUAL, TEST))
    found = []
    for stratum, source in keys:
        component, weight = [-1] * len(parts), np.zeros(len(parts))
        for i, part in enumerate(parts):
            for unit in part.units:
                if (unit.stratum, unit.source) == (stratum, source):
                    component[i], weight[i] = unit.component, unit.weight
        found.append(
            NewUnit(
                stratum=stratum,
                source=source,
                component=tuple(component),
                weight=weight,
                root=_root(shared.correlation(stratum, names)),
            )
        )
    return tuple(found)


def _root(matrix: FloatArray) -> FloatArray:
    """Give B with B B' = a positive semidefinite matrix."""
    values, vectors = linalg.eigh(matrix)
    root: FloatArray = vectors * np.sqrt(np.maximum(values, 0.0))
    # The symmetric root keeps each response next to its own column of draws.
    return root @ vectors.T


def _quadratic(left: FloatArray, M: FloatArray, right: FloatArray) -> FloatArray:
    """Give x'M y of n pairs: (p, n), (p, q) and (q, n) to (n,)."""
    found: FloatArray = np.einsum("qn,qn->n", M.T @ left, right)
    return found


def _correlated(C: Sequence[Sequence[FloatArray]], z: FloatArray) -> FloatArray:
    """Turn standard normals, (n, m), into normals of covariance C, draw by draw."""
    L = factor_of(C)
    out = np.zeros(z.shape)
    for i in range(len(C)):
        for j in range(i + 1):
            out[:, i] += L[i][j] * z[:, j]
    return out


def factor_of(C: Sequence[Sequence[FloatArray]]) -> list[list[FloatArray]]:
    """Give Cholesky's factor of covariances, all draws at once, lower half by rows.

    What rounding leaves of nothing stays nothing.
    """
    L: list[list[FloatArray]] = []
    for i in range(len(C)):
        row: list[FloatArray] = []
        for j in range(i):
            left = C[i][j] - sum(row[k] * L[j][k] for k in range(j))
            with np.errstate(divide="ignore", invalid="ignore"):
                row.append(np.where(L[j][j] > 0.0, left / L[j][j], 0.0))
        own = C[i][i] - sum(one**2 for one in row)
        row.append(np.sqrt(np.where(own > _NOTHING_OWN * C[i][i], own, 0.0)))
        L.append(row)
    return L
