"""The same whitening from one spectrum for each rho: what the nodes share is done once.

With the split rho between visit noise and wander fixed, the covariance of the session means is
e^{2 lt} S + e^{2 lr} D with D = diag(1/k). One eigendecomposition of D^{-½} S D^{-½} diagonalises
it for every (lt, lr), so that each node costs one small matrix product and no filter; where every
session has equally many readings, one does so for every rho too. It is the faster way for the
records that there are; the filter stays for long records, where its linear cost wins, and for
bridged series, whose noise groups do not share one D.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array, Batch

#: From this many sessions on the filter is the faster way: for a batch, and for a few animals,
#: where its steps cost more than their arithmetic.
LONGEST, LONGEST_FOR_FEW = 16, 48
FEW_ANIMALS = 4


@dataclass(frozen=True, eq=False)
class Basis:
    """Eigenvalues and eigenvectors of D^{-½} S D^{-½} of B animals at R values of rho.

    They know of days and counts of readings only, so that designs of the same sessions share them.
    Where an animal's sessions have equally many readings, D is a multiple of the identity, and the
    eigenvectors are those of the wander alone, whatever rho.

    Parameters
    ----------
    value : (B, R, N)
        Eigenvalues; zero where padded.
    vector : (B, R, N, N), or (B, 1, N, N) where every rho of every animal shares them
        Eigenvectors.
    """

    value: Array
    vector: Array

    def take(self, animals: NDArray[np.int64]) -> Basis:
        """Return the basis of the animals at these positions."""
        return Basis(self.value[animals], self.vector[animals])


def basis(batch: Batch, rho: Array) -> Basis:
    """Return the basis of a batch at rho (B, R) = log(sw/sv)."""
    share = 1 / (1 + np.exp(-2 * rho))
    even = even_counts(batch)
    shared, rest = np.flatnonzero(even), np.flatnonzero(~even)
    if rest.size == 0:
        value, vector = _one_for_all(batch, share)
        return Basis(value, vector[:, None])
    if shared.size == 0:
        return Basis(*_one_each(batch, share))
    n = batch.sessions
    found = Basis(np.empty((*rho.shape, n)), np.empty((*rho.shape, n, n)))
    found.value[rest], found.vector[rest] = _one_each(batch.take(rest), share[rest])
    value, vector = _one_for_all(batch.take(shared), share[shared])
    found.value[shared], found.vector[shared] = value, vector[:, None]
    return found


def even_counts(batch: Batch) -> NDArray[np.bool_]:
    """Return whose sessions have equally many readings, (B,)."""
    return np.asarray(np.all((batch.k == batch.k[0]) | ~batch.live, axis=0))


def _one_for_all(batch: Batch, share: Array) -> tuple[Array, Array]:
    """Return values (B, R, N) and vectors (B, N, N) of animals with equally many readings."""
    n, live = batch.sessions, batch.live.T
    wander = correlations(batch)
    # Below every eigenvalue of a correlation, so that padded sessions come first and alone.
    wander[:, np.arange(n), np.arange(n)] -= np.where(live, 0.0, 1.0)
    value, vector = np.linalg.eigh(wander)
    padded = n - live.sum(axis=1)
    value = share[:, :, None] * np.maximum(value, 0.0)[:, None] + (1 - share)[:, :, None]
    value *= np.where(np.arange(n) < padded[:, None], 0.0, batch.k[0][:, None])[:, None]
    return value, vector


def _one_each(batch: Batch, share: Array) -> tuple[Array, Array]:
    """Return values (B, R, N) and vectors (B, R, N, N), each rho's own."""
    root_k = np.where(batch.live, np.sqrt(batch.k), 0.0).T
    scale = root_k[:, :, None] * root_k[:, None]
    wander = (correlations(batch) * scale)[:, None]
    matrix = share[:, :, None, None] * wander
    n = np.arange(batch.sessions)
    matrix[:, :, n, n] += (1 - share)[:, :, None] * (root_k**2)[:, None]
    value, vector = np.linalg.eigh(matrix)
    return np.maximum(value, 0.0), vector


