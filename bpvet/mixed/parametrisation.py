"""Charts: unconstrained parameters ψ for variances that may sit on a boundary.

An animal's covariance is G = L Lᵀ with L a sum of patterns: entries of a log-Cholesky factor
while G has full rank; when a direction of G loses its variance, the plain entries of a factor
with fewer columns. A variance of its own (visit, reading, group, an uncorrelated slope) is the
square of exp(ψ), or is held at a value, zero included.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass, replace
from bpvet.mixed.contributions import Variances
from bpvet.mixed.stacks import Array, lower_triangle


@dataclass(frozen=True, eq=False)
class Parametrisation:
    """A map ψ → φ. ψ holds the free entries of L, then the logs of the free SDs.

    Parameters
    ----------
    fixed : (q, q) float
        Part of L that is held.
    patterns : (f, q, q) float
        What each free entry of L multiplies.
    log : (f,) bool
        Whether ψ is the logarithm of the entry.
    block : (q, r) float
        Embedding of the correlated block whose rank may fall; r may be 0.
    column : int
        First column of L that the block uses.
    rank : int
        Columns of the block in use.
    candidates : (d, q) float
        Directions of uncorrelated effects that may be left out and given back.
    sds : (s,) float
        SDs held fixed, NaN where free: group (if any), visits, residuals.
    loose : (s,) bool
        SDs that may be left out at zero and given back.
    grouped : bool
    visits : int
    """

    fixed: Array
    patterns: Array
    log: NDArray[np.bool_]
    block: Array
    column: int
    rank: int
    candidates: Array
    sds: Array
    loose: NDArray[np.bool_]
    grouped: bool
    visits: int

    @property
    def own(self) -> int:
        """Return how many free entries of L stand outside the block."""
        r, k = self.block.shape[1], self.rank
        inside = r * (r + 1) // 2 if k == r else r * k - k * (k - 1) // 2
        return int(len(self.log) - inside)

    def entries(self, psi: Array) -> Array:
        """Return the free entries of L."""
        raw = psi[: len(self.log)]
        return np.where(self.log, np.exp(np.where(self.log, raw, 0.0)), raw)

    def factor(self, psi: Array) -> Array:
        """Return L."""
        return self.fixed + np.einsum("f,fij->ij", self.entries(psi), self.patterns)

    def variances(self, psi: Array) -> Variances:
        """Return the variances at ψ."""
        sds = self.sds.copy()
        sds[np.isnan(sds)] = np.exp(psi[len(self.log) :])
        rest = sds[1:] if self.grouped else sds
        group = float(sds[0]) ** 2 if self.grouped else 0.0
        return Variances(
            self.factor(psi), group, rest[: self.visits] ** 2, rest[self.visits :] ** 2
        )

    def jacobian(self, psi: Array) -> Array:
        """Return ∂φ/∂ψ, (φ, ψ)."""
        lower = lower_triangle(len(self.fixed))
        factor, entries = self.factor(psi), self.entries(psi)
        size = len(lower[0]) + len(self.sds)
        result = np.zeros((size, len(psi)))
        for j, pattern in enumerate(self.patterns):
            change = pattern @ factor.T
            change = (change + change.T) * (entries[j] if self.log[j] else 1.0)
            result[: len(lower[0]), j] = change[lower]
        free = np.flatnonzero(np.isnan(self.sds))
        at = len(self.log) + np.arange(len(free))
        result[len(lower[0]) + free, at] = 2.0 * np.exp(2.0 * psi[len(self.log) :])
        return result

    def bend(self, psi: Array, gradient: Array) -> Array:
        """Return Σ gradient · ∂²φ/∂ψ², the chart's own part of a Hessian."""
        q = len(self.fixed)
        # The derivative by G as a symmetric matrix from that by its lower triangle.
        slope = np.zeros((q, q))
        rows, columns = lower_triangle(q)
        slope[rows, columns] += gradient[: len(rows)] / 2.0
        slope[columns, rows] += gradient[: len(rows)] / 2.0
        entries, factor = self.entries(psi), self.factor(psi)
        speed = np.where(self.log, entries, 1.0)
        f = len(self.log)
        result = np.zeros((len(psi), len(psi)))
        pairs = np.einsum("aij,bkj,ik->ab", self.patterns, self.patterns, slope)
        result[:f, :f] = 2.0 * pairs * np.outer(speed, speed)
        straight = 2.0 * np.einsum("aij,kj,ik->a", self.patterns, factor, slope)
        result[range(f), range(f)] += np.where(self.log, straight * entries, 0.0)
        free = np.flatnonzero(np.isnan(self.sds))
        at = f + np.arange(len(free))
        lower = q * (q + 1) // 2
        result[at, at] += 4.0 * np.exp(2.0 * psi[f:]) * gradient[lower + free]
        return result


