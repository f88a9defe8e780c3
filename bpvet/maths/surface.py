"""The log density of readings and noise SDs together, which the nested rule integrates.

It is asked for in two ways: at the nodes of the rule, and at seven places round each mode while
that is looked for. `Surface` runs the filter at each. `SharedSurface` has one spectrum for all
places of one rho; there a change of lt and lr by the same amount only scales every variance, so
that three places tell of seven.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.maths.gaussian import LOG_2PI, Array, Batch, Noise, coefficients, eliminate, whiten
from bpvet.maths.spectrum import Basis, Spectrum, basis, fits, spectrum

#: The step of the differences that tell slope and bend of a surface.
STEP = 0.02
#: Moves along lt and lr of the seven places, (7, 2).
MOVES = STEP * np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1)])
#: Three of them; which of the three each lies beside on a diagonal, and how many steps up it.
_CORNERS = np.array([0, 1, 3])
_BESIDE, _ALONG = np.array([0, 1, 2, 2, 1, 0, 0]), np.array([0, 0, -1, 0, -1, 1, -1])
#: Values gone through at once: what they need fits the processor's cache.
_BLOCK = 131_072


@dataclass(frozen=True, eq=False)
class NoisePrior:
    """Lognormal priors of the noise SDs of B animals.

    Parameters
    ----------
    sv, sr : (G, 2, B)
        Log-median and log-SD of the visit and the reading SD of each noise group; group 0
        is that of the latest session's method.
    sw : (2, B)
        The same of the wander SD.
    """

    sv: Array
    sr: Array
    sw: Array

    def take(self, animals: NDArray[np.int64]) -> NoisePrior:
        """Return the priors of the animals at these positions."""
        return NoisePrior(self.sv[..., animals], self.sr[..., animals], self.sw[..., animals])


def noise_at(prior: NoisePrior, log_sv: Array, log_sr: Array, log_sw: Array) -> Noise:
    """Return the noise variances of every group where group 0 has these log-SDs, (B, K) each.

    The groups of a bridged series share one z: an animal noisy by one method is taken to be
    as noisy, in prior SDs, by the other.
    """

    def by_group(log_sd: Array, pairs: Array) -> Array:
        if pairs.shape[0] == 1:
            return np.exp(2 * log_sd)[None]
        z = (log_sd - pairs[0, 0][:, None]) / pairs[0, 1][:, None]
        others = pairs[1:, 0][:, :, None] + pairs[1:, 1][:, :, None] * z
        return np.exp(2 * np.concatenate([log_sd[None], others]))

    return Noise(by_group(log_sv, prior.sv), by_group(log_sr, prior.sr), np.exp(2 * log_sw))


def log_prior(prior: NoisePrior, log_sv: Array, log_sr: Array, log_sw: Array) -> Array:
    """Return the log prior density of the three log-SDs, (B, K)."""

    squares, constant = 0.0, 0.0
    for value, pair in ((log_sv, prior.sv[0]), (log_sr, prior.sr[0]), (log_sw, prior.sw)):
        z = (value - pair[0][:, None]) / pair[1][:, None]
        squares = squares + z * z
        constant = constant + np.log(pair[1])[:, None] + 0.5 * np.log(2 * np.pi)
    return np.asarray(-0.5 * squares - constant)


def separate(lt: Array, rho: Array) -> tuple[Array, Array]:
    """Return (log sv, log sw) from lt = ½ log(sv² + sw²) and rho = log(sw/sv)."""
    half = 0.5 * np.logaddexp(0.0, 2 * rho)
    return lt - half, lt + rho - half


@dataclass(frozen=True, eq=False)
class Surface:
    """The log density over (lt, lr) at fixed rho, by the filter.

    Rows number the rho of all animals one after another: row q is rho q mod R of animal q // R.

    Parameters
    ----------
    batch, prior
        As `bpvet.maths.quadrature.integrate` takes them.
    rho : (B, R)
        Where the outer integral is evaluated.
    """

    batch: Batch
    prior: NoisePrior
    rho: Array

    @classmethod
    def of(cls, batch: Batch, prior: NoisePrior, rho: Array, known: Basis | None = None) -> Surface:
        """Return the surface, by the faster of the two ways; on a basis that is known already."""
        if known is None:
            if not fits(batch):
                return Surface(batch, prior, rho)
            known = basis(batch, rho)
        return SharedSurface(batch, prior, rho, known)

    def at(self, lt: Array, lr: Array) -> Array:
        """Return the log density at lt, lr (B, R, M)."""
        shape = (lt.shape[0], -1)
        logs = np.broadcast_arrays(*separate(lt, self.rho[..., None]), lr)
        log_sv, log_sw, log_sr = (values.reshape(shape) for values in logs)
        noise = noise_at(self.prior, log_sv, log_sr, log_sw)
        fit = coefficients(self.batch, noise.reading, whiten(self.batch, noise))
        density = fit.log_likelihood + log_prior(self.prior, log_sv, log_sr, log_sw)
        return density.reshape(lt.shape)

    def seven(self, rows: NDArray[np.int64], lt: Array, lr: Array) -> Array:
        """Return the log density at the seven places round one of each row, (7, Q).

        Parameters
        ----------
        rows : (Q,) int
            Rows, ascending.
        lt, lr : (Q,)
            The place in each; `MOVES` from it are taken.
        """
        each = self.rho.shape[1]
        animals, animal = np.unique(rows // each, return_inverse=True)
        every = np.zeros((2, animals.size, each, 1))
        every[:, animal, rows % each, 0] = lt, lr
        few = Surface(self.batch.take(animals), self.prior.take(animals), self.rho[animals])
        found = few.at(every[0] + MOVES[:, 0], every[1] + MOVES[:, 1])
        return found[animal, rows % each].T

    def precise(self, lt: Array, lr: Array) -> Array:
        """Return the log density as the integral takes it; `seven` finds the modes alone."""
        return self.at(lt, lr)


@dataclass(frozen=True, eq=False)
class SharedSurface(Surface):
    """The same where what the places of one rho share is done once.

    Parameters
    ----------
    shared : Basis
        That of the batch at rho.
    """

    shared: Basis

    @cached_property
    def _spectrum(self) -> Spectrum:
        return spectrum(self.batch, self.shared)

    @cached_property
    def _inverse(self) -> Array:
        """(p, B) prior precisions of the coefficients."""
        return 1 / self.batch.prior_sd**2

    @cached_property
    def _terms(self) -> Array:
        """(7, Q) what the log density of each row takes besides: see `_density`."""
        batch, prior, known = self.batch, self.prior, self._spectrum
        half = 0.5 * np.logaddexp(0.0, 2 * self.rho)
        sv, sr, sw = (pair[:, :, None] for pair in (prior.sv[0], prior.sr[0], prior.sw))
        # Two normal densities of lt, one of log sv and one of log sw: their product is one.
        near, far = sv[0] + half, sw[0] - self.rho + half
        precision = 1 / sv[1] ** 2 + 1 / sw[1] ** 2
        centre = (near / sv[1] ** 2 + far / sw[1] ** 2) / precision
        apart = (near - far) ** 2 / (sv[1] ** 2 + sw[1] ** 2)
        df, ss = batch.scatter_df[0], batch.scatter_ss[0]
        sessions = batch.live.sum(axis=0)
        fixed = known.log_d + 2 * np.log(batch.prior_sd).sum(axis=0) + (sessions + df) * LOG_2PI
        logs = np.log(sv[1] * sr[1] * sw[1]) + 1.5 * LOG_2PI
        constant = (batch.constant - 0.5 * fixed)[:, None] - logs - 0.5 * apart
        # Padded sessions have eigenvalue zero and no columns: their log sr² is taken off again.
        counts = 2 * (df - (batch.sessions - sessions))[:, None]
        found = np.empty((7, *self.rho.shape))
        parts = (constant, precision, centre, 1 / sr[1] ** 2, sr[0], counts, ss[:, None])
        for row, values in zip(found, parts, strict=True):
            row[:] = values
        return found.reshape(7, -1)

    def at(self, lt: Array, lr: Array) -> Array:
        """Return the log density at lt, lr (B, R, M)."""
        animals, each, places = lt.shape
        many = max(1, _BLOCK // (each * places * max(self._spectrum.shape)))
        found = np.empty((animals * each, places))
        for start in range(0, animals, many):
            use = slice(start, start + many)
            rows = slice(start * each, (start + many) * each)
            nodes = lt[use].reshape(-1, places), lr[use].reshape(-1, places)
            gram, log_det = self._spectrum.at(use, *nodes)
            inverse = np.repeat(self._inverse[:, use], each, axis=1)[..., None]
            terms = self._terms[:, rows, None]
            found[rows] = _density(gram, log_det, *nodes, inverse, terms)
        return found.reshape(lt.shape)

    def seven(self, rows: NDArray[np.int64], lt: Array, lr: Array) -> Array:
        """Return the log density at seven places of each row; as `Surface.seven`."""
        many = max(64, _BLOCK // (len(MOVES) * max(self._spectrum.shape)))
        animals = rows // self.rho.shape[1]
        found = np.empty((len(MOVES), rows.size))
        for start in range(0, rows.size, many):
            use = slice(start, start + many)
            seven = lt[use] + MOVES[:, :1], lr[use] + MOVES[:, 1:]
            three = (moved.take(_CORNERS, axis=0) for moved in seven)
            gram, log_det = self._spectrum.near(rows[use], *three)
            log_scale = 2 * STEP * _ALONG[:, None]
            gram = gram.take(_BESIDE, axis=1)
            gram *= np.exp(-log_scale)
            log_det = log_det.take(_BESIDE, axis=0) + self.batch.sessions * log_scale
            inverse = self._inverse.take(animals[use], axis=1)[:, None]
            terms = self._terms.take(rows[use], axis=1)[:, None]
            found[:, use] = _density(gram, log_det, *seven, inverse, terms)
        return found


def _density(
    gram: Array, log_det: Array, lt: Array, lr: Array, inverse: Array, terms: Array
) -> Array:
    """Return the log density at places of any shape.

    Parameters
    ----------
    gram : (P, ...)
        Cross-products of the whitened columns, packed as `eliminate` takes them; overwritten.
    log_det : (...)
        Log of the product of the variances, padded sessions too.
    lt, lr : (...)
    inverse : (p, ...)
        Prior precisions of the coefficients.
    terms : (7, ...)
        A constant; precision and centre of lt, precision and centre of lr under their prior; what
        log sr counts, and the sum of squares over sr².
    """
    constant, lt_precision, lt_centre, lr_precision, lr_centre, counts, squares = terms
    diagonal = 0
    for i, precision in enumerate(inverse):
        gram[diagonal] += precision
        diagonal += len(inverse) + 1 - i
    log_pivots, total = eliminate(gram, len(inverse))
    total += log_pivots
    total += log_det
    off = lt - lt_centre
    total += lt_precision * off * off
    off = lr - lr_centre
    total += lr_precision * off * off
    total += counts * lr
    total += squares * np.exp(-2 * lr)
    total *= -0.5
    total += constant
    return total