def correlations(batch: Batch) -> Array:
    """Return the correlations of the wander at the sessions, (B, N, N); zero where padded."""
    day, live = batch.day.T, batch.live.T
    gap = np.abs(day[:, :, None] - day[:, None])
    found = np.exp(-gap / batch.wander_days[:, None, None])
    found *= live[:, :, None] & live[:, None]
    return np.asarray(found)


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Series of B animals, diagonalised at R values of rho: Q = B·R rows, rho by rho.

    Parameters
    ----------
    value : (N, Q)
        Eigenvalues of D^{-½} S D^{-½}; zero where padded.
    product : (N, P, Q), or (N, P, B) where the rho of an animal share them
        Products of the rotated columns of [X, y], for the P = C(C + 1)/2 pairs of the lower
        triangle, column by column.
    log_d : (B,)
        log |D|.
    """

    value: Array
    product: Array
    log_d: Array

    @property
    def shape(self) -> tuple[int, int]:
        """(N, P)."""
        return self.product.shape[:2]

    @property
    def _rows(self) -> int:
        """Rows of one product: R where the rho share it, else 1."""
        return self.value.shape[1] // self.product.shape[2]

    def at(self, animals: slice, lt: Array, lr: Array) -> tuple[Array, Array]:
        """Return the cross-products of the whitened columns, and log |V| less log |D|.

        Parameters
        ----------
        animals : slice
            Whose rows.
        lt, lr : (q, M)
            ½ log(sv² + sw²) and log sr: M nodes in each of those rows.

        Returns
        -------
        (P, q, M), (q, M)
        """
        (n, pairs), (rows, places) = self.shape, lt.shape
        each = self.value.shape[1] // self.log_d.size
        of = slice(animals.start * each, animals.start * each + rows)
        inverse = self.value[:, of, None] * np.exp(2 * lt)
        inverse += np.exp(2 * lr)
        log_det = log_product(inverse)
        np.divide(1.0, inverse, out=inverse)
        used = self.product[..., of.start // self._rows : of.stop // self._rows]
        used = np.ascontiguousarray(used.T)
        gram = np.empty((pairs, used.shape[0], self._rows * places))
        inverse = inverse.reshape(n, used.shape[0], -1)
        np.matmul(used, inverse.transpose(1, 0, 2), out=gram.transpose(1, 0, 2))
        return gram.reshape(pairs, rows, places), log_det

    def near(self, rows: NDArray[np.int64], lt: Array, lr: Array) -> tuple[Array, Array]:
        """Return the same at M places of each of some rows, with rows as the last axis.

        Parameters
        ----------
        rows : (q,) int
        lt, lr : (M, q)

        Returns
        -------
        (P, M, q), (M, q)
        """
        inverse = self.value.take(rows, axis=1)[:, None] * np.exp(2 * lt)
        inverse += np.exp(2 * lr)
        log_det = log_product(inverse)
        np.divide(1.0, inverse, out=inverse)
        used = self.product.take(rows // self._rows, axis=2)
        return np.einsum("nmq,npq->pmq", inverse, used), log_det


def spectrum(batch: Batch, known: Basis) -> Spectrum:
    """Return the spectrum of a batch on its basis."""
    columns = np.concatenate([batch.x, batch.y[None]])
    count, n = columns.shape[:2]
    scaled = np.ascontiguousarray((columns * np.sqrt(batch.k)).transpose(2, 1, 0))
    rotated = np.matmul(known.vector.transpose(0, 1, 3, 2), scaled[:, None])
    rotated = np.ascontiguousarray(rotated.transpose(2, 3, 0, 1)).reshape(n, count, -1)
    across, rows = np.triu_indices(count)
    return Spectrum(
        np.ascontiguousarray(known.value.transpose(2, 0, 1)).reshape(n, -1),
        rotated.take(rows, axis=1) * rotated.take(across, axis=1),
        -np.where(batch.live, np.log(batch.k), 0.0).sum(axis=0),
    )


def log_product(values: Array) -> Array:
    """Return the sum of logarithms over the first axis: one logarithm for every eight values.

    Products of eight variances of pressures stay within the range of a double, unless wide priors
    are tried while they are learned: there each value has its own logarithm.
    """
    with np.errstate(over="ignore", divide="ignore"):
        products = [values[i : i + 8].prod(axis=0) for i in range(0, len(values), 8)]
        found = np.log(products[0])
        for product in products[1:]:
            found += np.log(product)
        beyond = ~np.isfinite(found)
        if beyond.any():
            found[beyond] = np.log(values[:, beyond]).sum(axis=0)
    return np.asarray(found)


def fits(batch: Batch) -> bool:
    """Return whether the spectrum is the way for this batch."""
    few = batch.y.shape[1] <= FEW_ANIMALS
    longest = LONGEST_FOR_FEW if few or even_counts(batch).all() else LONGEST
    return batch.sessions <= longest and batch.scatter_df.shape[0] == 1