def full_parametrisation(
    q: int, correlated: bool, scalars: int, grouped: bool, visits: int
) -> Parametrisation:
    """Return the chart of a model with nothing held.

    Parameters
    ----------
    q : int
        Effects of an animal.
    correlated : bool
        Whether their covariances are free.
    scalars : int
        How many variances stand alone (group, visits, residuals).
    grouped : bool
    visits : int
    """
    free = np.full(scalars, np.nan)
    if correlated:
        return block_parametrisation(np.zeros((q, q)), np.eye(q), 0, free, grouped, visits)
    patterns = np.stack([np.outer(e, e) for e in np.eye(q)])
    nothing = np.zeros((q, 0))
    log, loose = np.ones(q, bool), np.ones(scalars, bool)
    return Parametrisation(
        np.zeros((q, q)), patterns, log, nothing, 0, 0, np.eye(q), free, loose, grouped, visits
    )


def block_parametrisation(
    fixed: Array, block: Array, column: int, sds: Array, grouped: bool, visits: int
) -> Parametrisation:
    """Return a chart whose block is a full log-Cholesky factor."""
    r = block.shape[1]
    patterns, log = _full_patterns(block, column)
    none = np.zeros((0, len(fixed)))
    loose = np.ones(len(sds), bool)
    return Parametrisation(
        fixed, patterns, log, block, column, r, none, sds, loose, grouped, visits
    )


def _full_patterns(block: Array, column: int) -> tuple[Array, NDArray[np.bool_]]:
    q, r = block.shape
    rows, columns = lower_triangle(r)
    patterns = np.zeros((len(rows), q, q))
    for j, (row, at) in enumerate(zip(rows, columns, strict=True)):
        patterns[j, :, column + at] = block[:, row]
    return patterns, rows == columns


def start_of(parametrisation: Parametrisation, factor: Array, sds: Array) -> Array:
    """Return ψ of a full chart without held parts at L = factor (lower) and these SDs."""
    values = np.einsum("fij,ij->f", parametrisation.patterns, factor)
    logs = np.log(np.where(parametrisation.log, values, 1.0))
    free = np.isnan(parametrisation.sds)
    return np.concatenate([np.where(parametrisation.log, logs, values), np.log(sds[free])])


def block_factor(parametrisation: Parametrisation, psi: Array) -> Array:
    """Return the block's own factor, (r, rank)."""
    inside = np.einsum(
        "f,fij->ij",
        parametrisation.entries(psi)[parametrisation.own :],
        parametrisation.patterns[parametrisation.own :],
    )
    columns = inside[:, parametrisation.column : parametrisation.column + parametrisation.rank]
    if parametrisation.block.shape == (1, 1):
        return columns / parametrisation.block[0, 0]
    return np.linalg.pinv(parametrisation.block) @ columns


