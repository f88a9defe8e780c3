"""The same whitening from one spectrum for each rho: what the nodes share is done once.

With the split rho between visit noise and wander fixed, the covariance of the session means is
e^{2 lt} S + e^{2 lr} D with D = diag(1/k). One eigendecomposition of D^{-½} S D^{-½} diagonalises
it for every (lt, lr), so that each node costs one small matrix product and no filter. It is the
faster way for the records that there are; the filter stays for long records, where its linear
cost wins, and for bridged series, whose noise groups do not share one D.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bpvet.maths.gaussian import Array, Batch, Whitened

#: From this many sessions on the filter is the faster way: for a batch, and for a few animals,
#: where its steps cost more than their arithmetic.
LONGEST, LONGEST_FOR_FEW = 16, 48
FEW_ANIMALS = 4


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Series of B animals, diagonalised at R values of rho.

    Parameters
    ----------
    value : (B, R, N)
        Eigenvalues of D^{-½} S D^{-½}; zero where padded.
    product : (B, R, N, P)
        Products of the rotated columns of [X, y], for the P = C(C + 1)/2 pairs of the lower
        triangle.
    log_d : (B,)
        log |D|.
    padded : (B,)
        Padded sessions.
    columns : int
        C, the columns of [X, y].
    """

    value: Array
    product: Array
    log_d: Array
    padded: Array
    columns: int

    def take(self, animals: NDArray[np.int64]) -> Spectrum:
        """Return the spectrum of the animals at these positions."""
        return Spectrum(
            self.value[animals],
            self.product[animals],
            self.log_d[animals],
            self.padded[animals],
            self.columns,
        )

    def whitened(self, lt: Array, lr: Array) -> Whitened:
        """Return cross-products and log |V| at nodes.

        Parameters
        ----------
        lt, lr : (B, R, M)
            ½ log(sv² + sw²) and log sr.

        Returns
        -------
        Whitened
            With (B, R·M) as its last axes, rho by rho; no path.
        """
        scatter = np.exp(2 * lr)
        total = np.exp(2 * lt)[..., None] * self.value[:, :, None, :] + scatter[..., None]
        log_det = _log_product(total) + self.log_d[:, None, None]
        # Padded sessions have eigenvalue zero and no columns: their log sr² is taken off again.
        log_det -= 2 * lr * self.padded[:, None, None]
        pairs = np.matmul(np.divide(1.0, total, out=total), self.product)
        shape = (lt.shape[0], -1)
        gram = np.zeros((self.columns, self.columns, lt.shape[0], lt.shape[1] * lt.shape[2]))
        rows, across = np.tril_indices(self.columns)
        gram[rows, across] = pairs.reshape(*shape, rows.size).transpose(2, 0, 1)
        empty = np.empty((0, self.columns, *gram.shape[2:]))
        return Whitened(gram, log_det.reshape(shape), empty, empty[:, 0])


def _log_product(values: Array) -> Array:
    """Return the sum of logarithms over the last axis: one logarithm for every eight values.

    Products of eight variances of pressures stay within the range of a double, unless wide priors
    are tried while they are learned: there each value has its own logarithm.
    """
    with np.errstate(over="ignore", divide="ignore"):
        parts = [values[..., i : i + 8].prod(axis=-1) for i in range(0, values.shape[-1], 8)]
        found = np.asarray(np.log(np.stack(parts, axis=-1)).sum(axis=-1))
        beyond = ~np.isfinite(found)
        if beyond.any():
            found[beyond] = np.log(values[beyond]).sum(axis=-1)
    return found


def fits(batch: Batch) -> bool:
    """Return whether the spectrum is the way for this batch."""
    few = batch.y.shape[1] <= FEW_ANIMALS
    longest = LONGEST_FOR_FEW if few else LONGEST
    return batch.sessions <= longest and batch.scatter_df.shape[0] == 1


@dataclass(frozen=True, eq=False)
class Basis:
    """Eigenvalues and eigenvectors of D^{-½} S D^{-½} of B animals at R values of rho.

    They know of days and counts of readings only, so that designs of the same sessions share them.

    Parameters
    ----------
    value : (B, R, N)
    vector : (B, R, N, N)
    """

    value: Array
    vector: Array

    def take(self, animals: NDArray[np.int64]) -> Basis:
        """Return the basis of the animals at these positions."""
        return Basis(self.value[animals], self.vector[animals])


def basis(batch: Batch, rho: Array) -> Basis:
    """Return the basis of a batch at rho (B, R) = log(sw/sv)."""
    root_k = np.sqrt(batch.k)
    gap = np.abs(batch.day[:, None] - batch.day[None])
    ou = np.exp(-gap / batch.wander_days)
    scale = root_k[:, None] * root_k[None] * (batch.live[:, None] & batch.live[None])
    n = batch.sessions
    wander = np.ascontiguousarray((ou * scale).transpose(2, 0, 1))
    visit = np.ascontiguousarray((np.eye(n)[:, :, None] * scale).transpose(2, 0, 1))
    share = 1 / (1 + np.exp(-2 * rho))
    matrix = (
        share[..., None, None] * wander[:, None] + (1 - share)[..., None, None] * visit[:, None]
    )
    return Basis(*np.linalg.eigh(matrix))


def spectrum(batch: Batch, held: Basis) -> Spectrum:
    """Return the spectrum of a batch on its basis."""
    columns = np.concatenate([batch.x, batch.y[None]])
    scaled = (columns * np.sqrt(batch.k)).transpose(2, 1, 0)
    rotated = np.matmul(held.vector.transpose(0, 1, 3, 2), scaled[:, None])
    rows, across = np.tril_indices(columns.shape[0])
    return Spectrum(
        np.maximum(held.value, 0.0),
        rotated[..., rows] * rotated[..., across],
        -np.where(batch.live, np.log(batch.k), 0.0).sum(axis=0),
        batch.sessions - batch.live.sum(axis=0),
        columns.shape[0],
    )