def with_block(
    parametrisation: Parametrisation, psi: Array, factor: Array
) -> tuple[Parametrisation, Array]:
    """Return chart and ψ with the block's factor (r, k) put in place of its present one.

    With k = r the block is a log-Cholesky factor again; with k < r its entries are plain, one
    row for each column but the last being bare to the right, so that no rotation is left free.
    """
    count, r = parametrisation.own, parametrisation.block.shape[1]
    k = factor.shape[1]
    outside = psi[:count], psi[len(parametrisation.log) :]
    if k == r:
        lower = np.linalg.cholesky(factor @ factor.T)
        patterns, log = _full_patterns(parametrisation.block, parametrisation.column)
        rows, columns = lower_triangle(r)
        values = lower[rows, columns]
        values = np.where(log, np.log(np.where(log, values, 1.0)), values)
    else:
        patterns, values = _thin_patterns(parametrisation, factor)
        log = np.zeros(len(values), bool)
    changed = replace(
        parametrisation,
        patterns=np.concatenate([parametrisation.patterns[:count], patterns]),
        log=np.concatenate([parametrisation.log[:count], log]),
        rank=k,
    )
    return changed, np.concatenate([outside[0], values, outside[1]])


def without_smallest(parametrisation: Parametrisation, psi: Array) -> tuple[Parametrisation, Array]:
    """Return chart and ψ without the direction of the block that varies least."""
    left, sizes, _ = np.linalg.svd(block_factor(parametrisation, psi), full_matrices=False)
    return with_block(parametrisation, psi, left[:, :-1] * sizes[:-1])


def _thin_patterns(parametrisation: Parametrisation, factor: Array) -> tuple[Array, Array]:
    r, k = factor.shape
    order = np.argsort(-np.linalg.norm(factor, axis=1), kind="stable") if k else np.arange(r)
    turned = np.linalg.qr(factor[order].T)[1].T if k else factor
    patterns, values = [], []
    for depth, row in enumerate(order):
        for at in range(min(depth + 1, k)):
            pattern = np.zeros((len(parametrisation.block), len(parametrisation.block)))
            pattern[:, parametrisation.column + at] = parametrisation.block[:, row]
            patterns.append(pattern)
            values.append(turned[depth, at])
    q = len(parametrisation.block)
    return np.array(patterns).reshape(-1, q, q), np.array(values, dtype=float)


def without_entry(
    parametrisation: Parametrisation, psi: Array, entry: int
) -> tuple[Parametrisation, Array]:
    """Return chart and ψ with one entry of L outside the block held at zero."""
    keep = np.arange(len(parametrisation.log)) != entry
    changed = replace(
        parametrisation, patterns=parametrisation.patterns[keep], log=parametrisation.log[keep]
    )
    return changed, np.delete(psi, entry)


def with_held(parametrisation: Parametrisation, scalar: int, sd: float) -> Parametrisation:
    """Return the chart with one SD held for good; ψ must have lost its place."""
    sds, loose = parametrisation.sds.copy(), parametrisation.loose.copy()
    sds[scalar], loose[scalar] = sd, False
    return replace(parametrisation, sds=sds, loose=loose)


def with_entry(
    parametrisation: Parametrisation, psi: Array, pattern: Array, value: float
) -> tuple[Parametrisation, Array]:
    """Return chart and ψ with one more positive entry of L outside the block."""
    changed = replace(
        parametrisation,
        patterns=np.concatenate([pattern[None], parametrisation.patterns]),
        log=np.concatenate([[True], parametrisation.log]),
    )
    return changed, np.concatenate([[np.log(value)], psi])


def with_sd(
    parametrisation: Parametrisation, psi: Array, scalar: int, sd: float
) -> tuple[Parametrisation, Array]:
    """Return chart and ψ with one SD held (a number) or set free at `sd` (if it was held)."""
    sds, free = parametrisation.sds.copy(), np.isnan(parametrisation.sds)
    at = len(parametrisation.log) + int(free[:scalar].sum())
    if free[scalar]:
        sds[scalar] = sd
        return replace(parametrisation, sds=sds), np.delete(psi, at)
    sds[scalar] = np.nan
    return replace(parametrisation, sds=sds), np.insert(psi, at, np.log(sd))
